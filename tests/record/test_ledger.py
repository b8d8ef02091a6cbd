"""The ledger held against hashlib, HMAC and RFC 8785 made again here, and against whoever would change it."""

from __future__ import annotations

import datetime as dt
import hashlib
import hmac
import json
import subprocess
from typing import Any

import pytest
import rfc8785
from sqlalchemy import text

from consent.errors import RecordError
from consent.record.canonical import canonical
from consent.record.checking import check_record
from consent.record.ledger import FIRST_PREVIOUS, Person, append, entries, read_head
from consent.record.place import Record
from tests.record.clock import TestClock
from tests.record.filled import LEAD, note, notes

SAID: tuple[dict[str, Any], ...] = (
    {"said": "জল পড়ছে", "n": 1},
    {"said": 'quoted "words"\n and \\ a tab\t', "z": 0.5, "a": -3, "m": {"b": [1, 2.25, None, True], "a": {}}},
    {"said": "हाँ", "empty": [], "ä": "after z, by code"},
)


def rows(record: Record) -> list[tuple[Any, ...]]:
    """Sequence, subject, kind, content and hash of each row of the ledger, past the program."""
    with record.store.engine.connect() as connection:
        found = connection.execute(text("SELECT sequence, subject, kind, content, hash FROM ledger ORDER BY sequence"))
        return [tuple(row) for row in found]


def written(record: Record) -> list[tuple[Any, ...]]:
    """The rows of a ledger in which everything in ``SAID`` was noted."""
    for body in SAID:
        note(record, body)
    return rows(record)


# Text of an entry, its hash, the chain


def test_each_hash_is_the_sha256_of_the_text(record: Record) -> None:
    """FIPS 180-4 by hashlib."""
    found = written(record)
    assert len(found) == len(SAID)
    for *_, content, kept in found:
        assert hashlib.sha256(content.encode()).hexdigest() == kept


def test_the_text_is_canonical(record: Record) -> None:
    """RFC 8785 by the library; and, for data without awkward numbers, by Python's own sorted and compact form."""
    for *_, content, _ in written(record):
        data = json.loads(content)
        assert rfc8785.dumps(data).decode() == content
        assert json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False) == content


def test_canonical_sorts_as_the_rfc_does() -> None:
    """RFC 8785, 3.2.3: names are sorted by their UTF-16 code units, which is not the order of code points."""
    names = ("\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6")
    order = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    assert list(json.loads(canonical(dict.fromkeys(names, 0)))) == order


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (-0.0, "0"), (5e-324, "5e-324"), (1e21, "1e+21"), (1e23, "1e+23"), (333333333.3333332, None)],
)
def test_canonical_writes_numbers_as_the_rfc_does(value: float, text: str | None) -> None:
    """RFC 8785, Appendix B."""
    assert canonical(value).decode() == (text or "333333333.3333332")


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 2**53])
def test_canonical_refuses_what_json_cannot_hold(value: float) -> None:
    with pytest.raises(ValueError):
        canonical({"n": value})


def test_the_text_says_all_that_was_recorded(record: Record, clock: TestClock) -> None:
    start = clock.now
    (first, *_) = written(record)
    sequence, subject, kind, content, _ = first
    assert json.loads(content) == {
        "sequence": sequence,
        "at": start.isoformat(timespec="microseconds"),
        "subject": subject,
        "kind": kind,
        "account": LEAD.account,
        "person": LEAD.name,
        "role": "lead",
        "body": {"said": SAID[0]},
        "previous": FIRST_PREVIOUS,
    }


def test_each_entry_names_the_one_before(record: Record) -> None:
    found = written(record)
    previous = "0" * 64
    for number, (sequence, _, _, content, kept) in enumerate(found, 1):
        assert (sequence, json.loads(content)["previous"]) == (number, previous)
        previous = kept


# The stamp


def hkdf(secret: bytes, info: bytes) -> bytes:
    """32 bytes by HKDF-SHA-256 without salt (RFC 5869, section 2), one block."""
    extracted = hmac.digest(bytes(32), secret, "sha256")
    return hmac.digest(extracted, info + b"\x01", "sha256")


