"""After something was erased: nothing of it is left in the files of the store either."""

from __future__ import annotations

from contextlib import closing

from consent.errors import RecordError
from consent.record.faults import store_faults
from consent.record.store import Store


def clear_away(store: Store) -> bool:
    """Write ``store`` anew, so that no byte of what was deleted stays in its files; False where somebody who was
    reading or writing kept it from being done.

    A row that SQLite moved to another page may leave a copy in the empty room of the first, which secure_delete does
    not look at (sqlite.org/pragma.html); VACUUM writes every page anew, and a log that was truncated holds no old ones.
    In PostgreSQL a deleted row stays until VACUUM FULL has written its table anew. What the server's log (WAL), copies
    of its files, or the free blocks of a disk hold is out of reach.
    """
    try:
        return _sqlite(store) if store.is_sqlite else _server(store)
    except RecordError:
        return False


def _sqlite(store: Store) -> bool:
    with store_faults(store.where), closing(store.engine.raw_connection()) as connection:
        cursor = connection.cursor()
        cursor.execute("VACUUM")
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        busy, _, _ = cursor.fetchall()[0]
        return int(busy) == 0


def _server(store: Store) -> bool:
    with store_faults(store.where), store.engine.connect() as connection:
        connection.execution_options(isolation_level="AUTOCOMMIT")
        for table in ("keys", "papers"):
            connection.exec_driver_sql(f"VACUUM FULL {table}")
    return True
