"""The tables that the migrations make are those of the schema; a migration that fails leaves everything as it was."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import Column, Connection, MetaData, Text, create_engine, inspect, text

from consent.clinic import Clinic
from consent.errors import RecordError
from consent.record import migrate
from consent.record.checking import check_record
from consent.record.login import identify
from consent.record.migrate import upgrade_store
from consent.record.place import Record, open_record
from consent.record.schema import METADATA
from consent.resources import package_data
from tests.record.acts import without_printing
from tests.record.filled import PASSWORDS, fill, note
from tests.record.test_tampering import free_hand, rewrite

WORKS = '''
"""An invented migration."""
import sqlalchemy as sa
from alembic import op
revision = "0003"
down_revision = "0002"

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
    upgrade_store(record.store, record.key)
    assert tables(record) == before


@pytest.fixture
def newer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of the migrations of a program that is one version ahead; the third is to be written by the test."""
    folder = tmp_path / "newer"
    shutil.copytree(package_data("record", "migrations"), folder, ignore=shutil.ignore_patterns("__pycache__"))
    monkeypatch.setattr(migrate, "package_data", lambda *_: folder)
    return folder / "versions" / "0003_extra.py"


def test_a_migration_that_fails_leaves_all_as_it_was(record: Record, newer: Path) -> None:
    fill(record)
    before = tables(record)
    newer.write_text(FAILS)
    with pytest.raises(RecordError, match="no_such_column"):
        upgrade_store(record.store, record.key)
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
        upgrade_store(record.store, record.key)
    newer.write_text(WORKS)
    with pytest.raises(RecordError, match="version 0002, this program of 0003") as refused:
        open_record(record.place, clinic)
    assert "consent record upgrade" in str(refused.value)
    upgrade_store(record.store, record.key)
    after = tables(record)
    assert after["alembic_version"][1] == ["('0003',)"]
    assert "extra" in after and after["papers"][0][-1] == ("extra", "TEXT")
    untouched = set(before) - {"papers", "alembic_version"}
    assert {name: after[name] for name in untouched} == {name: before[name] for name in untouched}


def back_in_0001(record: Record) -> None:
    """``record`` as version 0001 of the program left it: no digest of the accounts, and a stamp that knows of none."""
    with record.store.writing() as connection:
        head = connection.execute(text("SELECT sequence, hash FROM head")).one()
        stamp = record.key.stamp("head", str(head.sequence), head.hash)
        connection.execute(text("ALTER TABLE head DROP COLUMN accounts"))
        connection.execute(text("UPDATE head SET stamp = :stamp"), {"stamp": stamp})
        connection.execute(text("UPDATE alembic_version SET version_num = '0001'"))


def test_what_is_carried_back_is_as_0001_made_it(sqlite_record: Record) -> None:
    from alembic import command

    back_in_0001(sqlite_record)
    with create_engine("sqlite://").connect() as made, made.begin():
        command.upgrade(migrate._config(made), "0001")
        wanted = made.exec_driver_sql("SELECT sql FROM sqlite_master WHERE name = 'head'").scalar_one()
    with sqlite_record.store.reading() as connection:
        found = connection.exec_driver_sql("SELECT sql FROM sqlite_master WHERE name = 'head'").scalar_one()
    assert found == wanted


def test_a_record_of_0001_is_carried_over(record: Record, clinic: Clinic) -> None:
    """It is refused before, holds together after, and its accounts are proven from then on."""
    with without_printing():
        fill(record)
        before = tables(record)
        back_in_0001(record)
        with pytest.raises(RecordError, match="version 0001, this program of 0002"):
            open_record(record.place, clinic)
        upgrade_store(record.store, record.key)
        assert tables(record) == before
        assert identify(record, "surgeon", PASSWORDS["surgeon"]).login == "surgeon"
    assert check_record(record).problems == ()


@pytest.mark.parametrize("sequence", [1, 2, 9, 0])
def test_a_record_of_0001_that_was_altered_is_not_carried_over(record: Record, sequence: int) -> None:
    """An account forged just before would be believed for ever: an entry written anew, in the middle or the last."""
    fill(record)
    back_in_0001(record)
    before = tables(record)
    with free_hand(record) as connection:
        last = connection.execute(text("SELECT max(sequence) FROM ledger")).scalar_one()
        one = sequence or last
        content = connection.execute(text("SELECT content FROM ledger WHERE sequence = :n"), {"n": one}).scalar_one()
        rewrite(connection, one, content.replace('"at":"2027', '"at":"2026'))
    altered = tables(record)
    assert altered != before
    with pytest.raises(RecordError, match=r"chain does not hold|not the one that was stamped"):
        upgrade_store(record.store, record.key)
    assert tables(record) == altered


def test_a_record_of_0001_stamped_by_another_is_not_carried_over(record: Record) -> None:
    fill(record)
    back_in_0001(record)
    with record.store.writing() as connection:
        connection.execute(text("UPDATE head SET stamp = :stamp"), {"stamp": "0" * 64})
    with pytest.raises(RecordError, match="stamp of the last entry"):
        upgrade_store(record.store, record.key)
