"""Logging in, waiting after wrong passwords, and sessions that end."""

from __future__ import annotations

import datetime as dt
import hashlib
import time
from collections.abc import Iterator
from functools import cache
from unittest.mock import patch

import pytest

from consent.errors import AccessError
from consent.record import accounts, login
from consent.record.accounts import (
    THIS_MACHINE,
    Account,
    kept_hash,
    make_account,
    read_accounts,
    set_password,
    waste_time,
)
from consent.record.accounts import hasher as accounts_hasher
from consent.record.ledger import append, entries
from consent.record.login import FREE_ANYWHERE, IDLE, LONGEST, end_session, identify, session_account, start_session
from consent.record.moves import Role
from consent.record.place import Record
from consent.record.schema import LEDGER, SESSIONS
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


def test_an_unknown_name_is_told_the_same(record: Record, surgeon: Account, clock: TestClock) -> None:
    """OWASP ASVS 4.0, 2.2.1 and CWE-204: one message for both, waits too, with the same work behind each."""
    known, unknown = _told(record, "asha", clock), _told(record, "nobody", clock)
    assert known == unknown
    assert [work for _, work in known] == [1, 1, 1, 1, 1, 0, 0, 1, 0]


def _told(record: Record, login: str, clock: TestClock) -> list[tuple[str, int]]:
    """For nine tries of ``login``, what is said and how often a password was checked for it."""
    counted = Counting()
    heard = []
    with patch("consent.record.accounts.hasher", lambda: counted):
        for minutes in (0, 0, 0, 0, 0, 0, 0, 2, 0):
            clock.advance(minutes=minutes)
            before = counted.verified
            with pytest.raises(AccessError) as refusal:
                identify(record, login, WRONG)
            heard.append((str(refusal.value).replace(login, "X"), counted.verified - before))
    return heard


class Counting:
    """The cheap hasher, counting what it checks."""

    def __init__(self) -> None:
        self.verified = 0

    def hash(self, password: str) -> str:
        return cheap_hasher().hash(password)

    def verify(self, hashed: str, password: str) -> bool:
        self.verified += 1
        return cheap_hasher().verify(hashed, password)


def test_an_unknown_name_takes_as_long(sqlite_record: Record) -> None:
    """CWE-208: by the clock, with the parameters that are used, nobody can tell the two apart."""
    decoy = cache(accounts._decoy.__wrapped__)  # the one there is may have been made by a cheap hasher
    with patch("consent.record.accounts.hasher", accounts_hasher), patch("consent.record.accounts._decoy", decoy):
        lead = make_account(sqlite_record, THIS_MACHINE, "lila", "Lila Invented", (Role.LEAD,), PASSWORDS["lila"])
        identify(sqlite_record, lead.login, PASSWORDS["lila"])
        waste_time(WRONG)
        known, unknown = (min(_seconds(sqlite_record, login) for _ in range(3)) for login in ("lila", "nobody"))
    assert 1 / 3 < known / unknown < 3
    assert min(known, unknown) > 0.01, "argon2 was asked"


def _seconds(record: Record, login: str) -> float:
    begun = time.perf_counter()
    with pytest.raises(AccessError, match="do not belong"):
        identify(record, login, WRONG)
    return time.perf_counter() - begun


def test_what_was_typed_as_a_name_is_not_kept(record: Record, surgeon: Account) -> None:
    """Many type the password where the name belongs; NIST SP 800-63B, 5.1.1.2 wants no password kept that is read."""
    with pytest.raises(AccessError):
        identify(record, PASSWORDS["asha"], "asha")
    with record.store.reading() as connection:
        assert PASSWORDS["asha"] not in " ".join(row.content for row in connection.execute(LEDGER.select()))


def test_names_and_passwords_of_any_bytes_are_refused_in_words(record: Record, surgeon: Account) -> None:
    """A command line may hold bytes that are no text (PEP 383)."""
    for name, password in (("\udcff", WRONG), ("asha", "\udcff" * 12), ("asha", ""), ("", "")):
        with pytest.raises(AccessError, match="do not belong"):
            identify(record, name, password)


def test_logging_out_does_not_end_the_count(record: Record, surgeon: Account) -> None:
    token = start_session(record, "asha", PASSWORDS["asha"])
    for _ in range(5):
        _try(record, WRONG)
    end_session(record, token)
    assert "too many wrong" in _try(record, PASSWORDS["asha"])


def test_a_clock_put_right_leaves_no_wait_and_no_session_behind(
    record: Record, surgeon: Account, clock: TestClock
) -> None:
    """Entries from a year ahead would keep their owner out, and a session in, for that year."""
    clock.advance(days=365)
    token = start_session(record, "asha", PASSWORDS["asha"])
    for _ in range(5):
        _try(record, WRONG)
    clock.advance(days=-365)
    with record.store.writing() as connection:
        person = surgeon.person
        append(connection, record.key, person, "lead", "clock-put-right", "clock", {}, record.clock(), True)
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)
    assert _try(record, PASSWORDS["asha"]) == "in"


