"""What was acknowledged is kept: killed at any instant, the log torn at any byte; the kernel is asked to sync first."""

from __future__ import annotations

import hashlib
import json
import random
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from consent.clinic import Clinic
from consent.record.checking import check_record
from consent.record.ledger import FIRST_PREVIOUS
from consent.record.place import Place, Record, make_record, open_record
from tests.record.children import Work, fork
from tests.record.clock import TestClock
from tests.record.filled import explain, fake_papers, note, notes, open_one, sealing, signed_case

SEED = 11
KILLS = {"sqlite": 300, "postgresql": 40}
LONGEST = {"sqlite": 0.02, "postgresql": 0.05}
"""Seconds for which a child lives, at most, from its birth or from its first entry; six times as long with papers."""


@dataclass
class Ledger:
    """What is known of a ledger that is looked at again and again: the chain so far, made again by hand."""

    last: int = 0
    previous: str = FIRST_PREVIOUS
    hashes: list[str] = field(default_factory=list)

    def read_on(self, record: Record) -> list[str]:
        """Hashes of the entries not seen before. It holds the lock of all writing: who was killed is done by then."""
        query = text("SELECT sequence, content, hash FROM ledger WHERE sequence > :last ORDER BY sequence")
        with record.store.writing() as connection:
            rows = connection.execute(query, {"last": self.last}).all()
            head = connection.execute(text("SELECT sequence, hash FROM head")).one()
            orphans = connection.execute(text(_ORPHANS)).scalar_one()
        for sequence, content, kept in rows:
            told = json.loads(content)
            assert (sequence, told["sequence"], told["previous"]) == (self.last + 1, self.last + 1, self.previous)
            assert hashlib.sha256(content.encode()).hexdigest() == kept
            self.last, self.previous = sequence, kept
        assert tuple(head) == (self.last, self.previous)
        assert orphans == 0
        return [row.hash for row in rows]


_ORPHANS = "SELECT count(*) FROM papers WHERE sequence NOT IN (SELECT sequence FROM ledger WHERE kind = 'signed-off')"


def writer(place: Place, clinic: Clinic, clock: TestClock, with_papers: bool) -> Work:
    """Appends until it is killed, and tells each entry once it was acknowledged."""

    def work(tell: Callable[[str], None]) -> None:
        record = open_record(place, clinic, clock)
        while not with_papers:
            tell(note(record, "words " * 20).hash)
        while True:
            opened = open_one(record)
            tell(opened.entry.hash)
            told = explain(record, opened)
            tell(told.entry.hash)
            tell(sealing(record, told, fake_papers(opened.case.subject)).entry.hash)

    return work


def killed(work: Work, dice: random.Random, longest: float) -> list[str]:
    """What a child told that was killed while it opened the record or, as often, while it wrote."""
    child = fork(work)
    if dice.random() < 0.6:
        child.hear()
    time.sleep(dice.random() * longest)
    return child.kill()


@pytest.mark.slow
def test_killed_at_any_instant(record: Record, clinic: Clinic, clock: TestClock) -> None:
    """SIGKILL, as often as a small clinic has power cuts in a year; the kernel keeps what it was given (see below)."""
    store = "sqlite" if record.store.is_sqlite else "postgresql"
    dice = random.Random(SEED)
    signed_case(record)  # what is read once for all is read before the children are born
    ledger, extra, lived = Ledger(), 0, 0
    acknowledged = len(ledger.read_on(record))
    record.close()
    for life in range(KILLS[store]):
        papers = life % 10 == 0
        work = writer(record.place, clinic, clock, papers)
        told = killed(work, dice, LONGEST[store] * (6 if papers else 1))
        clock.advance(seconds=10)
        with closing(open_record(record.place, clinic, clock)) as opened:
            kept = ledger.read_on(opened)
        assert kept[: len(told)] == told, f"life {life}: an acknowledged entry is lost"
        assert len(kept) - len(told) in (0, 1), f"life {life}"
        acknowledged, extra, lived = acknowledged + len(told), extra + len(kept) - len(told), lived + (len(told) > 1)
    with closing(open_record(record.place, clinic, clock)) as opened:
        checked = check_record(opened)
    print(f"{store}: {acknowledged} acknowledged, {extra} kept without, {checked.papers} papers, {lived} lives wrote")
    assert checked.problems == () and checked.papers > 2
    assert checked.entries == acknowledged + extra == ledger.last
    assert lived > KILLS[store] / 3, "the children hardly lived, so little was tested"


# On the disk before it is acknowledged

APPENDING = """
import sys
from pathlib import Path
from consent.clinic import read_clinic
from consent.record.place import Place, open_record
from tests.record.filled import note
record = open_record(Place(Path(sys.argv[1])), read_clinic())
for number in range(20):
    print("acknowledged", note(record, number).hash, flush=True)
"""
_CALL = re.compile(r"^(?:\d+ +)?(\w+)\((\d+)<([^>]*)>(?:, \"([^\"]*)\")?.* = (-?\d+)")


