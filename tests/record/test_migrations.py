"""The tables that the migrations make are those of the schema; a migration that fails leaves everything as it was."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Column, Connection, MetaData, Text, inspect

from consent.clinic import Clinic
from consent.errors import RecordError
from consent.record import migrate
from consent.record.checking import check_record
from consent.record.migrate import upgrade_store
from consent.record.place import Record, open_record
from consent.record.schema import METADATA
from consent.resources import package_data
from tests.record.filled import fill, note

WORKS = '''
"""An invented migration."""
import sqlalchemy as sa
from alembic import op
revision = "0002"
down_revision = "0001"

def upgrade():
    op.create_table("extra", sa.Column("id", sa.Integer, primary_key=True))
    op.add_column("papers", sa.Column("extra", sa.Text))
    op.execute("UPDATE papers SET extra = 'x'")
'''
FAILS = "".join(
    (
        WORKS,
        """
    op.execute("INSERT INTO extra VALUES (1)")
    op.execute("SELECT no_such_column FROM papers")
""",
    )
)


def differences(connection: Connection, metadata: MetaData = METADATA) -> list[Any]:
    """What Alembic would still have to change in the store; types too."""
    return list(compare_metadata(MigrationContext.configure(connection, opts={"compare_type": True}), metadata))


def tables(record: Record) -> dict[str, Any]:
    """Each table with its columns, and all that stands in it."""
    with record.store.reading() as connection:
        found = {
            name: [(column["name"], str(column["type"])) for column in inspect(connection).get_columns(name)]
            for name in inspect(connection).get_table_names()
        }
        return {
            name: (columns, sorted(map(repr, connection.exec_driver_sql(f"SELECT * FROM {name}"))))  # noqa: S608
            for name, columns in found.items()
        }


def test_migrations_make_the_tables_of_the_schema(record: Record) -> None:
    with record.store.reading() as connection:
        assert differences(connection) == []


def test_a_difference_would_be_seen(record: Record) -> None:
    other = MetaData()
    for table in METADATA.tables.values():
        table.to_metadata(other)
    other.tables["papers"].append_column(Column("more", Text))
    other.remove(other.tables["sessions"])
    with record.store.reading() as connection:
        found = {change[0] for change in differences(connection, other)}
    assert found == {"add_column", "remove_table"}


def test_making_again_changes_nothing(record: Record) -> None:
    fill(record)
    before = tables(record)
    upgrade_store(record.store)
    assert tables(record) == before


@pytest.fixture
def newer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the migrations of a program that is one version ahead; the second is to be written by the test."""
    folder = tmp_path / "newer"
    shutil.copytree(package_data("record", "migrations"), folder, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(migrate, "package_data", lambda *_: folder)
    return folder / "versions" / "0002_extra.py"


def test_a_migration_that_fails_leaves_all_as_it_was(record: Record, newer: Path) -> None:
    fill(record)
    before = tables(record)
    newer.write_text(FAILS)
    with pytest.raises(RecordError, match="no_such_column"):
        upgrade_store(record.store)
    assert tables(record) == before
    assert set(before) == {*METADATA.tables, "alembic_version"}
    newer.unlink()
    note(record)
    assert check_record(record).problems == ()


def test_an_older_record_is_refused_until_it_was_carried_over(record: Record, newer: Path, clinic: Clinic) -> None:
    """And what failed at first can be done again."""
    fill(record)
    before = tables(record)
    newer.write_text(FAILS)
    with pytest.raises(RecordError, match="no_such_column"):
        upgrade_store(record.store)
    newer.write_text(WORKS)
    with pytest.raises(RecordError, match="version 0001, this program of 0002") as refused:
        open_record(record.place, clinic)
    assert "consent record upgrade" in str(refused.value)
    upgrade_store(record.store)
    after = tables(record)
    assert after["alembic_version"][1] == ["('0002',)"]
    assert "extra" in after and after["papers"][0][-1] == ("extra", "TEXT")
    untouched = set(before) - {"papers", "alembic_version"}
    assert {name: after[name] for name in untouched} == {name: before[name] for name in untouched}