def test_the_head_is_stamped_with_a_key_that_is_not_in_the_store(record: Record) -> None:
    """HMAC-SHA-256 (RFC 2104) by Python's hmac and by OpenSSL; there are no accounts yet, so their digest is zeros."""
    last = notes(record, 3)[-1]
    secret = bytes.fromhex(record.place.key_file.read_text().strip())
    key, said = hkdf(secret, b"consent record 1 stamp"), "\x1f".join(("head", "3", last.hash, "0" * 64)).encode()
    with record.store.engine.connect() as connection:
        sequence, kept, stamp = connection.execute(text("SELECT sequence, hash, stamp FROM head")).one()
    assert (sequence, kept) == (3, last.hash)
    assert stamp == hmac.new(key, said, hashlib.sha256).hexdigest()
    command = ["openssl", "dgst", "-sha256", "-mac", "HMAC", "-macopt", f"hexkey:{key.hex()}"]
    answer = subprocess.run(command, input=said, capture_output=True, check=True).stdout.decode()
    assert answer.split()[-1] == stamp


@pytest.mark.parametrize("column", ["sequence", "hash", "stamp"])
def test_nothing_is_added_on_an_end_that_was_not_stamped(record: Record, column: str) -> None:
    first, second = notes(record, 2)
    other = {"sequence": "1", "hash": f"'{first.hash}'", "stamp": f"'{second.hash}'"}[column]
    with record.store.engine.begin() as connection:
        connection.execute(text(f"UPDATE head SET {column} = {other}"))  # noqa: S608
    with pytest.raises(RecordError, match="not this record's"):
        note(record)
    assert len(rows(record)) == 2


def test_the_head_put_back_with_its_old_stamp_is_found(record: Record) -> None:
    """Who kept the head of yesterday can put it back, but not hide that there is more."""
    note(record)
    with record.store.engine.begin() as connection:
        sequence, kept, stamp = connection.execute(text("SELECT sequence, hash, stamp FROM head")).one()
    note(record)
    with record.store.engine.begin() as connection:
        connection.execute(text(f"UPDATE head SET sequence = {sequence}, hash = '{kept}', stamp = '{stamp}'"))  # noqa: S608
    with pytest.raises(RecordError, match="not the one that was stamped"):
        note(record)
    assert any("not the one that was stamped" in problem.what for problem in check_record(record).problems)


# Added to, and nothing else


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE ledger SET content = '{}'",
        "UPDATE ledger SET subject = 'another' WHERE sequence = 2",
        "UPDATE ledger SET kind = kind",
        "DELETE FROM ledger WHERE sequence = 3",
        "DELETE FROM ledger",
    ],
)
def test_an_entry_cannot_be_altered_or_removed(record: Record, statement: str) -> None:
    notes(record, 3)
    before = rows(record)
    with pytest.raises(RecordError, match="only ever added to"), record.store.writing() as connection:
        connection.execute(text(statement))
    assert rows(record) == before


def test_an_entry_cannot_be_put_in_between(record: Record) -> None:
    notes(record, 3)
    before = rows(record)
    statement = "INSERT INTO ledger SELECT sequence, subject, kind, content, 'x' FROM ledger WHERE sequence = 2"
    with pytest.raises(RecordError), record.store.writing() as connection:
        connection.execute(text(statement))
    assert rows(record) == before


@pytest.mark.parametrize("column", ["sequence", "hash"])
def test_an_entry_cannot_be_replaced(sqlite_record: Record, column: str) -> None:
    """INSERT OR REPLACE deletes without asking a trigger for deletions (sqlite.org/lang_conflict.html, REPLACE)."""
    notes(sqlite_record, 3)
    before = rows(sqlite_record)
    values = {"sequence": "2, 'x', 'x', 'x', 'x'", "hash": f"9, 'x', 'x', 'x', '{before[1][4]}'"}[column]
    with pytest.raises(RecordError, match="only ever added to"), sqlite_record.store.writing() as connection:
        connection.execute(text(f"INSERT OR REPLACE INTO ledger VALUES ({values})"))  # noqa: S608
    assert rows(sqlite_record) == before


def test_the_ledger_cannot_be_emptied(server_record: Record) -> None:
    notes(server_record, 3)
    with pytest.raises(RecordError, match="only ever added to"), server_record.store.writing() as connection:
        connection.execute(text("TRUNCATE ledger CASCADE"))
    assert len(rows(server_record)) == 3


@pytest.mark.parametrize(
    ("store", "statement"),
    [
        ("sqlite", "DROP TRIGGER ledger_no_update"),
        ("sqlite", "DROP TRIGGER ledger_no_delete"),
        ("sqlite", "DROP TRIGGER ledger_no_replace"),
        ("postgresql", "ALTER TABLE ledger DISABLE TRIGGER ledger_no_change"),
        ("postgresql", "ALTER TABLE ledger ENABLE REPLICA TRIGGER ledger_no_change"),
        ("postgresql", "DROP TRIGGER ledger_no_truncate ON ledger"),
        (
            "postgresql",
            "CREATE OR REPLACE FUNCTION ledger_only_appended() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RETURN NEW; END $$",
        ),
    ],
)
def test_a_guard_that_was_taken_away_is_missed(request: pytest.FixtureRequest, store: str, statement: str) -> None:
    record: Record = request.getfixturevalue({"sqlite": "sqlite_record", "postgresql": "server_record"}[store])
    assert check_record(record).problems == ()
    with record.store.engine.begin() as connection:
        connection.execute(text(statement))
    found = [str(problem) for problem in check_record(record).problems]
    assert found and all("guard of the ledger" in problem for problem in found)


