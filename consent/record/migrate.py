"""Makes the tables of a new record and carries an older one over, all or nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from consent.errors import Problem, RecordError
from consent.record.keys import MasterKey
from consent.record.restamp import restamp
from consent.record.schema import HEAD
from consent.record.store import Store
from consent.resources import package_data

if TYPE_CHECKING:
    from alembic.config import Config
    from sqlalchemy import Connection


def upgrade(connection: Connection) -> None:
    """Bring the tables to this program's version, within the transaction of ``connection``."""
    from alembic import command

    command.upgrade(_config(connection), "head")


def upgrade_store(store: Store, key: MasterKey) -> None:
    """Carry an older record in ``store`` over to this program's version: all of it, or nothing. Make a backup first.

    Raises ``RecordError`` where its chain does not hold.
    """
    with store.writing() as connection:
        upgrade(connection)
        restamp(connection, key)


def refuse_a_second(connection: Connection, store: Store) -> None:
    """Raise ``RecordError`` where there is a record in ``store`` already."""
    from sqlalchemy import inspect

    if inspect(connection).has_table(HEAD.name):
        raise RecordError(
            Problem("there is a record here already", store.where, "it is never written over", "choose another place")
        )


def refuse_another_version(store: Store) -> None:
    """Raise ``RecordError`` unless the tables are of this program's version, saying which of the two is the older."""
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    with store.reading() as connection:
        found = MigrationContext.configure(connection).get_current_heads()
        script = ScriptDirectory.from_config(_config(connection))
    wanted = script.get_heads()
    if list(found) == wanted:
        return
    known = {revision.revision for revision in script.walk_revisions()}
    if not found:
        raise RecordError(Problem("this holds no record", store.where, remedy="consent record init makes one"))
    remedy = (
        "make a backup, then run consent record upgrade"
        if known.issuperset(found)
        else "use the version of this program that wrote it, or a newer one"
    )
    raise RecordError(
        Problem(
            f"the record is of version {' and '.join(map(str, found))}, this program of {' and '.join(wanted)}",
            store.where,
            remedy=remedy,
        )
    )


def _config(connection: Connection) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(package_data("record", "migrations")))
    config.attributes["connection"] = connection
    return config
