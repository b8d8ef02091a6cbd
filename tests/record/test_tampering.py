"""Whatever is altered past the program is found: a byte of the file, a row, an end cut off, a whole chain."""

from __future__ import annotations

import hashlib
import json
import random
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psycopg
import pytest
from sqlalchemy import text

from consent.clinic import Clinic
from consent.errors import RecordError
from consent.record.checking import check_record
from consent.record.keys import MasterKey
from consent.record.place import Place, Record, make_record, open_record
from consent.record.schema import METADATA
from tests.record.clock import TestClock
from tests.record.edits import KEY_COLUMNS, Edit, Table, Tables, draw_edit
from tests.record.filled import fill, note, notes
from tests.record.servers import Server

SEED, EDITS, ON_SERVER = 7, 1000, 200


@dataclass(frozen=True)
class Victim:
    """A filled record in a file, closed and whole, that can be put back as it was."""

    place: Place
    clinic: Clinic
    clock: TestClock
    whole: bytes

    def put(self, content: bytes) -> None:
        for name in ("-wal", "-shm"):
            Path(f"{self.place.file}{name}").unlink(missing_ok=True)
        self.place.file.write_bytes(content)


@pytest.fixture(scope="module")
def victim(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Victim:
    clock = TestClock()
    record = make_record(Place(tmp_path_factory.mktemp("victim") / "record"), clinic, clock)
    fill(record)
    record.close()
    assert not Path(f"{record.place.file}-wal").exists(), "the log was not taken in"
    return Victim(record.place, clinic, clock, record.place.file.read_bytes())


def found(place: Place, clinic: Clinic, clock: TestClock) -> str:
    """How the record was found to be altered, or nothing."""
    try:
        record = open_record(place, clinic, clock)
    except RecordError as refused:
        return f"opening: {refused.problems[0].what}"
    with closing(record):
        try:
            problems = check_record(record).problems
        except RecordError as refused:
            return f"reading: {refused.problems[0].what}"
    return f"checking: {problems[0].what}" if problems else ""


def every_row(file: Path) -> dict[str, list[Any]]:
    """Every row as read from each table alone and through each of its indexes, and what stands in the index itself."""
    out: dict[str, list[Any]] = {}
    with closing(sqlite3.connect(file)) as raw:
        raw.text_factory = bytes
        for table in KEY_COLUMNS:
            out[table] = raw.execute(f"SELECT * FROM {table} NOT INDEXED").fetchall()  # noqa: S608
            for (index,) in raw.execute("SELECT name FROM pragma_index_list(?)", (table,)).fetchall():
                name = index.decode()
                columns = raw.execute("SELECT name FROM pragma_index_info(?)", (name,)).fetchall()
                listed = ", ".join(f'"{column.decode()}"' for (column,) in columns)
                for what in (f"{listed}, rowid", "*"):
                    query = f'SELECT {what} FROM {table} INDEXED BY "{name}" ORDER BY {listed}'  # noqa: S608
                    out[f"{what} by {name}"] = raw.execute(query).fetchall()
    return out


# Files


def test_the_victim_is_whole_and_touches_every_table(victim: Victim) -> None:
    victim.put(victim.whole)
    assert not found(victim.place, victim.clinic, victim.clock)
    rows = every_row(victim.place.file)
    assert set(KEY_COLUMNS) == {*METADATA.tables, "alembic_version"}
    assert all(rows[table] for table in KEY_COLUMNS)
    assert 35 <= len(rows["ledger"]) <= 60 and len(rows["papers"]) == 6
    assert {"*" in name for name in rows if " by " in name} == {True, False}


@pytest.mark.slow
def test_a_byte_of_the_file_that_was_altered_is_found_or_says_nothing(victim: Victim) -> None:
    """Bytes that are found by nothing lie where the file holds no row: every row is read as it was, byte for byte."""
    dice = random.Random(SEED)
    victim.put(victim.whole)
    before = every_row(victim.place.file)
    count: Counter[str] = Counter()
    for _ in range(EDITS):
        place = dice.randrange(len(victim.whole))
        other = victim.whole[place] ^ dice.randrange(1, 256)
        victim.put(victim.whole[:place] + bytes([other]) + victim.whole[place + 1 :])
        how = found(victim.place, victim.clinic, victim.clock)
        count[how.partition(":")[0] or "says nothing"] += 1
        if not how:
            assert every_row(victim.place.file) == before, f"byte {place} became {other:#x}, and nobody noticed"
    print(f"bytes altered: {dict(count)}")
    assert EDITS - count["says nothing"] > EDITS / 3, "most of the file is empty, so little was tested"


# Rows


def counted(edit: Edit) -> bool:
    """A session that is taken away only logs somebody out: nothing it said is lost, so it is not looked for."""
    return not (edit.kind == "delete" and edit.table.name == "sessions")


def tables_of(run: Callable[[str], tuple[list[str], list[tuple[Any, ...]]]]) -> Tables:
    read = {name: run(f"SELECT * FROM {name}") for name in KEY_COLUMNS}  # noqa: S608
    return {name: Table(name, tuple(columns), tuple(rows)) for name, (columns, rows) in read.items()}


@contextmanager
def unguarded(raw: sqlite3.Connection) -> Iterator[None]:
    """The guards of the ledger taken away, and put back as they were, so that only the chain can tell."""
    guards = raw.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in guards:
        raw.execute(f"DROP TRIGGER {name}")
    yield
    for _, sql in guards:
        raw.execute(sql)


def edit_file(file: Path, edit: Edit) -> bool:
    """Whether the store let ``edit`` be made; no constraint but uniqueness is in its way."""
    with closing(sqlite3.connect(file, isolation_level=None)) as raw:
        for pragma in ("synchronous = OFF", "ignore_check_constraints = ON", "foreign_keys = OFF"):
            raw.execute(f"PRAGMA {pragma}")
        raw.execute("BEGIN")
        try:
            with unguarded(raw):
                for statement, values in edit.statements("?"):
                    raw.execute(statement, values)
        except sqlite3.IntegrityError:
            raw.execute("ROLLBACK")
            return False
        raw.execute("COMMIT")
    return True


def test_what_is_done_and_undone_is_not_found(victim: Victim) -> None:
    """What is found below is the edit, then, and not the editing."""
    victim.put(victim.whole)
    with closing(sqlite3.connect(victim.place.file)) as raw:
        tables = tables_of(lambda query: _answer(raw.execute(query)))
    dice = random.Random(SEED)
    for _ in range(20):
        edit = draw_edit(tables, dice)
        if edit_file(victim.place.file, edit):
            assert edit_file(victim.place.file, edit.undone)
        assert not found(victim.place, victim.clinic, victim.clock), edit


@pytest.mark.slow
def test_a_row_of_the_file_that_was_altered_is_found(victim: Victim) -> None:
    dice = random.Random(SEED)
    victim.put(victim.whole)
    with closing(sqlite3.connect(victim.place.file)) as raw:
        tables = tables_of(lambda query: _answer(raw.execute(query)))
    count: Counter[tuple[str, str]] = Counter()
    missed = []
    while count.total() < EDITS:
        edit = draw_edit(tables, dice)
        victim.put(victim.whole)
        if not counted(edit) or not edit_file(victim.place.file, edit):
            continue
        count[edit.table.name, edit.kind] += 1
        if not found(victim.place, victim.clinic, victim.clock):
            missed.append(str(edit))
    print(f"rows altered: {sorted(count.items())}")
    assert missed == []
    single = {("head", "swap"), ("alembic_version", "swap"), ("sessions", "delete")}
    kinds = ("change", "delete", "copy", "swap")
    assert set(count) == {(table, kind) for table in KEY_COLUMNS for kind in kinds} - single


def test_a_session_that_was_taken_away_logs_out_and_changes_nothing(victim: Victim) -> None:
    victim.put(victim.whole)
    with closing(sqlite3.connect(victim.place.file)) as raw:
        raw.execute("DELETE FROM sessions")
        raw.commit()
    assert not found(victim.place, victim.clinic, victim.clock)


def _answer(cursor: Any) -> tuple[list[str], list[tuple[Any, ...]]]:
    return [column[0] for column in cursor.description], cursor.fetchall()


@pytest.mark.slow
def test_a_row_on_the_server_that_was_altered_is_found(server_record: Record, server: Server, clinic: Clinic) -> None:
    """By somebody who keeps the server: neither triggers nor references are in their way
    (postgresql.org/docs/15/runtime-config-client.html, session_replication_role)."""
    fill(server_record)
    dice = random.Random(SEED)
    count: Counter[tuple[str, str]] = Counter()
    missed = []
    address = server.address(server_record.store.engine.url.database or "")
    with psycopg.connect(address, autocommit=True, options="-c session_replication_role=replica") as raw:
        tables = tables_of(lambda query: _answer(raw.execute(query)))  # type: ignore[arg-type]
        while count.total() < ON_SERVER:
            edit = draw_edit(tables, dice)
            if not counted(edit) or not edit_server(raw, edit):
                continue
            count[edit.table.name, edit.kind] += 1
            if not found(server_record.place, clinic, server_record.clock):  # type: ignore[arg-type]
                missed.append(str(edit))
            assert edit_server(raw, edit.undone)
    print(f"rows altered on the server: {sorted(count.items())}")
    assert missed == []
    assert {table for table, _ in count} == set(KEY_COLUMNS)
    assert check_record(server_record).problems == ()


def edit_server(raw: Any, edit: Edit) -> bool:
    """Whether the store let ``edit`` be made."""
    try:
        with raw.transaction():
            for statement, values in edit.statements("%s"):
                raw.execute(statement, values)
    except psycopg.Error:
        return False
    return True


# Attacks with a plan


@contextmanager
def free_hand(record: Record) -> Iterator[Any]:
    """A connection of somebody who can write to the store and has not the key."""
    with record.store.engine.begin() as connection:
        if record.store.is_sqlite:
            raw = connection.connection.dbapi_connection
            assert isinstance(raw, sqlite3.Connection)
            with unguarded(raw):
                yield connection
        else:
            connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
            yield connection


def rewrite(connection: Any, sequence: int, content: str) -> str:
    """Another text for an entry, with its right hash, which is returned."""
    kept = hashlib.sha256(content.encode()).hexdigest()
    change = text("UPDATE ledger SET content = :content, hash = :hash WHERE sequence = :sequence")
    connection.execute(change, {"content": content, "hash": kept, "sequence": sequence})
    return kept


def whats(record: Record) -> str:
    """All that is found."""
    return "\n".join(f"{problem.where}: {problem.what}" for problem in check_record(record).problems)


def test_the_last_entry_cut_off_is_found(record: Record) -> None:
    fill(record)
    last = note(record)
    with free_hand(record) as connection:
        connection.execute(text("DELETE FROM ledger WHERE sequence = :last"), {"last": last.sequence})
    assert "not the one that was stamped" in whats(record)
    with pytest.raises(RecordError, match="stamped"):
        note(record)


def test_the_last_entry_cut_off_with_the_head_put_back_is_found(record: Record) -> None:
    fill(record)
    last = note(record)
    with free_hand(record) as connection:
        connection.execute(text("DELETE FROM ledger WHERE sequence = :last"), {"last": last.sequence})
        back = {"sequence": last.sequence - 1, "hash": last.previous}
        connection.execute(text("UPDATE head SET sequence = :sequence, hash = :hash"), back)
    assert "stamp of the last entry is not this record's" in whats(record)
    with pytest.raises(RecordError, match="stamp"):
        note(record)


@pytest.mark.parametrize("stamp", ["kept", "made with another key"])
def test_a_whole_chain_made_anew_without_the_key_is_found(record: Record, stamp: str) -> None:
    fill(record)
    notes(record, 3)
    with free_hand(record) as connection:
        previous, sequence = "0" * 64, 0
        rows = connection.execute(text("SELECT sequence, content FROM ledger ORDER BY sequence")).all()
        for sequence, content in rows:
            told = {**json.loads(content), "previous": previous}
            told["person"] = told["person"].replace("Imaginary Lead", "Somebody Else")
            previous = rewrite(connection, sequence, json.dumps(told, sort_keys=True, separators=(",", ":")))
        connection.execute(text("UPDATE head SET hash = :hash"), {"hash": previous})
        if stamp != "kept":
            forged = MasterKey(b"f" * 32).stamp("head", str(sequence), previous)
            connection.execute(text("UPDATE head SET stamp = :stamp"), {"stamp": forged})
    assert whats(record) == "head: the stamp of the last entry is not this record's"
    with pytest.raises(RecordError, match="stamp"):
        note(record)


def test_an_entry_written_anew_with_its_right_hash_is_found_by_the_next(record: Record) -> None:
    notes(record, 5)
    with free_hand(record) as connection:
        content = connection.execute(text("SELECT content FROM ledger WHERE sequence = 3")).scalar_one()
        rewrite(connection, 3, content.replace("Imaginary Lead", "Somebody Else"))
    assert whats(record) == "entry 4: it does not follow on the one before it"


@pytest.mark.parametrize(
    "content",
    ["", "[]", "null", "{}", "7", '{"sequence":2}', '{"sequence":2,"previous":"%s"}', '{"sequence":"2"}', "{"],
)
def test_an_entry_that_is_none_is_found(record: Record, content: str) -> None:
    first, *_ = notes(record, 3)
    with free_hand(record) as connection:
        rewrite(connection, 2, content.replace("%s", first.hash))
    assert "entry 2" in whats(record)


def test_each_place_where_the_chain_does_not_hold_is_named(record: Record) -> None:
    notes(record, 9)
    with free_hand(record) as connection:
        connection.execute(text("UPDATE ledger SET subject = 'another' WHERE sequence = 2"))
        connection.execute(text("UPDATE ledger SET content = content || ' ' WHERE sequence = 4"))
        connection.execute(text("DELETE FROM ledger WHERE sequence = 6"))
    said = whats(record)
    assert [line.partition(":")[0] for line in said.splitlines()] == ["entry 2", "entry 4", "entry 7"]
    assert "filed under" in said and "its words" in said and "taken out" in said


def test_an_older_copy_put_back_whole_is_told_by_the_last_entry_noted_elsewhere(victim: Victim) -> None:
    """Nothing inside a record can tell that all of it is of yesterday. What was noted elsewhere can."""
    victim.put(victim.whole)
    with closing(open_record(victim.place, victim.clinic, victim.clock)) as record:
        note(record)
        sequence, kept = check_record(record).last
    victim.put(victim.whole)
    with closing(open_record(victim.place, victim.clinic, victim.clock)) as record:
        checked = check_record(record)
    assert checked.problems == ()
    assert checked.last[0] < sequence and checked.last[1] != kept
