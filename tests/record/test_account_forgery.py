"""Who can write to the store and has not the key makes nobody into somebody else, not even for a moment.

What is put back afterwards is found by no check, so it has to be refused while it stands.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from sqlalchemy import text

from consent.errors import RecordError
from consent.record.accounts import close_account, make_account, read_accounts, set_password
from consent.record.act import Act
from consent.record.checking import check_record
from consent.record.entering import enter, prove
from consent.record.login import identify, session_account, start_session
from consent.record.moves import Role
from consent.record.place import Record
from consent.record.restamp import restamp
from consent.record.schema import HEAD
from tests.record.acts import cheap_hasher, without_printing
from tests.record.story import PASSWORDS, Staff, make_staff
from tests.record.test_tampering import free_hand, rewrite

MALLORY = "words that mallory knows"
Forge = Callable[[Any, Staff], None]


@pytest.fixture(autouse=True)
def _cheaply() -> Iterator[None]:
    with without_printing():
        yield


@pytest.fixture
def staff(record: Record) -> Staff:
    return make_staff(record)


def _last(connection: Any, account: str, kind: str) -> tuple[int, str]:
    """Sequence and content of the last entry of ``kind`` about ``account``."""
    rows = connection.execute(text("SELECT sequence, content FROM ledger WHERE kind = :kind"), {"kind": kind})
    found: tuple[int, str] = max(tuple(row) for row in rows if json.loads(row.content)["body"]["account"] == account)
    return found


def _swap_password(connection: Any, staff: Staff) -> None:
    """Row, digest in the entry and hash of the entry, all alike."""
    one = {"account": staff.surgeon.id, "hash": cheap_hasher().hash(MALLORY.encode())}
    kept = connection.execute(text("SELECT hash FROM passwords WHERE account = :account"), one).scalar_one()
    sequence, content = _last(connection, staff.surgeon.id, "password-set")
    digests = [hashlib.sha256(hashed.encode()).hexdigest() for hashed in (kept, one["hash"])]
    assert digests[0] in content
    rewrite(connection, sequence, content.replace(*digests))
    connection.execute(text("UPDATE passwords SET hash = :hash WHERE account = :account"), one)


def _swap_login(connection: Any, staff: Staff) -> None:
    """The counsellor's password opens the surgeon's account, by the two names exchanged."""
    for account, other in ((staff.surgeon, "meera"), (staff.counsellor, "asha")):
        sequence, content = _last(connection, account.id, "account-made")
        rewrite(connection, sequence, content.replace(f'"login":"{account.login}"', f'"login":"{other}"'))


def _give_role(connection: Any, staff: Staff) -> None:
    sequence, content = _last(connection, staff.counsellor.id, "account-made")
    rewrite(connection, sequence, content.replace('["counsellor"]', '["surgeon"]'))


def _hide_last(connection: Any, staff: Staff) -> None:
    """The last entry about accounts filed under something else, as if it had never been."""
    sequence, _ = _last(connection, staff.theatre.id, "account-closed")
    connection.execute(text("UPDATE ledger SET subject = 'other' WHERE sequence = :n"), {"n": sequence})


def _take_out(connection: Any, staff: Staff) -> None:
    sequence, _ = _last(connection, staff.theatre.id, "account-closed")
    connection.execute(text("DELETE FROM ledger WHERE sequence = :n"), {"n": sequence})


@contextmanager
def forged(record: Record, forge: Forge, staff: Staff) -> Iterator[None]:
    """The store as ``forge`` leaves it; put back as it was afterwards, byte for byte."""
    with free_hand(record) as connection:
        before = {name: connection.execute(text(f"SELECT * FROM {name}")).all() for name in ("ledger", "passwords")}  # noqa: S608
        forge(connection, staff)
    yield
    with free_hand(record) as connection:
        for table, rows in before.items():
            for row in rows:
                _put_back(connection, table, row._asdict())


def _put_back(connection: Any, table: str, row: dict[str, Any]) -> None:
    key = next(iter(row))
    sets = ", ".join(f"{column} = :{column}" for column in row)
    done = connection.execute(text(f"UPDATE {table} SET {sets} WHERE {key} = :{key}"), row)  # noqa: S608
    if not done.rowcount:
        marks = ", ".join(f":{column}" for column in row)
        connection.execute(text(f"INSERT INTO {table} VALUES ({marks})"), row)  # noqa: S608


@pytest.mark.parametrize("forge", [_swap_password, _swap_login, _give_role, _hide_last, _take_out])
def test_no_account_is_believed_while_one_of_them_is_forged(record: Record, staff: Staff, forge: Forge) -> None:
    """Nobody logs in, goes on, signs, or makes an account; put back, all is as before and nothing was entered."""
    token = start_session(record, "noor", PASSWORDS["noor"])
    close_account(record, staff.lead.person, "tara")
    identify(record, "noor", PASSWORDS["noor"])  # the last entry is another's: it is not the head that tells
    last = check_record(record).last
    with forged(record, forge, staff):
        for login, password in (("asha", MALLORY), ("asha", PASSWORDS["meera"]), ("lila", PASSWORDS["lila"])):
            with pytest.raises(RecordError, match="entries of accounts"):
                identify(record, login, password)
        with pytest.raises(RecordError, match="entries of accounts"):
            session_account(record, token)
        with pytest.raises(RecordError, match="entries of accounts"):
            prove(record, staff.surgeon, MALLORY)
        with pytest.raises(RecordError, match="entries of accounts"):
            enter(record, staff.surgeon, "case-0123456789abcdef", Act("noted", 0, reason="x"))
        with pytest.raises(RecordError, match="entries of accounts"):
            make_account(record, staff.lead.person, "new", "N. Example", (Role.LEAD,), MALLORY)
    assert check_record(record).problems == ()
    assert check_record(record).last == last
    assert identify(record, "asha", PASSWORDS["asha"]).id == staff.surgeon.id


def test_the_head_holds_one_digest_of_all_entries_of_accounts(record: Record, staff: Staff) -> None:
    """SHA-256 (FIPS 180-4) over the digest before and the next entry's, in hexadecimal, by hashlib alone."""
    wanted = "0" * 64
    with record.store.reading() as connection:
        for content in connection.execute(text("SELECT content FROM ledger ORDER BY sequence")).scalars():
            if json.loads(content)["subject"] == "accounts":
                wanted = hashlib.sha256(f"{wanted}{hashlib.sha256(content.encode()).hexdigest()}".encode()).hexdigest()
        assert connection.execute(text("SELECT accounts FROM head")).scalar_one() == wanted != "0" * 64