def test_a_password_changed_while_somebody_logs_in_begins_no_session(record: Record, surgeon: Account) -> None:
    def changed_meanwhile(*_: object, **__: object) -> Account:
        set_password(record, surgeon.person, "asha", "four new words of hers")
        return surgeon

    with patch("consent.record.login.identify", changed_meanwhile), pytest.raises(AccessError, match="has ended"):
        start_session(record, "asha", PASSWORDS["asha"])


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


@pytest.mark.parametrize("column", ["token", "account", "made_at", "seen_at", "stamp"])
def test_a_session_altered_past_the_program_is_refused(record: Record, surgeon: Account, column: str) -> None:
    token = start_session(record, "asha", PASSWORDS["asha"])
    forged = "a" * 43
    values = {
        "token": hashlib.sha256(forged.encode()).hexdigest(),
        "account": "account-other",
        "made_at": "2027-02-20T05:30:00.000000+00:00",
        "seen_at": "2027-02-20T05:30:00.000000+00:00",
        "stamp": "0" * 64,
    }
    with record.store.writing() as connection:
        connection.execute(SESSIONS.update().values({column: values[column]}))
    held = forged if column == "token" else token
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, held)
    before = _kinds(record)
    end_session(record, held)
    assert _kinds(record) == before, "nothing is entered in the name of somebody who was not there"


def test_nobody_waits_while_a_password_is_looked_at(record: Record, surgeon: Account) -> None:
    """Checking a password takes a tenth of a second on purpose; others write meanwhile."""

    def checked(kept: str, password: str) -> bool:
        with record.store.writing():
            return True

    with patch("consent.record.login.password_fits", checked):
        assert login.identify(record, "asha", PASSWORDS["asha"]).login == "asha"


def test_a_password_changed_while_it_was_looked_at_is_looked_at_again(record: Record, surgeon: Account) -> None:
    def changed(kept: str, password: str) -> bool:
        if kept == before:
            set_password(record, surgeon.person, "asha", "another path along a river")
            return True
        return False

    with record.store.reading() as connection:
        before = kept_hash(connection, read_accounts(connection, record.key)[surgeon.id])
    with patch("consent.record.login.password_fits", changed), pytest.raises(AccessError, match="do not belong"):
        login.identify(record, "asha", PASSWORDS["asha"])


def test_of_a_flood_of_tries_during_a_wait_one_is_kept_and_the_wait_stays(
    record: Record, surgeon: Account, clock: TestClock
) -> None:
    """OWASP ASVS 4.0, 2.2.1; CWE-770: nobody fills the ledger, and what went before is not forgotten."""
    for _ in range(8):
        _try(record, WRONG)
        clock.advance(minutes=9)
    assert "do not belong" in _try(record, WRONG)
    before = len(_kinds(record))
    for _ in range(300):
        assert "too many wrong" in _try(record, WRONG)
    assert _kinds(record)[before:] == ["login-too-soon"]
    assert "too many wrong" in _try(record, PASSWORDS["asha"])


def _try_from(record: Record, password: str, place: str) -> str:
    try:
        identify(record, "asha", password, place=place)
    except AccessError as refusal:
        return str(refusal)
    return "in"


def test_nobody_elsewhere_keeps_somebody_out(record: Record, surgeon: Account) -> None:
    """CWE-645: a lock that anybody can set from another device keeps its owner out."""
    for _ in range(12):
        _try_from(record, WRONG, "192.0.2.7")
    assert "too many wrong" in _try_from(record, PASSWORDS["asha"], "192.0.2.7")
    assert _try_from(record, PASSWORDS["asha"], "192.0.2.8") == "in"
    assert "too many wrong" in _try_from(record, PASSWORDS["asha"], "192.0.2.7"), "nor does the owner let others in"


def test_tries_from_very_many_devices_wait_all_the_same(record: Record, surgeon: Account) -> None:
    for device in range(FREE_ANYWHERE):
        assert "do not belong" in _try_from(record, WRONG, f"192.0.2.{device}")
    assert "too many wrong" in _try_from(record, PASSWORDS["asha"], "198.51.100.1")


def test_tries_to_log_in_keep_nobody_from_signing(record: Record, surgeon: Account) -> None:
    for _ in range(9):
        _try(record, WRONG)
    assert identify(record, "asha", PASSWORDS["asha"], "signature").id == surgeon.id
    for _ in range(5):
        with pytest.raises(AccessError, match="do not belong"):
            identify(record, "asha", WRONG, "signature")
    with pytest.raises(AccessError, match="too many wrong"):
        identify(record, "asha", PASSWORDS["asha"], "signature")
