"""Logging in, waiting after wrong passwords, and sessions that end."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from unittest.mock import patch

import pytest

from consent.errors import AccessError
from consent.record.accounts import Account
from consent.record.ledger import entries
from consent.record.login import IDLE, LONGEST, end_session, identify, session_account, start_session
from consent.record.place import Record
from consent.record.schema import SESSIONS
from tests.record.acts import cheap_hasher
from tests.record.clock import TestClock
from tests.record.story import PASSWORDS, make_staff

WRONG = "not the words she chose"


@pytest.fixture(autouse=True)
def _cheap() -> Iterator[None]:
    with patch("consent.record.accounts.hasher", cheap_hasher):
        yield


@pytest.fixture
def surgeon(record: Record) -> Account:
    return make_staff(record).surgeon


def _try(record: Record, password: str) -> str:
    try:
        identify(record, "asha", password)
    except AccessError as refusal:
        return str(refusal)
    return "in"


def _kinds(record: Record) -> list[str]:
    with record.store.reading() as connection:
        return [entry.kind for entry in entries(connection)]


def test_waits_grow_with_each_wrong_password(record: Record, surgeon: Account, clock: TestClock) -> None:
    """OWASP ASVS 4.0, 2.2.1: growing delays against guessing; no lasting lock that would keep the owner out."""
    waits = []
    for _ in range(5):
        assert "do not belong" in _try(record, WRONG)
    for _ in range(8):
        refused = _try(record, PASSWORDS["asha"])
        assert "too many wrong" in refused
        waited = 0
        while "too many wrong" in _try(record, WRONG):
            clock.advance(minutes=1)
            waited += 1
        waits.append(waited)
    assert waits == [1, 2, 4, 8, 16, 32, 60, 60]


def test_trying_while_waiting_does_not_prolong_it(record: Record, surgeon: Account, clock: TestClock) -> None:
    for _ in range(5):
        _try(record, WRONG)
    for _ in range(20):
        assert "too many wrong" in _try(record, PASSWORDS["asha"])
        clock.advance(seconds=2)
    clock.advance(seconds=21)
    assert _try(record, PASSWORDS["asha"]) == "in"


def test_a_right_password_ends_the_count(record: Record, surgeon: Account) -> None:
    for _ in range(3):
        for _ in range(4):
            _try(record, WRONG)
        assert _try(record, PASSWORDS["asha"]) == "in"


def test_an_unknown_name_is_told_the_same(record: Record, surgeon: Account) -> None:
    """OWASP ASVS 4.0, 2.2.1 and CWE-204: one message for both, and the same work behind it."""
    with patch("consent.record.accounts.PasswordHasher", create=True), pytest.raises(AccessError) as known:
        identify(record, "asha", WRONG)
    checked = []
    real = cheap_hasher().verify

    class Counting:
        def hash(self, password: str) -> str:
            return cheap_hasher().hash(password)

        def verify(self, hashed: str, password: str) -> bool:
            checked.append(hashed)
            return real(hashed, password)

    with patch("consent.record.accounts.hasher", Counting), pytest.raises(AccessError) as unknown:
        identify(record, "nobody", WRONG)
    assert str(known.value).replace("asha", "X") == str(unknown.value).replace("nobody", "X")
    assert len(checked) == 1


def test_every_login_and_refusal_is_an_entry(record: Record, surgeon: Account) -> None:
    before = len(_kinds(record))
    _try(record, WRONG)
    token = start_session(record, "asha", PASSWORDS["asha"])
    end_session(record, token)
    with pytest.raises(AccessError):
        identify(record, "nobody", WRONG)
    assert _kinds(record)[before:] == ["login-refused", "login", "logged-out", "login-refused"]


def test_a_session_names_its_account(record: Record, surgeon: Account) -> None:
    token = start_session(record, "asha", PASSWORDS["asha"])
    assert session_account(record, token).name == "Dr Asha Invented"
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token[:-1])


def test_a_session_ends_when_nobody_is_there(record: Record, surgeon: Account, clock: TestClock) -> None:
    """OWASP ASVS 4.0, 3.3.2: idle and absolute timeouts."""
    token = start_session(record, "asha", PASSWORDS["asha"])
    clock.advance(IDLE - dt.timedelta(minutes=1))
    assert session_account(record, token)
    clock.advance(IDLE - dt.timedelta(minutes=1))
    assert session_account(record, token), "the step before kept it alive"
    clock.advance(IDLE + dt.timedelta(minutes=1))
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)


def test_a_session_ends_after_a_working_day(record: Record, surgeon: Account, clock: TestClock) -> None:
    token = start_session(record, "asha", PASSWORDS["asha"])
    start = clock.now
    while clock.now < start + LONGEST - dt.timedelta(minutes=10):
        clock.advance(minutes=10)
        assert session_account(record, token)
    clock.advance(minutes=11)
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)


def test_only_a_digest_of_the_token_is_kept(record: Record, surgeon: Account) -> None:
    """OWASP ASVS 4.0, 3.2.3: a session is not stored in a form that would open it."""
    token = start_session(record, "asha", PASSWORDS["asha"])
    with record.store.reading() as connection:
        row = connection.execute(SESSIONS.select()).one()
    assert token not in str(row)
    assert len(token) >= 43, "256 bits in base64; OWASP ASVS 4.0, 3.2.2 asks for 64"


def test_a_session_made_past_the_program_is_refused(record: Record, surgeon: Account) -> None:
    start_session(record, "asha", PASSWORDS["asha"])
    forged = "a" * 43
    import hashlib

    with record.store.writing() as connection:
        connection.execute(SESSIONS.update().values(token=hashlib.sha256(forged.encode()).hexdigest()))
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, forged)