def test_a_guard_that_no_longer_guards_is_missed(sqlite_record: Record) -> None:
    with sqlite_record.store.engine.begin() as connection:
        connection.execute(text("DROP TRIGGER ledger_no_update"))
        connection.execute(text("CREATE TRIGGER ledger_no_update BEFORE UPDATE ON ledger BEGIN SELECT 1; END"))
    assert any("guard of the ledger was altered" in problem.what for problem in check_record(sqlite_record).problems)


@pytest.mark.parametrize(
    ("store", "statement"),
    [
        ("sqlite", "CREATE TRIGGER helpful AFTER INSERT ON ledger BEGIN DELETE FROM papers; END"),
        ("postgresql", "CREATE RULE helpful AS ON INSERT TO papers DO INSTEAD NOTHING"),
    ],
)
def test_something_that_was_put_in_is_found(request: pytest.FixtureRequest, store: str, statement: str) -> None:
    record: Record = request.getfixturevalue({"sqlite": "sqlite_record", "postgresql": "server_record"}[store])
    with record.store.engine.begin() as connection:
        connection.execute(text(statement))
    assert any("was put in" in problem.what for problem in check_record(record).problems)


# The clock


def test_a_clock_that_went_back_is_refused(record: Record, clock: TestClock) -> None:
    note(record)
    clock.advance(hours=-1)
    with pytest.raises(RecordError) as refused:
        note(record)
    said = str(refused.value)
    assert "clock" in said and "set the clock right" in said and "consent record clock" in said
    assert "03:30:00.001000" in said and "04:30:00.000000" in said
    assert len(rows(record)) == 1


@pytest.mark.parametrize(("microseconds", "kept"), [(2_000_000, True), (2_000_001, False)])
def test_a_clock_may_go_back_two_seconds(record: Record, clock: TestClock, microseconds: int, kept: bool) -> None:
    """Two machines of one clinic are never quite alike; more than that is somebody setting a clock."""
    last = note(record)
    clock.now = last.at - dt.timedelta(microseconds=microseconds)
    if kept:
        assert note(record).at < last.at
        return
    with pytest.raises(RecordError):
        note(record)


def test_an_entry_may_say_that_the_clock_was_put_right(record: Record, clock: TestClock) -> None:
    note(record)
    clock.advance(days=-365)
    with record.store.writing() as connection:
        set_back = append(
            connection, record.key, LEAD, "lead", "clock-set", "clock", {}, record.clock(), clock_was_set=True
        )
    assert note(record).at > set_back.at
    assert check_record(record).problems == ()


def test_a_time_is_kept_in_utc_whatever_zone_it_was_told_in(record: Record, clock: TestClock) -> None:
    clock.now = dt.datetime(2027, 2, 24, 10, 0, tzinfo=dt.timezone(dt.timedelta(hours=5, minutes=30)))
    entry = note(record)
    assert json.loads(rows(record)[0][3])["at"] == "2027-02-24T04:30:00.000000+00:00"
    assert entry.at == clock.now.replace(microsecond=0)


# Reading


def test_entries_are_read_as_they_were_returned(record: Record) -> None:
    made = [note(record, body, subject) for body, subject in zip(SAID, ("a", "b", "a"), strict=True)]
    with record.store.reading() as connection:
        assert list(entries(connection)) == made
        assert list(entries(connection, "a")) == [made[0], made[2]]
        assert list(entries(connection, after=1)) == made[1:]
        head = read_head(connection, record.key)
    assert (head.sequence, head.hash, head.at) == (3, made[2].hash, made[2].at)


def test_what_fails_halfway_leaves_nothing(record: Record) -> None:
    kept = note(record)
    with pytest.raises(ZeroDivisionError), record.store.writing() as connection:
        append(connection, record.key, Person("p", "P"), "", "noted", "x", {}, record.clock())
        _ = 1 / 0
    with record.store.reading() as connection:
        assert list(entries(connection)) == [kept]
        assert read_head(connection, record.key).sequence == 1
    assert check_record(record).problems == ()
