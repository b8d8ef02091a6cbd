"""A record made again from a backup, in either store, and proved equal to what was backed up before it is kept."""

from __future__ import annotations

import json
import os
import re
import shutil
import tarfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from consent.clinic import Clinic
from consent.errors import Problem, RecordError, UsageError
from consent.record.backup import MANIFEST, SCHEMA, TABLES, revision
from consent.record.checking import Checked, check_moment
from consent.record.clearing import clear_away
from consent.record.erasure import erase_again
from consent.record.erasure_list import Erased, parse_list, read_list, write_list
from consent.record.faults import store_faults
from consent.record.keys import keep_name, read_master_key
from consent.record.migrate import refuse_a_second, upgrade
from consent.record.place import Clock, Place, Record, now
from consent.record.portable import fill, measure, tables
from consent.record.sealed_file import damaged, reading_sealed
from consent.record.store import Store, server_store, sqlite_store

if TYPE_CHECKING:
    from sqlalchemy import Connection

_BESIDE = re.compile(r"record\.key|certificate(\.[0-9a-f]+)?\.p12|erased\.txt")
"""Files that a backup may put beside a record."""


@dataclass(frozen=True)
class Restored:
    """A record restored and proved equal to its backup, open, and the cases that were erased again."""

    record: Record
    manifest: dict[str, Any]
    checked: Checked
    erased_again: tuple[str, ...]


def restore(
    path: Path, passphrase: str, place: Place, clinic: Clinic, erased: Path | None = None, clock: Clock = now
) -> Restored:
    """The backup ``path`` restored at the empty ``place``, in SQLite or PostgreSQL, whichever it names.

    What was erased after the backup was made is erased again: by the list in the backup, the one at ``place`` and the
    one in ``erased``. Raises ``RecordError`` where the place is not empty, the file does not open, or what was
    restored is not what the manifest says; then nothing is left behind.
    """
    elsewhere = (*read_list(place.erasures_file), *_given(erased))
    with _new_store(place) as store:
        with store_faults(store.where), store.engine.connect() as connection, connection.begin():
            refuse_a_second(connection, store)
            upgrade(connection)
            manifest, beside = _read(connection, path, passphrase)
            _put_beside(place, beside)
            record = Record(place, clinic, store, read_master_key(place.key_file), clock)
            _refuse_unlike(connection, manifest)
            checked = _checked(connection, record, manifest)
            listed = tuple(dict.fromkeys((*_listed(beside), *elsewhere)))
            again = erase_again(connection, record, listed)
            if again:
                checked = _checked(connection, record, manifest)
            if listed:
                write_list(place.erasures_file, listed)
        if again:
            clear_away(store)
    return Restored(record, manifest, checked, tuple(one.subject for one in again))


def _given(erased: Path | None) -> tuple[Erased, ...]:
    if erased is not None and not erased.is_file():
        raise UsageError(Problem("there is no such list of erasures", str(erased), remedy="give another with --erased"))
    return read_list(erased) if erased else ()


def _listed(beside: Mapping[str, bytes]) -> tuple[Erased, ...]:
    return parse_list(beside.get("erased.txt", b"").decode(), "erased.txt in the backup")


@contextmanager
def _new_store(place: Place) -> Iterator[Store]:
    """An empty store at ``place``. Where what follows fails, nothing of it is left."""
    with store_faults(str(place.folder)):
        made = not place.folder.exists()
        place.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        _refuse_used(place)
    store = None
    try:
        store = server_store(place.address) if place.address else sqlite_store(place.file, create=True)
        yield store
        with store_faults(str(place.folder)):
            keep_name(place.folder)
    except BaseException:
        if store is not None:
            store.close()
        _take_away(place, made)
        raise


def _refuse_used(place: Place) -> None:
    others = sorted(path.name for path in place.folder.iterdir() if path != place.erasures_file)
    if others:
        raise RecordError(
            Problem(
                f"the place is not empty: it holds {', '.join(others[:3])}",
                str(place.folder),
                "a record is never written over",
                "choose another with --record, or move what is there aside, all but erased.txt; the key of a record "
                "on a server lies in the data folder",
            )
        )


def _take_away(place: Place, made: bool) -> None:
    """Remove what was put into the folder, and the folder where it was ``made``. A list of erasures stays."""
    if made:
        shutil.rmtree(place.folder, ignore_errors=True)
        return
    for path in place.folder.iterdir():
        if path != place.erasures_file:
            path.unlink()


def _read(connection: Connection, path: Path, passphrase: str) -> tuple[dict[str, Any], dict[str, bytes]]:
    """The manifest of the backup ``path``, and the files that go beside the record; its rows are put into the tables.

    All of it was read to its end when this returns, so nothing was cut off.
    """
    beside: dict[str, bytes] = {}
    named = {f"{TABLES}{table.name}.jsonl": table for table in tables()}
    with reading_sealed(path, passphrase) as stream, tarfile.open(fileobj=stream, mode="r|") as archive:
        members = iter(archive)
        manifest = _manifest(connection, archive, next(members, None), path)
        for member in members:
            file = _content(archive, member, path)
            if member.name in named:
                fill(connection, named.pop(member.name), file)
            elif _BESIDE.fullmatch(member.name):
                beside[member.name] = file.read()
            else:
                raise damaged(path)
    if named:
        raise damaged(path)
    return manifest, beside


def _manifest(
    connection: Connection, archive: tarfile.TarFile, first: tarfile.TarInfo | None, path: Path
) -> dict[str, Any]:
    if first is None or first.name != MANIFEST:
        raise damaged(path)
    manifest: dict[str, Any] = json.load(_content(archive, first, path))
    wanted, found = (SCHEMA, revision(connection)), (manifest["schema"], manifest["revision"])
    if found != wanted:
        raise RecordError(
            Problem(
                f"the backup is of version {found[0]} with tables {found[1]}, this program of {wanted[0]}, {wanted[1]}",
                str(path),
                remedy=f"restore it with version {manifest['program']} of this program, then upgrade the record",
            )
        )
    return manifest


def _content(archive: tarfile.TarFile, member: tarfile.TarInfo, path: Path) -> IO[bytes]:
    file = archive.extractfile(member)
    if file is None:
        raise damaged(path)
    return file


def _put_beside(place: Place, beside: Mapping[str, bytes]) -> None:
    """Key and certificates, readable by their owner alone, on the disk when this returns."""
    for name, content in beside.items():
        if name == place.erasures_file.name:
            continue
        with store_faults(str(place.folder / name)):
            handle = os.open(place.folder / name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())


def _refuse_unlike(connection: Connection, manifest: Mapping[str, Any]) -> None:
    """Raise ``RecordError`` unless every table, read back, is what the manifest says."""
    for table in tables():
        found, wanted = measure(connection, table), manifest["tables"].get(table.name)
        if wanted is None or (found.rows, found.sha256) != (wanted["rows"], wanted["sha256"]):
            raise _unlike(f"table {table.name}")


def _checked(connection: Connection, record: Record, manifest: Mapping[str, Any]) -> Checked:
    """What the check finds. Raises ``RecordError`` where it finds a fault in what had none when it was backed up."""
    checked = check_moment(connection, record)
    if checked.problems and not manifest["problems"]:
        raise RecordError(checked.problems)
    return checked


def _unlike(where: str) -> RecordError:
    return RecordError(
        Problem("what was restored is not what was backed up", where, "nothing was kept of it", "take another backup")
    )
