"""Disk full, no right to write, clock set back, page spoilt, somebody hanging, disk failing: each is said with what to
do, and what was acknowledged before is there when it is mended."""

from __future__ import annotations

import os
import pwd
import re
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from consent.clinic import Clinic
from consent.errors import RecordError
from consent.record.checking import check_record
from consent.record.ledger import entries
from consent.record.place import Place, Record, make_record, open_record
from tests.record.children import Work, fork
from tests.record.clock import TestClock
from tests.record.filled import note, notes

Tell = Callable[[str], None]
ROOM = "the disk is full", "make room"
MOST = 3000
"""Entries after which a fault that was to come has not come."""


def is_whole(place: Place, clinic: Clinic, clock: TestClock, acknowledged: list[str]) -> None:
    """Everything acknowledged is there, at most one entry more, the chain holds, and work goes on."""
    with closing(open_record(place, clinic, clock)) as record:
        with record.store.reading() as connection:
            kept = [entry.hash for entry in entries(connection)]
        assert kept[: len(acknowledged)] == acknowledged
        assert len(kept) - len(acknowledged) in (0, 1)
        clock.advance(days=1)
        note(record)
        assert check_record(record).problems == ()


def is_said(refused: RecordError, where: object, *words: str) -> None:
    """What, where and what to do are in the words of the error."""
    said = str(refused)
    assert refused.exit_code == 11
    for word in (*words, str(where), "what to do"):
        assert word in said, said


def until_it_fails(record: Record, tell: Tell) -> RecordError:
    """Append, telling each hash, until the store refuses; the refusal."""
    for number in range(MOST):
        try:
            tell(note(record, f"{number} " + "words " * 50).hash)
        except RecordError as refused:
            return refused
    raise AssertionError("the store never refused")


# The disk is full


def test_a_full_file_is_told(sqlite_record: Record, clinic: Clinic, clock: TestClock) -> None:
    """SQLITE_FULL, by a limit on the pages of the file (sqlite.org/pragma.html, max_page_count)."""
    told: list[str] = []
    with sqlite_record.store.engine.connect() as connection:
        raw = connection.connection.dbapi_connection
        assert isinstance(raw, sqlite3.Connection)
        pages = raw.execute("PRAGMA page_count").fetchone()[0]
        raw.execute(f"PRAGMA max_page_count = {pages + 12}")
    is_said(until_it_fails(sqlite_record, told.append), sqlite_record.place.file, *ROOM)
    assert len(told) > 10
    sqlite_record.close()
    is_whole(sqlite_record.place, clinic, clock, told)


