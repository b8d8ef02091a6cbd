"""The database that leaders and workers share, and the key under which everything of a patient lies in it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from consent.errors import MachineError, Problem, RecordError
from consent.record.keys import decrypt, encrypt, make_master_key, read_master_key

if TYPE_CHECKING:
    from psycopg import Connection

_TABLE = """
CREATE TABLE IF NOT EXISTS consent_print (
    id text PRIMARY KEY,
    ordered bytea NOT NULL,
    made bytea,
    ordered_at timestamptz NOT NULL DEFAULT now()
)
"""
_CHECK = "CREATE TABLE IF NOT EXISTS consent_print_key (one boolean PRIMARY KEY DEFAULT true CHECK (one), closed bytea)"
_ONE_AT_A_TIME = 0x636F6E73
"""Number of the advisory lock under which tables are made."""
_FORGOTTEN = "7 days"
"""After which an order that nobody fetched is taken away, with all it holds of a patient."""


@dataclass(frozen=True)
class Cluster:
    """``address``: as libpq takes it (postgresql://...). ``key``: 32 bytes, the same for all who take part."""

    address: str
    key: bytes

    @contextmanager
    def connected(self) -> Iterator[Connection[Any]]:
        """A connection that commits each statement. Raises ``MachineError`` where the server cannot be reached."""
        import psycopg

        try:
            with psycopg.connect(self.address, autocommit=True) as connection:
                yield connection
        except psycopg.OperationalError as failure:
            raise _unreachable(failure) from failure

    def close(self, plain: bytes, id_: str) -> bytes:
        """``plain`` encrypted, to be opened as what belongs to ``id_`` only."""
        return encrypt(self.key, plain, f"print {id_}")

    def open(self, sealed: bytes, id_: str) -> bytes:
        """What was encrypted. Raises ``RecordError`` where it was altered, or under another key."""
        return decrypt(self.key, bytes(sealed), f"print {id_}")


def open_cluster(address: str, key_file: Path) -> Cluster:
    """The cluster at ``address``, its tables made where there are none yet.

    Raises ``MachineError`` where the extra is not installed or the server cannot be reached, ``RecordError`` for a key
    file that is none or another cluster's.
    """
    try:
        import procrastinate  # noqa: F401
    except ImportError as failure:
        raise MachineError(
            Problem("printing on several machines is not installed", "--cluster", remedy="pip install consent[cluster]")
        ) from failure
    cluster = Cluster(address.replace("postgresql+psycopg://", "postgresql://", 1), read_master_key(key_file).secret)
    with cluster.connected() as connection:
        connection.execute("SELECT pg_advisory_lock(%s)", (_ONE_AT_A_TIME,))
        connection.execute(_TABLE)
        _refuse_another_key(connection, cluster)
        connection.execute(f"DELETE FROM consent_print WHERE ordered_at < now() - interval '{_FORGOTTEN}'")  # noqa: S608
        _make_queue(connection, cluster)
    return cluster


def _refuse_another_key(connection: Connection[Any], cluster: Cluster) -> None:
    """Who holds another key than those before could open no order, and nobody could open theirs."""
    connection.execute(_CHECK)
    closed = cluster.close(b"the key of this cluster", "check")
    connection.execute("INSERT INTO consent_print_key (closed) VALUES (%s) ON CONFLICT DO NOTHING", (closed,))
    row = connection.execute("SELECT closed FROM consent_print_key").fetchone()
    try:
        cluster.open(row[0] if row else b"", "check")
    except RecordError as failure:
        raise RecordError(
            Problem(
                "this is not the key of the cluster",
                "--cluster-key",
                "what lies there could not be opened",
                "copy the key file from a machine that works there",
            )
        ) from failure


def make_key(path: Path) -> None:
    """A fresh key in the new file ``path``, for its owner only. Raises ``RecordError`` where a file is already."""
    make_master_key(path)


def _make_queue(connection: Connection[Any], cluster: Cluster) -> None:
    found = connection.execute("SELECT to_regclass('procrastinate_jobs')").fetchone()
    if found is None or found[0] is None:
        from procrastinate import App, SyncPsycopgConnector

        with App(connector=SyncPsycopgConnector(conninfo=cluster.address)).open() as app:
            app.schema_manager.apply_schema()


def _unreachable(failure: Exception) -> MachineError:
    return MachineError(
        Problem(
            "the database of the cluster cannot be reached",
            "--cluster",
            str(failure).strip().splitlines()[-1] if str(failure).strip() else type(failure).__name__,
            "see that the server runs and that this machine may connect to it",
        )
    )
