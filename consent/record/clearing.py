"""After something was erased: nothing of it is left in the files of the store either."""

from __future__ import annotations

from contextlib import closing

from consent.errors import RecordError
from consent.record.faults import store_faults
from consent.record.store import Store

PATIENCE_MS = 10_000
"""How long to wait for those who are reading the file."""


def clear_away(store: Store) -> bool:
    """See to it that no byte of what was deleted stays in the files of ``store``; False where somebody who was reading
    or writing kept it from being done.

    SQLite overwrites with zeros what it deletes (secure_delete), in its log first: the log is taken into the file and
    cut to nothing. In PostgreSQL a deleted row stays until VACUUM FULL has written its table anew. What the server's
    own log (WAL), copies of its files, or the free blocks of a disk hold is out of reach.
    """
    try:
        return _sqlite(store) if store.is_sqlite else _server(store)
    except RecordError:
        return False


def _sqlite(store: Store) -> bool:
    with store_faults(store.where), closing(store.engine.raw_connection()) as connection:
        connection.detach()
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {PATIENCE_MS}")
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        busy, _, _ = cursor.fetchall()[0]
        return int(busy) == 0


def _server(store: Store) -> bool:
    with store_faults(store.where), store.engine.connect() as connection:
        connection.execution_options(isolation_level="AUTOCOMMIT")
        for table in ("keys", "papers"):
            connection.exec_driver_sql(f"VACUUM FULL {table}")
    return True
