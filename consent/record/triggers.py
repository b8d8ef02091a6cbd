"""The guards in the store itself that let nobody change the ledger by a slip: are they as they were made."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import TYPE_CHECKING

from consent.errors import Problem

if TYPE_CHECKING:
    from sqlalchemy import Connection

Parts = dict[str, tuple[str, ...]]
_SQLITE = "SELECT type || ' ' || name, tbl_name, coalesce(sql, '') FROM sqlite_master"
"""Tables and indexes too: an SQLite file holds the words they were made with, which can be altered."""
_POSTGRESQL = """
SELECT 'trigger ' || tgname, tgrelid::regclass::text, tgenabled::text, pg_get_triggerdef(guard.oid, true), prosrc
FROM pg_trigger AS guard JOIN pg_proc AS work ON work.oid = tgfoid JOIN pg_class AS kept ON kept.oid = tgrelid
WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace
UNION ALL SELECT 'rule ' || rulename, tablename, '', definition, '' FROM pg_rules WHERE schemaname = current_schema()
"""
_RAISES = " BEGIN RAISE EXCEPTION 'the ledger is only appended to'; END "
_ON_SERVER: Parts = {
    f"trigger {name}": (
        "ledger",
        "O",
        f"CREATE TRIGGER {name} BEFORE {acts} ON ledger FOR EACH {each} EXECUTE FUNCTION ledger_only_appended()",
        _RAISES,
    )
    for name, acts, each in (
        ("ledger_no_change", "DELETE OR UPDATE", "ROW"),
        ("ledger_no_truncate", "TRUNCATE", "STATEMENT"),
    )
}


def altered_guards(connection: Connection) -> Iterator[Problem]:
    """Each guard of the ledger that was taken away, altered or put in, and in SQLite each table and index as well."""
    on_file = connection.dialect.name == "sqlite"
    there = _parts(connection, _SQLITE if on_file else _POSTGRESQL)
    wanted = _as_made() if on_file else _ON_SERVER
    for name in sorted(there.keys() | wanted.keys()):
        if there.get(name) != wanted.get(name):
            yield Problem(
                f"a guard of the ledger was {_what_happened(name, there, wanted)}",
                name,
                "somebody opened the store past this program",
                "find out who and why; the chain shows whether an entry was altered",
            )


def _what_happened(name: str, there: Parts, wanted: Parts) -> str:
    if name not in there:
        return "taken away"
    return "altered" if name in wanted else "put in"


def _parts(connection: Connection, query: str) -> Parts:
    return {name: tuple(said) for name, *said in connection.exec_driver_sql(query)}


@cache
def _as_made() -> Parts:
    """Tables, indexes and triggers of a record of this version in SQLite, from one that is made for this."""
    from sqlalchemy import create_engine

    from consent.record.migrate import upgrade

    with create_engine("sqlite://").connect() as connection, connection.begin():
        upgrade(connection)
        return _parts(connection, _SQLITE)