@pytest.fixture
def calls(folder: Path, clinic: Clinic, tmp_path: Path) -> list[tuple[str, str]]:
    """What a program that appends asks of the kernel: call and file, or "acknowledged", in order."""
    make_record(Place(folder), clinic, TestClock()).close()
    trace = tmp_path / "trace"
    wanted = "trace=write,pwrite64,fsync,fdatasync"
    command = ["strace", "-f", "-y", "-o", str(trace), "-e", wanted, sys.executable, "-c", APPENDING, str(folder)]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    out = []
    for line in trace.read_text().splitlines():
        if (call := _CALL.match(line)) is None:
            continue
        name, handle, file, said, answer = call.groups()
        assert int(answer) >= 0, line
        if handle == "1" and said and said.startswith("acknowledged"):
            out.append(("acknowledged", ""))
        elif Path(file).parent == folder:
            out.append((name, Path(file).name))
    return out


@pytest.mark.slow
def test_an_entry_is_on_the_disk_before_it_is_acknowledged(calls: list[tuple[str, str]]) -> None:
    """fdatasync(2) or fsync(2) of the log after its last write and before the word is given, for each of 20 entries."""
    written = synced = acknowledged = 0
    for place, (call, file) in enumerate(calls):
        if call in ("write", "pwrite64") and file == "record.sqlite3-wal":
            written = place
        elif call in ("fsync", "fdatasync") and file == "record.sqlite3-wal":
            synced = place
        elif call == "acknowledged":
            before = [at for at, (name, _) in enumerate(calls[:place]) if name == "acknowledged"]
            assert (before[-1] if before else 0) < written < synced < place
            acknowledged += 1
    assert acknowledged == 20


# The log torn


@pytest.fixture
def torn(sqlite_record: Record) -> tuple[Place, int, list[str]]:
    """A record with 30 acknowledged entries in its log, and 10 more; the length of the log after the 30; all hashes."""
    told = [entry.hash for entry in notes(sqlite_record, 30)]
    length = Path(f"{sqlite_record.place.file}-wal").stat().st_size
    told += [entry.hash for entry in notes(sqlite_record, 10)]
    return sqlite_record.place, length, told


@pytest.mark.slow
@pytest.mark.parametrize("way", ["cut", "scrambled", "zeroed", "one bit"])
def test_a_torn_log_loses_nothing_that_was_acknowledged(
    torn: tuple[Place, int, list[str]], clinic: Clinic, clock: TestClock, tmp_path: Path, way: str
) -> None:
    """What came after is read as far as it is whole (sqlite.org/walformat.html, checksums), so the chain holds too."""
    place, length, told = torn
    dice = random.Random(SEED)
    log = Path(f"{place.file}-wal").read_bytes()
    assert length < len(log)
    kept = set()
    for _ in range(50):
        entries = read_copy(place, spoilt(log, dice.randrange(length, len(log)), way, dice), clinic, tmp_path, clock)
        assert entries == told[: len(entries)] and 30 <= len(entries) <= 40
        kept.add(len(entries))
    assert len(kept) > 3, "the log was hardly torn, so little was tested"


def test_a_log_torn_before_that_does_lose_entries(
    torn: tuple[Place, int, list[str]], clinic: Clinic, clock: TestClock, tmp_path: Path
) -> None:
    """So the test above can fail: it is the sync that keeps an entry, and nothing else."""
    place, length, told = torn
    log = Path(f"{place.file}-wal").read_bytes()
    entries = read_copy(place, log[: length // 2], clinic, tmp_path, clock)
    assert entries == told[: len(entries)] and len(entries) < 30


def spoilt(log: bytes, place: int, way: str, dice: random.Random) -> bytes:
    """``log`` spoilt from ``place`` on."""
    rest = len(log) - place
    if way == "cut":
        return log[:place]
    if way == "scrambled":
        return log[:place] + dice.randbytes(rest)
    if way == "zeroed":
        return log[:place] + bytes(rest)
    return log[:place] + bytes([log[place] ^ (1 << dice.randrange(8))]) + log[place + 1 :]


def read_copy(place: Place, log: bytes, clinic: Clinic, folder: Path, clock: TestClock) -> list[str]:
    """Hashes of the entries in a copy of the record at ``place`` with ``log`` beside it; the copy holds together."""
    copy = Place(folder / "copy")
    shutil.rmtree(copy.folder, ignore_errors=True)
    copy.folder.mkdir(mode=0o700)
    shutil.copy(place.key_file, copy.key_file)
    shutil.copy(place.file, copy.file)
    Path(f"{copy.file}-wal").write_bytes(log)
    with closing(open_record(copy, clinic, clock)) as record:
        found: Any = Ledger().read_on(record)
        assert check_record(record).problems == ()
    return list(found)
