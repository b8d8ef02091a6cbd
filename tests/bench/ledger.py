"""Prints how fast entries are kept and how fast the chain is checked, beside what no ledger could do without.

Keeping: acknowledged entries a second, one at a time, each on the disk before the next, against a bare ``INSERT`` and
``COMMIT`` of the same bytes into the same store with the same settings; turn about in one run, median of five. The
PostgreSQL server is made for this and syncs as a clinic's does.

Checking: ``check_record`` on 1,000 to 1,000,000 entries, each time in a process of its own so that its peak memory can
be told, against SHA-256 over the same bytes. What counts are the ratios and the growth in one run. Not a test: nothing
is asserted. ``python -m tests.bench.ledger 100000`` stops at fewer entries.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import text

from consent.clinic import read_clinic
from consent.record.ledger import FIRST_PREVIOUS
from consent.record.place import Place, Record, make_record
from consent.record.schema import HEAD, LEDGER
from tests.record.filled import LEAD, note
from tests.record.servers import running_server

SIZES = (1_000, 10_000, 100_000, 1_000_000)
ROUNDS, EACH = 5, 200
SAID = "words as long as those of a case that was changed, encrypted; " * 7
"""With the rest of the entry about 750 bytes."""
CHECKING = """
import re, sys, time
from pathlib import Path
from consent.clinic import read_clinic
from consent.record.checking import check_record
from consent.record.place import Place, open_record
record = open_record(Place(Path(sys.argv[1]), *sys.argv[2:]), read_clinic())
start = time.perf_counter()
checked = check_record(record)
taken = time.perf_counter() - start
assert not checked.problems, checked.problems
peak = re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())
print(checked.entries, taken, int(peak[1]) / 1024)
"""


def rate(work: Callable[[], Any]) -> float:
    """Times a second that ``work`` is done."""
    start = time.perf_counter()
    for _ in range(EACH):
        work()
    return EACH / (time.perf_counter() - start)


def bare(record: Record) -> Callable[[], None]:
    """One row of the same bytes put in and committed past the program, into a table of its own."""
    raw: Any = record.store.engine.raw_connection().driver_connection
    raw.execute("CREATE TABLE IF NOT EXISTS bare (content TEXT)")
    raw.commit()
    with record.store.reading() as connection:
        content = connection.execute(text("SELECT content FROM ledger")).scalars().first()
    mark, begin = ("?", "BEGIN") if record.store.is_sqlite else ("%s", "SELECT 1")

    def work() -> None:
        raw.execute(begin)
        raw.execute(f"INSERT INTO bare VALUES ({mark})", (content,))  # noqa: S608
        raw.commit()

    return work


def report_keeping(name: str, record: Record) -> None:
    """Entries a second, and the bare insert's."""
    note(record, SAID)
    insert = bare(record)
    turns = [(rate(lambda: note(record, SAID)), rate(insert)) for _ in range(ROUNDS + 1)][1:]
    ours, theirs = (statistics.median(column) for column in zip(*turns, strict=True))
    print(
        f"{name:10}: {ours:6.0f} entries a second, {1000 * (1 / ours):.2f} ms each; bare insert and commit "
        f"{theirs:6.0f} a second, {1000 / theirs:.2f} ms; ratio of times {theirs / ours:.2f}"
    )


def chained() -> Iterator[dict[str, Any]]:
    """Rows of a ledger without end, properly chained; the text is canonical, for it holds no awkward number."""
    previous, moment, sequence = FIRST_PREVIOUS, dt.datetime(2027, 1, 1, tzinfo=dt.UTC), 0
    while True:
        sequence, moment = sequence + 1, moment + dt.timedelta(seconds=1)
        row = {"sequence": sequence, "subject": f"case-{sequence % 5000:016x}", "kind": "noted"}
        said = {"at": moment.isoformat(timespec="microseconds"), "previous": previous, "body": {"said": SAID}}
        who = {"account": LEAD.account, "person": LEAD.name, "role": "lead"}
        content = json.dumps({**row, **said, **who}, sort_keys=True, separators=(",", ":"))
        previous = hashlib.sha256(content.encode()).hexdigest()
        yield {**row, "content": content, "hash": previous}


def grow(record: Record, rows: Iterator[dict[str, Any]], more: int) -> None:
    """So many further entries put in at once, and the head stamped; SQLite takes its log in when the last lets go."""
    with record.store.writing() as connection:
        while more:
            chunk = list(islice(rows, min(more, 20_000)))
            connection.execute(LEDGER.insert(), chunk)
            more -= len(chunk)
        last = {name: chunk[-1][name] for name in ("sequence", "hash")}
        stamp = record.key.stamp("head", str(last["sequence"]), last["hash"])
        connection.execute(HEAD.update().values(**last, stamp=stamp))
    record.store.close()


def hashing(record: Record) -> tuple[float, int]:
    """Seconds that SHA-256 alone takes over the text of every entry, and how many bytes those are."""
    taken, size = 0.0, 0
    with record.store.reading() as connection:
        found = connection.execute(text("SELECT content FROM ledger").execution_options(yield_per=5000))
        for chunk in found.scalars().partitions():
            contents = [content.encode() for content in chunk]
            start = time.perf_counter()
            for content in contents:
                hashlib.sha256(content).hexdigest()
            taken += time.perf_counter() - start
            size += sum(map(len, contents))
    return taken, size


def on_disk(record: Record) -> int:
    """Bytes of the file with its log, or of the database."""
    if record.store.is_sqlite:
        return sum(path.stat().st_size for path in record.place.folder.glob("record.sqlite3*"))
    with record.store.reading() as connection:
        return int(connection.execute(text("SELECT pg_database_size(current_database())")).scalar_one())


def report_checking(name: str, record: Record, most: int) -> None:
    """One line for each size."""
    rows, there = chained(), 0
    for size in (size for size in SIZES if size <= most):
        grow(record, rows, size - there)
        there = size
        place = (str(record.place.folder), *((record.place.address,) if record.place.address else ()))
        done = subprocess.run([sys.executable, "-c", CHECKING, *place], capture_output=True, text=True, check=True)
        entries, taken, peak = (float(part) for part in done.stdout.split())
        bare_seconds, size_bytes = hashing(record)
        print(
            f"{name:10}: {entries:9,.0f} entries checked in {taken:7.2f} s, {1e6 * taken / entries:5.1f} us each, "
            f"{taken / bare_seconds:5.1f} times SHA-256 alone over {size_bytes / 1e6:.1f} MB; "
            f"{on_disk(record) / 1e6:.1f} MB on disk, {peak:.0f} MB of memory at most"
        )


def main(most: int = max(SIZES)) -> None:
    """Measure and print."""
    clinic = read_clinic()
    with tempfile.TemporaryDirectory() as name, running_server(settings=()) as server:
        for report in (report_keeping, lambda store, record: report_checking(store, record, most)):
            for store in ("SQLite", "PostgreSQL"):
                address = server.address(server.lend_database()) if store == "PostgreSQL" else None
                place = Place(Path(tempfile.mkdtemp(dir=name)) / "record", address)
                with closing(make_record(place, clinic)) as record:
                    report(store, record)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
