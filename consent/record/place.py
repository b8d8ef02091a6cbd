"""Where a clinic's record lies: a folder with its key and certificate, and the store in it or at an address."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from consent.clinic import Clinic
from consent.record.faults import store_faults
from consent.record.keys import MasterKey, make_master_key, read_master_key
from consent.record.ledger import make_head
from consent.record.migrate import refuse_a_second, refuse_another_version, upgrade
from consent.record.store import Store, server_store, sqlite_store

Clock = Callable[[], dt.datetime]


@dataclass(frozen=True)
class Place:
    """A folder that only its owner can enter; ``address`` of a PostgreSQL server, or none for a file in the folder."""

    folder: Path
    address: str | None = None

    @property
    def file(self) -> Path:
        return self.folder / "record.sqlite3"

    @property
    def key_file(self) -> Path:
        return self.folder / "record.key"

    @property
    def certificate_file(self) -> Path:
        return self.folder / "certificate.p12"

    @property
    def erasures_file(self) -> Path:
        return self.folder / "erased.txt"


@dataclass(frozen=True)
class Record:
    """An open record: where it lies, whose it is, its store, its key and its clock."""

    place: Place
    clinic: Clinic
    store: Store
    key: MasterKey
    clock: Clock

    def close(self) -> None:
        """Let go of the store."""
        self.store.close()


def now() -> dt.datetime:
    """The time by the clock of this machine, in UTC."""
    return dt.datetime.now(dt.UTC)


def make_record(place: Place, clinic: Clinic, clock: Clock = now) -> Record:
    """A new, empty record at ``place``. Raises ``RecordError`` where there is one already or it cannot be made."""
    with store_faults(str(place.folder)):
        place.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        key = make_master_key(place.key_file)
    made = [place.key_file]
    try:
        store = _new_store(place, made)
        with (
            _closed_on_failure(store),
            store_faults(store.where),
            store.engine.connect() as connection,
            connection.begin(),
        ):
            refuse_a_second(connection, store)
            upgrade(connection)
            make_head(connection, key)
    except BaseException:
        for path in made:
            path.unlink()
        raise
    return Record(place, clinic, store, key, clock)


def _new_store(place: Place, made: list[Path]) -> Store:
    """The store of a record about to be made; its file, if it is one, is added to what was ``made`` so far."""
    if place.address:
        return server_store(place.address)
    store = sqlite_store(place.file, create=True)
    made.append(place.file)
    return store


def open_record(place: Place, clinic: Clinic, clock: Clock = now) -> Record:
    """The record at ``place``. Raises ``RecordError`` where there is none, or it is of another version."""
    store = server_store(place.address) if place.address else sqlite_store(place.file)
    key = read_master_key(place.key_file)
    with _closed_on_failure(store):
        refuse_another_version(store)
    return Record(place, clinic, store, key, clock)


@contextmanager
def _closed_on_failure(store: Store) -> Iterator[None]:
    try:
        yield
    except BaseException:
        store.close()
        raise
