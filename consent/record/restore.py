"""Restoring: a backup becomes a record again, in an empty place, and is proven to be the same."""

from __future__ import annotations

import base64
import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from consent.clinic import Clinic
from consent.errors import Problem, RecordError
from consent.record.backup import MANIFEST, TABLES, open_backup, table_lines
from consent.record.cases import read_case_state
from consent.record.checking import Checked, check_record
from consent.record.erasure import destroy_keys, forget_pages, noted_erasures
from consent.record.faults import store_faults
from consent.record.ledger import Person, append
from consent.record.moves import Role
from consent.record.place import Clock, Place, Record, make_record, now, open_record
from consent.record.schema import HEAD

if TYPE_CHECKING:
    from sqlalchemy import Connection

THE_RESTORE = Person("restore", "the restore of a backup")
_ROWS_AT_ONCE = 200


@dataclass(frozen=True)
class Restored:
    """A record restored and proven equal to its backup, and the cases whose erasure was done again."""

    record: Record
    manifest: dict[str, Any]
    checked: Checked
    erased_again: tuple[str, ...]


def restore(
    path: Path, passphrase: str, place: Place, clinic: Clinic, erased: Path | None = None, clock: Clock = now
) -> Restored:
    """The backup ``path`` restored at the empty ``place``, in SQLite or PostgreSQL, whichever it names.

    Identities erased after the backup was made are erased again: by the list in ``erased``, or the one that lies at
    ``place``. Raises ``RecordError`` where the place is not empty, the backup does not open, or what was restored is
    not what the manifest says; then nothing is left behind.
    """
    listed = _erasures(place, erased)
    with store_faults(str(place.folder)), tempfile.TemporaryDirectory(prefix="restore-") as name:
        folder = Path(name)
        manifest = open_backup(path, passphrase, folder)
        record = make_record(place, clinic, clock)
        try:
            with record.store.writing() as connection:
                _fill(connection, folder)
                _refuse_unlike(connection, manifest)
            kept = _put_back(folder, place)
        except BaseException:
            _take_away(record)
            raise
    record.close()
    record = open_record(place, clinic, clock)
    checked = check_record(record)
    again = _erase_again(record, {**noted_erasures(kept), **listed})
    return Restored(record, manifest, checked, again)


def _erasures(place: Place, erased: Path | None) -> dict[str, list[str]]:
    source = erased or place.erasures_file
    with store_faults(str(source)):
        if erased is None and not source.exists():
            return {}
        return noted_erasures(source.read_text(encoding="utf-8"))


def _fill(connection: Connection, folder: Path) -> None:
    connection.execute(HEAD.delete())
    for table in TABLES:
        rows: list[dict[str, Any]] = []
        for row in _rows(folder / f"{table.name}.jsonl"):
            rows.append(row)
            if len(rows) == _ROWS_AT_ONCE:
                connection.execute(table.insert(), rows)
                rows = []
        if rows:
            connection.execute(table.insert(), rows)


def _rows(path: Path) -> Iterator[dict[str, Any]]:
    with path.open(encoding="utf-8") as file:
        for line in file:
            yield {key: _value(value) for key, value in json.loads(line).items()}


def _value(value: Any) -> Any:
    return base64.b64decode(value["base64"]) if isinstance(value, dict) else value


def _refuse_unlike(connection: Connection, manifest: dict[str, Any]) -> None:
    """Raise ``RecordError`` unless every table, read back, is what the manifest says."""
    for table in TABLES:
        count, hashed = 0, hashlib.sha256()
        for line in table_lines(connection, table):
            count += 1
            hashed.update(line)
        if manifest["tables"].get(table.name) != {"rows": count, "sha256": hashed.hexdigest()}:
            what = "what was restored is not what was backed up"
            raise RecordError(Problem(what, table.name, "nothing was kept of it", "take another copy of the backup"))


def _put_back(folder: Path, place: Place) -> str:
    """Put key, certificates and erasures back at ``place``; the text of the latter is returned."""
    for source in sorted(folder.iterdir()):
        if source.name == MANIFEST or source.suffix == ".jsonl":
            continue
        target = place.folder / source.name
        if target == place.erasures_file and target.exists():
            continue
        beside = target.with_name(f".{target.name}.new")
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(source.read_bytes())
            file.flush()
            os.fsync(file.fileno())
        beside.rename(target)
    listed = folder / place.erasures_file.name
    return listed.read_text(encoding="utf-8") if listed.exists() else ""


def _take_away(record: Record) -> None:
    from consent.record.schema import METADATA

    record.close()
    for path in (record.place.file, record.place.key_file, *record.place.folder.glob("record.sqlite3-*")):
        path.unlink(missing_ok=True)
    if record.place.address:
        with record.store.engine.connect() as connection, connection.begin():
            METADATA.drop_all(connection)
            connection.exec_driver_sql("DROP TABLE IF EXISTS alembic_version")
        record.close()


def _erase_again(record: Record, listed: dict[str, list[str]]) -> tuple[str, ...]:
    """Destroy again what was erased after the backup; each is an entry of its own."""
    again = []
    for subject, purposes in listed.items():
        try:
            case = read_case_state(record, subject)
        except RecordError:
            continue
        done = set(case.erased.body["destroyed"]) if case.erased else set()
        if set(purposes) <= done:
            continue
        body = {
            "state": case.state.value,
            "touched": [],
            "destroyed": purposes,
            "ground": "erased after the backup was made; done again when it was restored",
        }
        with record.store.writing() as connection:
            append(connection, record.key, THE_RESTORE, Role.LEAD, "erased", subject, body, record.clock())
            destroy_keys(connection, subject, purposes)
        again.append(subject)
    forget_pages(record)
    return tuple(again)
