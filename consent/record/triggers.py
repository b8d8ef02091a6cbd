"""The guards in the store itself that let nobody change the ledger by a slip: are they still there."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from consent.errors import Problem

if TYPE_CHECKING:
    from sqlalchemy import Connection

_QUERY = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": "SELECT tgname FROM pg_trigger WHERE tgrelid = 'ledger'::regclass AND tgenabled <> 'D'",
}
_WANTED = {
    "sqlite": ("ledger_no_delete", "ledger_no_update"),
    "postgresql": ("ledger_no_change", "ledger_no_truncate"),
}


def missing_triggers(connection: Connection) -> Iterator[Problem]:
    """Each guard of the ledger that was taken away."""
    dialect = connection.dialect.name
    there = {name for (name,) in connection.exec_driver_sql(_QUERY[dialect])}
    for name in _WANTED[dialect]:
        if name not in there:
            yield Problem(
                "a guard of the ledger was taken away",
                name,
                "somebody opened the store past this program",
                "find out who and why; the chain shows whether an entry was altered",
            )
