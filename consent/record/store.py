"""Where the record is kept: SQLite or PostgreSQL by address, opened for reading one moment or for writing alone."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from consent.errors import Problem, RecordError
from consent.record.faults import store_error, store_faults
from consent.record.turns import Turns

if TYPE_CHECKING:
    from sqlalchemy import URL, Connection, Engine

_WRITES = "consent_writes"
_WAIT_SECONDS = 20
"""How long a writer waits for another before it gives up."""


@dataclass(frozen=True)
class Store:
    """An open store. ``where``: file or address without its password, for messages."""

    engine: Engine
    where: str
    _turns: Turns = field(default_factory=Turns, compare=False)

    @property
    def is_sqlite(self) -> bool:
        return self.engine.dialect.name == "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection that sees the record as it is at one moment, whatever is written meanwhile."""
        level = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        with store_faults(self.where), self.engine.connect() as connection:
            connection.execution_options(**level)
            with connection.begin():
                yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection that writes alone until it is done: all of it is kept on disk, or nothing is."""
        from consent.record.schema import HEAD

        with store_faults(self.where), self._in_turn(), self.engine.connect() as connection:
            connection.execution_options(**{_WRITES: True})
            with connection.begin():
                if not self.is_sqlite:
                    connection.execute(HEAD.select().with_only_columns(HEAD.c.only).with_for_update())
                yield connection

    @contextmanager
    def _in_turn(self) -> Iterator[None]:
        """One writer of this program after the other. SQLite lets whoever asks at the right moment go first, so that
        others of many wait until they give up."""
        if not self.is_sqlite:
            yield
            return
        try:
            self._turns.wait(_WAIT_SECONDS)
        except TimeoutError as failure:
            raise store_error("database is locked", self.where) from failure
        try:
            yield
        finally:
            self._turns.next()

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()


def sqlite_store(path: Path, create: bool = False) -> Store:
    """The store in the SQLite file ``path``; with ``create`` a new file that only its owner can read.

    Raises ``RecordError`` where the file is missing or, with ``create``, there already.
    """
    with store_faults(str(path)):
        if create:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        elif not path.is_file():
            raise RecordError(
                Problem("there is no record here", str(path), remedy="consent record init makes one; or give --record")
            )
    return Store(_sqlite_engine(path), str(path))


def server_store(address: str) -> Store:
    """The store at a PostgreSQL ``address``, such as ``postgresql://user@host/name``."""
    from sqlalchemy import create_engine
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(address)
    except (ArgumentError, ValueError) as failure:  # a port that is no number
        raise _not_an_address(address) from failure
    if url.get_backend_name() != "postgresql":
        raise _not_an_address(address)
    try:
        engine = create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
    except ModuleNotFoundError as failure:
        remedy = "install the extra: pip install 'consent[postgresql]'"
        raise RecordError(
            Problem("the driver for PostgreSQL is not installed", _shown(url), remedy=remedy)
        ) from failure
    _prepare_server(engine)
    return Store(engine, _shown(url))


def _shown(url: URL) -> str:
    """``url`` for messages: without a password, wherever it stands in it."""
    secret = [name for name in url.query if "password" in name.casefold()]
    return url.difference_update_query(secret).render_as_string(hide_password=True)


def _prepare_server(engine: Engine) -> None:
    """Each connection waits so long and no longer, and a commit is on the server's disk before it is acknowledged."""
    from sqlalchemy import event

    @event.listens_for(engine, "connect")
    def _prepare(raw: Any, _: object) -> None:
        raw.execute(f"SET lock_timeout = '{_WAIT_SECONDS}s'")
        raw.execute(
            "SELECT set_config('synchronous_commit', 'on', false) "
            "WHERE current_setting('synchronous_commit') NOT IN ('on', 'remote_apply')"
        )
        raw.commit()


def _not_an_address(address: str) -> RecordError:
    """Names of ``address`` only what can hold no password, wherever it was written."""
    scheme, _, rest = address.partition("://")
    host = rest.rsplit("@", maxsplit=1)[-1].partition("?")[0] if "@" in rest else "..."
    remedy = "write a folder, or an address such as postgresql://user@host/name"
    where = f"{scheme}://{host}" if rest else "the address"
    return RecordError(Problem("this is not the address of a record", where, remedy=remedy))


def _sqlite_engine(path: Path) -> Engine:
    from sqlalchemy import create_engine, event
    from sqlalchemy.engine import URL

    engine = create_engine(URL.create("sqlite", database=str(path)), connect_args={"timeout": _WAIT_SECONDS})

    @event.listens_for(engine, "connect")
    def _prepare(raw: Any, _: object) -> None:
        # The driver's own transactions begin too late; SQLAlchemy begins them below (its SQLite dialect, "Pysqlite").
        raw.isolation_level = None
        for pragma in _PRAGMAS:
            raw.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        alone = connection.get_execution_options().get(_WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if alone else "BEGIN")

    return engine


_PRAGMAS = (
    "journal_mode = WAL",
    "synchronous = FULL",
    "foreign_keys = ON",
    "secure_delete = ON",
    "trusted_schema = OFF",
    "cell_size_check = ON",
)
"""FULL: a commit is on the disk before it is acknowledged. secure_delete: what is erased is overwritten with zeros."""
