"""A backup: the whole record at one moment, encrypted, in one file that either store can be made from again."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from consent import __version__
from consent.errors import Problem
from consent.record.checking import Checked, check_moment
from consent.record.place import Place, Record
from consent.record.portable import Measured, lines, measure, tables
from consent.record.schema import HEAD
from consent.record.sealed_file import END, header, padding, refuse_existing, write_sealed

if TYPE_CHECKING:
    from sqlalchemy import Connection

SCHEMA = 1
"""Of the archive. A program that reads a later one says so."""
MANIFEST, TABLES = "manifest.json", "tables/"


@dataclass(frozen=True)
class Backup:
    """A backup that was made. ``problems``: what does not hold together in the record, and so in the backup."""

    path: Path
    manifest: dict[str, Any]
    problems: tuple[Problem, ...]


def back_up(record: Record, path: Path, passphrase: str) -> Backup:
    """Everything in ``record`` at this moment, encrypted into the new file ``path``; others may go on writing.

    A record with faults is copied as it is, and the faults are returned. Raises ``RecordError`` where there is a file
    already or the store cannot be read, ``MachineError`` where the file cannot be written; then there is none.
    """
    refuse_existing(path)
    with record.store.reading() as connection:
        checked = check_moment(connection, record)
        measured = {table.name: measure(connection, table) for table in tables()}
        manifest = _manifest(connection, record, checked, measured)
        write_sealed(path, passphrase, _archive(connection, record, manifest, measured))
    return Backup(path, manifest, checked.problems)


def _manifest(
    connection: Connection, record: Record, checked: Checked, measured: Mapping[str, Measured]
) -> dict[str, Any]:
    head = connection.execute(HEAD.select()).first()
    return {
        "schema": SCHEMA,
        "program": __version__,
        "revision": revision(connection),
        "at": record.clock().isoformat(),
        "store": connection.dialect.name,
        "tables": {name: asdict(one) for name, one in measured.items()},
        "last": {"sequence": head.sequence, "hash": head.hash} if head else {"sequence": 0, "hash": checked.last[1]},
        "problems": [str(problem) for problem in checked.problems],
    }


def revision(connection: Connection) -> str:
    """The revision of the tables that ``connection`` sees."""
    from alembic.runtime.migration import MigrationContext

    return " ".join(MigrationContext.configure(connection).get_current_heads())


def _archive(
    connection: Connection, record: Record, manifest: Mapping[str, Any], measured: Mapping[str, Measured]
) -> Iterator[bytes]:
    """A tar, piece by piece: the manifest, the files beside the record, and each table. It is never whole in memory:
    the size of each table is known from measuring it before, at the same moment."""
    yield from _member(MANIFEST, json.dumps(manifest, indent=1).encode())
    for path in beside(record.place):
        yield from _member(path.name, path.read_bytes())
    for table in tables():
        size = measured[table.name].size
        yield header(f"{TABLES}{table.name}.jsonl", size)
        yield from lines(connection, table)
        yield padding(size)
    yield END


def _member(name: str, content: bytes) -> Iterator[bytes]:
    yield header(name, len(content)) + content + padding(len(content))


def beside(place: Place) -> tuple[Path, ...]:
    """The files that belong to the record at ``place``: key, certificates, list of erasures."""
    found = (place.key_file, *sorted(place.folder.glob("certificate*.p12")), place.erasures_file)
    return tuple(path for path in found if path.exists())
