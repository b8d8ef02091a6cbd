"""Who may enter anything, and the words that prove it."""

from __future__ import annotations

from collections.abc import Iterator
from unittest.mock import patch

import pytest
from argon2 import Type, extract_parameters

from consent.errors import AccessError, UsageError
from consent.record.accounts import (
    THIS_MACHINE,
    Account,
    change_account,
    check_password,
    close_account,
    hasher,
    make_account,
    password_fits,
    read_accounts,
    set_password,
)
from consent.record.ledger import Person
from consent.record.login import identify, session_account, start_session
from consent.record.moves import Role
from consent.record.place import Record
from consent.record.schema import LEDGER, PASSWORDS
from tests.record.acts import cheap_hasher
from tests.record.story import PASSWORDS as WORDS

NEW_WORDS = "eleven goats on a wall"


@pytest.fixture(autouse=True)
def _cheap() -> Iterator[None]:
    """What argon2 costs is tested where its parameters are; elsewhere it is as cheap as it can be."""
    with patch("consent.record.accounts.hasher", cheap_hasher):
        yield


@pytest.fixture
def lead(record: Record) -> Account:
    return make_account(record, THIS_MACHINE, "lila", "Lila Invented", (Role.LEAD,), WORDS["lila"])


@pytest.fixture
def surgeon(record: Record, lead: Account) -> Account:
    return _surgeon(record, lead, "asha", "Dr Asha Invented")


def _surgeon(record: Record, lead: Account, login: str, name: str) -> Account:
    return make_account(record, lead.person, login, name, (Role.SURGEON,), WORDS["asha"], "INVENTED-0002")


def test_parameters_are_those_of_the_standard() -> None:
    """RFC 9106, section 4, second recommended option: Argon2id, t=3, m=64 MiB, p=4, salt 128 bits, tag 256 bits."""
    found = extract_parameters(hasher().hash("x"))
    assert (found.type, found.time_cost, found.memory_cost, found.parallelism) == (Type.ID, 3, 64 * 1024, 4)
    assert (found.salt_len, found.hash_len) == (16, 32)


@pytest.mark.parametrize(
    ("password", "said"),
    [
        ("short words", "11 signs"),
        ("x" * 129, "more than 128"),
        ("ababababababab", "again and again"),
        ("dr asha invented it", "name of its owner"),
    ],
)
def test_bad_passwords_are_refused(password: str, said: str) -> None:
    """NIST SP 800-63B, 5.1.1.2: length, and nothing that is easily guessed from the person."""
    with pytest.raises(UsageError, match=said):
        check_password(password, "asha", "Dr Asha Invented")


def test_no_mixture_of_signs_is_asked_for() -> None:
    """NIST SP 800-63B, 5.1.1.2: no composition rules; all printing characters and spaces, Unicode too."""
    check_password("only small words here", "asha", "Dr Asha Invented")
    check_password("নদীর ধারে বটগাছ আছে", "asha", "Dr Asha Invented")


def test_what_looks_the_same_is_the_same(record: Record, lead: Account) -> None:
    """NIST SP 800-63B, 5.1.1.2: normalised by NFKC. Two ways to write é (Unicode, canonical equivalence)."""
    set_password(record, lead.person, "lila", "un café près du pont")
    with record.store.reading() as connection:
        account = read_accounts(connection)[lead.id]
        assert password_fits(connection, account, "un cafe\u0301 pre\u0300s du pont")


def test_the_first_account_is_a_lead_made_by_this_machine(record: Record) -> None:
    with pytest.raises(UsageError, match="first account"):
        make_account(record, THIS_MACHINE, "asha", "Dr Asha", (Role.SURGEON,), WORDS["asha"], "INVENTED-0002")
    make_account(record, THIS_MACHINE, "lila", "Lila Invented", (Role.LEAD,), WORDS["lila"])
    with pytest.raises(AccessError, match="there are accounts already"):
        make_account(record, THIS_MACHINE, "mallory", "Mallory", (Role.LEAD,), NEW_WORDS)


def test_only_a_lead_makes_accounts(record: Record, surgeon: Account) -> None:
    with pytest.raises(AccessError, match="not clinic lead"):
        make_account(record, surgeon.person, "new", "N. Example", (Role.COUNSELLOR,), NEW_WORDS)


@pytest.mark.parametrize(
    ("login", "name", "roles", "registration", "said"),
    [
        ("A B", "N. Example", (Role.THEATRE,), None, "login name"),
        ("new", "  ", (Role.THEATRE,), None, "name is empty"),
        ("new", "N. Example", (), None, "no role"),
        ("new", "N. Example", (Role.SURGEON,), None, "needs a registration"),
        ("new", "N. Example", (Role.AUDITOR, Role.LEAD), None, "only reads"),
        ("lila", "N. Example", (Role.THEATRE,), None, "already"),
    ],
)
def test_what_an_account_must_have(
    record: Record, lead: Account, login: str, name: str, roles: tuple[Role, ...], registration: str | None, said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        make_account(record, lead.person, login, name, roles, NEW_WORDS, registration)


def test_the_last_surgeon_and_the_last_lead_stay(record: Record, lead: Account, surgeon: Account) -> None:
    with pytest.raises(AccessError, match="last account of a surgeon"):
        close_account(record, lead.person, "asha")
    with pytest.raises(AccessError, match="last account of a surgeon"):
        change_account(record, lead.person, "asha", surgeon.name, (Role.THEATRE,), surgeon.registration)
    with pytest.raises(AccessError, match="last clinic lead"):
        close_account(record, lead.person, "lila")
    _surgeon(record, lead, "ravi", "Dr Ravi Example")
    assert close_account(record, lead.person, "asha").closed


def test_a_closed_account_cannot_log_in(record: Record, lead: Account, surgeon: Account) -> None:
    _surgeon(record, lead, "ravi", "Dr Ravi Example")
    token = start_session(record, "asha", WORDS["asha"])
    close_account(record, lead.person, "asha")
    with pytest.raises(AccessError, match="do not belong together"):
        identify(record, "asha", WORDS["asha"])
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)


def test_a_new_password_ends_every_session(record: Record, surgeon: Account) -> None:
    """OWASP ASVS 4.0, 3.3.3: after a change of password, other sessions end."""
    token = start_session(record, "asha", WORDS["asha"])
    set_password(record, surgeon.person, "asha", NEW_WORDS)
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)
    assert identify(record, "asha", NEW_WORDS).own


def test_nobody_sets_the_password_of_another(record: Record, lead: Account, surgeon: Account) -> None:
    other = Person("account-other", "O. Example", ("counsellor",))
    with pytest.raises(AccessError, match="not clinic lead"):
        set_password(record, other, "asha", NEW_WORDS)
    assert not surgeon.own, "a lead gave it: it cannot sign"


def test_a_password_swapped_past_the_program_is_refused(record: Record, surgeon: Account) -> None:
    with record.store.writing() as connection:
        connection.execute(PASSWORDS.update().values(hash=cheap_hasher().hash(NEW_WORDS)))
    with pytest.raises(AccessError, match="not the one that was set"):
        identify(record, "asha", NEW_WORDS)


def test_the_ledger_holds_no_password(record: Record, surgeon: Account) -> None:
    with pytest.raises(AccessError):
        identify(record, "asha", "a word typed by mistake")
    with record.store.reading() as connection:
        text = " ".join(row.content for row in connection.execute(LEDGER.select()))
        hashes = [row.hash for row in connection.execute(PASSWORDS.select())]
    for secret in (*WORDS.values(), "typed by mistake", "$argon2", *hashes):
        assert secret not in text
