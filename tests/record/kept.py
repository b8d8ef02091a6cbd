"""What lies in a record, read past this program: rows by the drivers, a backup by tar and the age format alone."""

from __future__ import annotations

import io
import sqlite3
import tarfile
from contextlib import closing
from functools import cache
from pathlib import Path
from typing import Any

import psycopg
import pyrage
import pytest

from consent.record.place import Place
from tests.record.edits import KEY_COLUMNS

PASSPHRASE = "bricks drying by the canal"  # noqa: S105
Rows = dict[str, list[tuple[Any, ...]]]


def rows_of(place: Place) -> Rows:
    """Every row of every table at ``place``, in the order of its key."""
    queries = {table: f"SELECT * FROM {table} ORDER BY {_key(table)}" for table in KEY_COLUMNS}  # noqa: S608
    if place.address:
        with psycopg.connect(place.address) as server:
            server.execute("SET default_transaction_isolation = 'repeatable read'")
            return {table: _plain(server.execute(query).fetchall()) for table, query in queries.items()}  # type: ignore[call-overload]
    with closing(sqlite3.connect(f"file:{place.file}?mode=ro", uri=True)) as file:
        return {table: _plain(file.execute(query).fetchall()) for table, query in queries.items()}


def _key(table: str) -> str:
    return ", ".join(f'"{column}"' for column in KEY_COLUMNS[table])


def _plain(rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    return [tuple(bytes(value) if isinstance(value, memoryview) else value for value in row) for row in rows]


def opened(path: Path, passphrase: str = PASSPHRASE) -> dict[str, bytes]:
    """Every file in the backup at ``path``, as anybody with tar and age would get it."""
    with tarfile.open(path) as outer:
        sealed = {member.name: _content(outer, member) for member in outer}
    identity = pyrage.x25519.Identity.from_str(pyrage.passphrase.decrypt(sealed["identity.age"], passphrase).decode())
    plain = pyrage.decrypt(sealed["content.age"], [identity])
    with tarfile.open(fileobj=io.BytesIO(plain)) as inner:
        return {member.name: _content(inner, member) for member in inner}


def _content(archive: tarfile.TarFile, member: tarfile.TarInfo) -> bytes:
    file = archive.extractfile(member)
    assert file is not None
    return file.read()


def scrypt_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The passphrase of a backup is worked out once for each file, for scrypt takes a second or two on purpose."""
    monkeypatch.setattr(pyrage.passphrase, "decrypt", _decrypt)


def without_scrypt(monkeypatch: pytest.MonkeyPatch) -> None:
    """The identity in a backup made from now on lies there in the clear: for tests of all else."""
    scrypt_once(monkeypatch)
    monkeypatch.setattr(pyrage.passphrase, "encrypt", lambda plain, _: plain)


_plainly = pyrage.passphrase.decrypt


@cache
def _decrypt(sealed: bytes, passphrase: str) -> bytes:
    return sealed if sealed.startswith(b"AGE-SECRET-KEY-") else _plainly(sealed, passphrase)