@pytest.mark.parametrize("kilobytes", [100, 300, 1000])
def test_a_file_that_may_not_grow_is_told(
    sqlite_record: Record, clinic: Clinic, clock: TestClock, kilobytes: int
) -> None:
    """The kernel refuses to write past a limit (setrlimit(2), RLIMIT_FSIZE): in the log, or when it is taken in."""

    def work(tell: Tell) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (kilobytes * 1024, kilobytes * 1024))
        refused = until_it_fails(open_record(sqlite_record.place, clinic, clock), tell)
        is_said(refused, sqlite_record.place.file, "disk", "room")

    sqlite_record.close()
    told = fork(work).wait()
    assert len(told) > 4
    is_whole(sqlite_record.place, clinic, clock, told)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system with room for little, where mounting is allowed; the tests around this one need no mount."""
    folder = tmp_path / "disk"
    folder.mkdir()
    done = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=600k", "none", folder], capture_output=True, check=False)
    if done.returncode:
        pytest.skip(f"no mount allowed: {done.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", folder], check=True)


def test_a_disk_without_room_is_told(small_disk: Path, clinic: Clinic, clock: TestClock) -> None:
    told: list[str] = []
    place = Place(small_disk / "record")
    with closing(make_record(place, clinic, clock)) as record:
        filler = small_disk / "filler"
        filler.write_bytes(b"x" * 200_000)
        is_said(until_it_fails(record, told.append), place.file, *ROOM)
        filler.unlink()
        told.append(note(record).hash)
    assert len(told) > 10
    is_whole(place, clinic, clock, told)


@pytest.mark.parametrize("left", [0, 8, 36])
def test_no_record_is_made_on_a_full_disk(small_disk: Path, clinic: Clinic, clock: TestClock, left: int) -> None:
    """With so many kilobytes left there is room for the key, for the file, for half of the log."""
    filler = small_disk / "filler"
    filler.write_bytes(b"x" * (shutil.disk_usage(small_disk).free - left * 1024))
    with pytest.raises(RecordError) as refused:
        make_record(Place(small_disk / "record"), clinic, clock)
    is_said(refused.value, small_disk / "record", "disk", "room")
    filler.unlink()
    with closing(make_record(Place(small_disk / "record"), clinic, clock)) as made:
        note(made)
        assert check_record(made).problems == ()


# No right to write


@pytest.fixture
def own(clinic: Clinic) -> Iterator[Record]:
    """A record that belongs to somebody who is not root, in a folder that they can enter, with three entries."""
    folder = Path(tempfile.mkdtemp(prefix="consent-own-"))
    record = make_record(Place(folder / "record"), clinic, TestClock())
    notes(record, 3)
    record.close()
    if os.geteuid() == 0:
        nobody = pwd.getpwnam("nobody")
        for path in (folder, *folder.rglob("*")):
            os.chown(path, nobody.pw_uid, nobody.pw_gid)
    yield record
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o700)
    shutil.rmtree(folder)


def as_owner(work: Work) -> list[str]:
    """What ``work`` told, done by a user to whom rights apply: root may do anything."""

    def unprivileged(tell: Tell) -> None:
        if os.geteuid() == 0:
            nobody = pwd.getpwnam("nobody")
            os.setgroups([])
            os.setgid(nobody.pw_gid)
            os.setuid(nobody.pw_uid)
        work(tell)

    return fork(unprivileged).wait()


@pytest.mark.parametrize(("folder", "file"), [(0o500, 0o600), (0o700, 0o400), (0o500, 0o400)])
def test_a_record_that_may_not_be_written_is_told(
    own: Record, clinic: Clinic, clock: TestClock, folder: int, file: int
) -> None:
    def work(tell: Tell) -> None:
        with pytest.raises(RecordError) as refused:
            note(open_record(own.place, clinic, clock))
        is_said(refused.value, own.place.file, "cannot be written here", "the right to write", "--record")
        tell("told")

    own.place.file.chmod(file)
    own.place.folder.chmod(folder)
    assert as_owner(work) == ["told"]
    own.place.folder.chmod(0o700)
    for one in own.place.folder.iterdir():  # the log that SQLite made beside it took the rights of the file
        one.chmod(0o600)
    assert as_owner(lambda tell: is_whole(own.place, clinic, clock, hashes(own.place, clinic))) == []


def hashes(place: Place, clinic: Clinic) -> list[str]:
    with closing(open_record(place, clinic)) as record, record.store.reading() as connection:
        found = [entry.hash for entry in entries(connection)]
    assert len(found) == 3
    return found


def test_no_record_is_made_where_nothing_may_be_written(own: Record, clinic: Clinic, clock: TestClock) -> None:
    place = Place(own.place.folder / "another")

    def work(tell: Tell) -> None:
        with pytest.raises(RecordError) as refused:
            make_record(place, clinic, clock)
        is_said(refused.value, place.folder, "cannot be written here", "the right to write")
        tell("told")

    own.place.folder.chmod(0o500)
    assert as_owner(work) == ["told"]
    assert not place.folder.exists()


# The clock, a page, somebody who hangs


def test_a_clock_set_back_and_right_again(record: Record, clinic: Clinic, clock: TestClock) -> None:
    told = [entry.hash for entry in notes(record, 3)]
    clock.advance(days=-2)
    with pytest.raises(RecordError) as refused:
        note(record)
    is_said(refused.value, "clock", "set the clock right")
    clock.advance(days=2)
    is_whole(record.place, clinic, clock, told)


@pytest.mark.parametrize("page", [1, 2, 3, 5, 8])
def test_a_spoilt_page_is_found_and_the_copy_of_before_is_whole(
    sqlite_record: Record, clinic: Clinic, clock: TestClock, page: int
) -> None:
    told = [note(sqlite_record, "words " * 60).hash for _ in range(60)]
    sqlite_record.close()
    place = sqlite_record.place
    whole = place.file.read_bytes()
    assert len(whole) > 9 * 4096
    spoilt = os.urandom(4096)
    place.file.write_bytes(whole[: (page - 1) * 4096] + spoilt + whole[page * 4096 :])
    said = found(place, clinic, clock)
    assert "copy" in said and ("damaged" in said or "disk did" in said), said
    place.file.write_bytes(whole)
    is_whole(place, clinic, clock, told)


def found(place: Place, clinic: Clinic, clock: TestClock) -> str:
    """What opening or checking says."""
    try:
        with closing(open_record(place, clinic, clock)) as record:
            return "\n".join(map(str, check_record(record).problems))
    except RecordError as refused:
        return str(refused)


def test_a_writer_does_not_wait_for_ever(
    record: Record, clinic: Clinic, clock: TestClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    told = [note(record).hash]
    monkeypatch.setattr("consent.record.store._WAIT_SECONDS", 1)
    with closing(open_record(record.place, clinic, clock)) as waiting:
        with record.store.writing(), pytest.raises(RecordError) as refused:
            note(waiting)
        is_said(refused.value, waiting.store.where, "too long", "try again", "hangs")
        with waiting.store.reading() as connection:
            assert len(list(entries(connection))) == 1
        told.append(note(waiting).hash)
    is_whole(record.place, clinic, clock, told)


def test_a_writer_waits_for_another(record: Record, clinic: Clinic, clock: TestClock) -> None:
    with closing(open_record(record.place, clinic, clock)) as other:
        done: list[str] = []
        with record.store.writing() as connection:
            writer = threading.Thread(target=lambda: done.append(note(other).hash))
            writer.start()
            writer.join(0.3)
            assert writer.is_alive() and not done
            connection.execute(text("SELECT 1"))
        writer.join(10)
    is_whole(record.place, clinic, clock, done)
    assert len(done) == 1


def test_a_server_that_stops_is_told(server_record: Record, clinic: Clinic, clock: TestClock) -> None:
    """The connection is ended under the program, as by a server that goes down; the next step finds it again."""
    told = [note(server_record).hash]
    with pytest.raises(RecordError) as refused, server_record.store.writing() as connection:
        other = server_record.store.engine.connect()
        mine = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        other.execute(text("SELECT pg_terminate_backend(:mine)"), {"mine": mine})
        other.close()
        connection.execute(text("SELECT 1"))
    is_said(refused.value, server_record.store.where, "does not answer", "start it")
    told.append(note(server_record).hash)
    is_whole(server_record.place, clinic, clock, told)


# The disk fails: the kernel's answer is changed under the program (strace(1), "Tampering")

APPENDING = """
import sys
from pathlib import Path
from consent.clinic import read_clinic
from consent.record.place import Place, open_record
from tests.record.filled import note
record = open_record(Place(Path(sys.argv[1])), read_clinic())
for number in range(40):
    print(note(record, number).hash, flush=True)
"""
INJECTED = (
    ("fdatasync", "EIO", "the disk reports an error", "look at the disk"),
    ("pwrite64", "EIO", "the disk reports an error", "look at the disk"),
    ("pwrite64", "ENOSPC", "the disk is full", "make room"),
)


@pytest.mark.slow
@pytest.mark.parametrize(("call", "error", "what", "remedy"), INJECTED)
def test_a_disk_that_fails_is_told(folder: Path, clinic: Clinic, call: str, error: str, what: str, remedy: str) -> None:
    clock = TestClock()
    make_record(Place(folder), clinic, clock).close()
    command = ["strace", "-f", "-qq", "-o", "/dev/null", "-e", f"trace={call}"]
    command += ["-e", f"inject={call}:error={error}:when=25+", sys.executable, "-c", APPENDING, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    told = re.findall(r"^[0-9a-f]{64}$", done.stdout, re.MULTILINE)
    assert done.returncode and "RecordError" in done.stderr, done.stderr
    assert what in done.stderr and remedy in done.stderr and str(folder) in done.stderr
    assert 0 < len(told) < 40
    clock.advance(days=36500)
    is_whole(Place(folder), clinic, clock, told)
