"""Backups: the record as it was at one moment, with its key, encrypted; and its restoring, proven equal.

A backup is a tar file of two: ``identity.age``, a fresh key under the passphrase, and ``record.tar.age``, the record
encrypted to that key. Both are of the age format (age-encryption.org/v1). Two, because a passphrase encrypts only what
fits into memory, while what is encrypted to a key is streamed. Within: a manifest, one file of JSON lines for each
table, key, certificates and the list of erasures. It is the same from SQLite and from PostgreSQL.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import tarfile
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from consent import __version__
from consent.errors import Problem, RecordError
from consent.record.checking import check_record
from consent.record.faults import store_faults
from consent.record.place import Record
from consent.record.schema import METADATA

if TYPE_CHECKING:
    from sqlalchemy import Connection, Table

SCHEMA_VERSION = 1
IDENTITY, ARCHIVE, MANIFEST = "identity.age", "record.tar.age", "manifest.json"
TABLES: tuple[Table, ...] = tuple(METADATA.sorted_tables)
"""Every table, those first that others refer to."""


@dataclass(frozen=True)
class Backup:
    """What was written: the manifest, and the faults the record had."""

    path: Path
    manifest: dict[str, Any]
    problems: tuple[Problem, ...]


def back_up(record: Record, path: Path, passphrase: str) -> Backup:
    """Write the record as it is now to the new file ``path``, encrypted under ``passphrase``; whole or not at all.

    Others go on working meanwhile. A record with faults is backed up too, and they are returned. Raises ``RecordError``
    where the file cannot be written or is there already.
    """
    problems = check_record(record).problems
    with store_faults(str(path)), tempfile.TemporaryDirectory(dir=path.parent, prefix=".backup-") as name:
        if path.exists():
            raise FileExistsError(path)
        folder = Path(name)
        manifest = _write_archive(record, folder)
        _encrypt(folder, passphrase)
        _move_whole(folder, path)
    return Backup(path, manifest, problems)


def _write_archive(record: Record, folder: Path) -> dict[str, Any]:
    """All tables as of one moment in files of ``folder``, and what goes with them; the manifest is returned."""
    with record.store.reading() as connection:
        tables = {table.name: _write_table(connection, table, folder) for table in TABLES}
        manifest = {
            "schema": SCHEMA_VERSION,
            "program": __version__,
            "revision": _revision(connection),
            "at": record.clock().isoformat(),
            "last": _last(connection),
            "tables": tables,
        }
    (folder / MANIFEST).write_text(json.dumps(manifest, indent=2), encoding="utf-8")
    for file in kept_files(record):
        (folder / file.name).write_bytes(file.read_bytes())
    return manifest


def kept_files(record: Record) -> list[Path]:
    """The files beside the store: key, certificates, list of erasures."""
    place = record.place
    found = [place.key_file, place.erasures_file, *sorted(place.folder.glob("certificate*.p12"))]
    return [path for path in found if path.exists()]


def _write_table(connection: Connection, table: Table, folder: Path) -> dict[str, Any]:
    count, hashed = 0, hashlib.sha256()
    with (folder / f"{table.name}.jsonl").open("wb") as file:
        for line in table_lines(connection, table):
            file.write(line)
            hashed.update(line)
            count += 1
    return {"rows": count, "sha256": hashed.hexdigest()}


def table_lines(connection: Connection, table: Table) -> Iterator[bytes]:
    """Each row of ``table`` as a line of JSON, in the order of its primary key; bytes as base64."""
    rows = table.select().order_by(*table.primary_key.columns).execution_options(yield_per=200)
    for row in connection.execute(rows):
        values = {key: _plain(value) for key, value in row._mapping.items()}
        yield json.dumps(values, ensure_ascii=False, sort_keys=True).encode() + b"\n"


def _plain(value: Any) -> Any:
    return {"base64": base64.b64encode(value).decode()} if isinstance(value, bytes | memoryview) else value


def _revision(connection: Connection) -> str | None:
    from alembic.runtime.migration import MigrationContext

    return MigrationContext.configure(connection).get_current_revision()


def _last(connection: Connection) -> dict[str, Any]:
    from consent.record.schema import HEAD

    head = connection.execute(HEAD.select()).one()
    return {"sequence": head.sequence, "hash": head.hash}


def _encrypt(folder: Path, passphrase: str) -> None:
    """Put the files of ``folder`` into an archive encrypted to a fresh key, and the key under ``passphrase``."""
    import pyrage

    identity = pyrage.x25519.Identity.generate()
    inside = sorted(path for path in folder.iterdir())
    plain = folder / "record.tar"
    with tarfile.open(plain, "w") as archive:
        for path in inside:
            archive.add(path, arcname=path.name, filter=_nameless)
    with plain.open("rb") as source, (folder / ARCHIVE).open("wb") as target:
        pyrage.encrypt_io(source, target, [identity.to_public()])
    (folder / IDENTITY).write_bytes(pyrage.passphrase.encrypt(str(identity).encode(), passphrase))


def _nameless(entry: tarfile.TarInfo) -> tarfile.TarInfo:
    entry.uname = entry.gname = ""
    entry.uid = entry.gid = 0
    entry.mode = 0o600
    return entry


def _move_whole(folder: Path, path: Path) -> None:
    whole = folder / "whole"
    with os.fdopen(os.open(whole, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        with tarfile.open(fileobj=file, mode="w") as outer:
            for name in (IDENTITY, ARCHIVE):
                outer.add(folder / name, arcname=name, filter=_nameless)
        file.flush()
        os.fsync(file.fileno())
    whole.rename(path)


def open_backup(path: Path, passphrase: str, folder: Path) -> dict[str, Any]:
    """Decrypt the backup ``path`` into ``folder`` and return its manifest.

    Raises ``RecordError`` for a wrong passphrase, a file cut off or altered, or one that is no backup.
    """
    import pyrage

    try:
        with tarfile.open(path, "r") as outer:
            sealed, archive = (_member(outer, name) for name in (IDENTITY, ARCHIVE))
            secret = pyrage.passphrase.decrypt(sealed.read(), passphrase).decode()
            identity = pyrage.x25519.Identity.from_str(secret)
            with tempfile.TemporaryFile(dir=folder) as plain:
                pyrage.decrypt_io(archive, plain, [identity])
                plain.seek(0)
                with tarfile.open(fileobj=plain, mode="r") as inner:
                    inner.extractall(folder, filter="data")
        manifest: dict[str, Any] = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        return manifest
    except pyrage.DecryptError as failure:
        raise _not_opened(path, "the passphrase does not open it, or it was altered") from failure
    except (tarfile.TarError, OSError, ValueError, KeyError, pyrage.IdentityError) as failure:
        raise _not_opened(path, "it is cut off, altered, or not a backup of a record") from failure


def _member(archive: tarfile.TarFile, name: str) -> IO[bytes]:
    found = archive.extractfile(name)
    return found if found is not None else io.BytesIO()


def _not_opened(path: Path, what: str) -> RecordError:
    remedy = "type the passphrase again, or take another copy of the backup"
    return RecordError(Problem(what, str(path), "nothing was restored", remedy))