def test_an_older_password_put_back_whole_is_refused(record: Record, staff: Staff) -> None:
    """The row as it stood before the last change, and the entry of the change filed elsewhere: a lead knew that one."""
    with record.store.reading() as connection:
        old = connection.execute(text("SELECT * FROM passwords WHERE account = :a"), {"a": staff.surgeon.id}).one()
    set_password(record, staff.surgeon.person, "asha", "seven new words of hers")
    with free_hand(record) as connection:
        sequence, _ = _last(connection, staff.surgeon.id, "password-set")
        connection.execute(text("UPDATE ledger SET subject = 'other' WHERE sequence = :n"), {"n": sequence})
        put = text("UPDATE passwords SET hash = :hash, sequence = :sequence WHERE account = :account")
        connection.execute(put, {"hash": old.hash, "sequence": old.sequence, "account": old.account})
    with pytest.raises(RecordError, match="entries of accounts"):
        identify(record, "asha", PASSWORDS["asha"])


def test_the_digest_in_the_head_is_under_its_stamp(record: Record, staff: Staff) -> None:
    with free_hand(record) as connection:
        connection.execute(HEAD.update().values(accounts="0" * 64))
    with record.store.reading() as connection, pytest.raises(RecordError, match="stamp of the last entry"):
        read_accounts(connection, record.key)
    assert [problem.where for problem in check_record(record).problems] == ["head"]


def test_a_head_without_the_digest_is_no_head(record: Record, staff: Staff) -> None:
    """As it was in version 0001: nobody gets round the stamp by taking the digest out; nor can an upgrade be had."""
    with free_hand(record) as connection:
        connection.execute(HEAD.update().values(accounts=""))
    with pytest.raises(RecordError, match="stamp of the last entry"):
        identify(record, "asha", PASSWORDS["asha"])
    with record.store.writing() as connection, pytest.raises(RecordError, match="stamp of the last entry"):
        restamp(connection, record.key)
