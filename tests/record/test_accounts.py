"""Who may enter anything, and the words that prove it."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from contextlib import AbstractContextManager
from hashlib import sha256
from unittest.mock import patch

import pytest
from argon2 import Type, extract_parameters
from sqlalchemy import Connection

from consent.errors import AccessError, UsageError
from consent.record.accounts import (
    ACCOUNTS,
    THIS_MACHINE,
    Account,
    change_account,
    change_own_password,
    check_password,
    close_account,
    hasher,
    kept_hash,
    make_account,
    password_fits,
    read_accounts,
    set_password,
)
from consent.record.entering import prove
from consent.record.ledger import Person, entries
from consent.record.login import end_session, identify, session_account, start_session
from consent.record.moves import Role
from consent.record.place import Record
from consent.record.schema import LEDGER, PASSWORDS
from consent.record.store import Store
from tests.record.acts import cheap_hasher
from tests.record.clock import TestClock
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
        ("e\u0301" * 11, "11 signs"),
        ("x" * 129, "more than 128"),
        ("\ufdfa" * 12, "more than 128"),
        ("ababababababab", "again and again"),
        ("dr asha invented it", "name of its owner"),
        ("ＡＳＨＡ of the clinic", "name of its owner"),
        ("123456789012", "rows of a keyboard"),
        ("qwertyuiopasdf", "rows of a keyboard"),
        ("1q2w3e4r5t6y", "rows of a keyboard"),
        ("password1234", "everybody takes"),
        ("P@ssw0rd12345", "everybody takes"),
        ("iloveyou12345", "everybody takes"),
        ("administrator", "everybody takes"),
        ("our clinic 2027", "everybody takes"),
    ],
)
def test_bad_passwords_are_refused(password: str, said: str) -> None:
    """NIST SP 800-63B, 5.1.1.2: length of what is kept (after NFKC), nothing that is easily guessed from the person,
    commonly used, repeated, sequential, or of the context."""
    with pytest.raises(UsageError, match=said):
        check_password(password, "asha", "Dr Asha Invented")


def test_no_mixture_of_signs_is_asked_for() -> None:
    """NIST SP 800-63B, 5.1.1.2: no composition rules; all printing characters and spaces, Unicode too."""
    for password in (
        "only small words here",
        "নদীর ধারে বটগাছ আছে",
        "314159265358979",
        ("kiln path lamp river " * 7)[:128],
    ):
        check_password(password, "asha", "Dr Asha Invented")


def test_what_looks_the_same_is_the_same(record: Record, lead: Account) -> None:
    """NIST SP 800-63B, 5.1.1.2: normalised by NFKC. Two ways to write é (Unicode, canonical equivalence)."""
    set_password(record, lead.person, "lila", "un café près du pont")
    with record.store.reading() as connection:
        account = read_accounts(connection, record.key)[lead.id]
        assert password_fits(kept_hash(connection, account), "un cafe\u0301 pre\u0300s du pont")


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


def test_the_last_lead_stays_lead_and_no_role_is_half_lost(record: Record, lead: Account, surgeon: Account) -> None:
    with pytest.raises(AccessError, match="their own account"):
        change_account(record, lead.person, "lila", lead.name, (Role.COUNSELLOR,))
    with pytest.raises(UsageError, match="needs a registration"):
        change_account(record, lead.person, "asha", registration="")
    with pytest.raises(UsageError, match="name is empty"):
        change_account(record, lead.person, "asha", " ")
    _surgeon(record, lead, "ravi", "Dr Ravi Example")
    make_account(record, lead.person, "noor", "N. Example", (Role.LEAD,), WORDS["noor"])
    noor = _person(record, "noor")
    assert change_account(record, noor, "lila", roles=(Role.COUNSELLOR,)).roles == (Role.COUNSELLOR,)
    assert change_account(record, noor, "asha", roles=(Role.THEATRE,), registration="").registration is None


def test_what_is_not_named_stays_as_it_is_when_it_is_entered(
    record: Record, lead: Account, surgeon: Account, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another lead takes the surgeon's role away just before: a change of the name does not give it back."""
    _surgeon(record, lead, "ravi", "Dr Ravi Example")
    writing = Store.writing

    def late(store: Store) -> AbstractContextManager[Connection]:
        monkeypatch.setattr(Store, "writing", writing)
        change_account(record, lead.person, "asha", roles=(Role.THEATRE,), registration="")
        return store.writing()

    monkeypatch.setattr(Store, "writing", late)
    changed = change_account(record, lead.person, "asha", "Dr Asha Renamed")
    assert (changed.name, changed.roles, changed.registration) == ("Dr Asha Renamed", (Role.THEATRE,), None)


def test_nobody_gives_a_role_to_themselves(record: Record, lead: Account, surgeon: Account) -> None:
    """Separation of duties: NIST SP 800-53, AC-5. Nor a name or a registration, by which papers say who signed."""
    make_account(record, lead.person, "noor", "N. Example", (Role.LEAD,), WORDS["noor"])
    both = (Role.LEAD, Role.SURGEON)
    for name, roles, registration in (
        (None, both, "INVENTED-9"),
        ("Dr Asha Invented", (), None),
        (None, (), "INVENTED-9"),
    ):
        with pytest.raises(AccessError, match="their own account") as refused:
            change_account(record, lead.person, "lila", name, roles, registration)
        assert "ask another clinic lead" in str(refused.value)
    assert change_account(record, _person(record, "noor"), "lila", None, both, "INVENTED-9").signs


def test_one_s_own_password_is_changed_by_who_knows_the_old_one(record: Record, surgeon: Account) -> None:
    """OWASP ASVS 4.0, 2.1.6: changing a password takes the current one. At a desk somebody left, others sit down."""
    token = start_session(record, "asha", WORDS["asha"])
    change_own_password(record, surgeon, WORDS["asha"], NEW_WORDS)
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)
    assert identify(record, "asha", NEW_WORDS).own
    with pytest.raises(UsageError, match="everybody takes"):
        change_own_password(record, surgeon, NEW_WORDS, "password1234")


def test_an_old_password_that_is_wrong_is_a_try_like_any_other(
    record: Record, surgeon: Account, clock: TestClock
) -> None:
    """OWASP ASVS 4.0, 2.2.1: or the change would be the place to guess. Counted together with tries to sign."""
    for _ in range(4):
        with pytest.raises(AccessError, match="do not belong together"):
            change_own_password(record, surgeon, "not her words at all", NEW_WORDS)
    with pytest.raises(AccessError, match="do not belong together"):
        identify(record, "asha", "not her words at all", "signature")
    with pytest.raises(AccessError, match="too many wrong"):
        change_own_password(record, surgeon, WORDS["asha"], NEW_WORDS)
    clock.advance(minutes=2)
    assert not identify(record, "asha", WORDS["asha"]).own, "nothing was changed"


def _person(record: Record, login: str) -> Person:
    with record.store.reading() as connection:
        return next(one for one in read_accounts(connection, record.key).values() if one.login == login).person


def test_a_lead_that_is_none_any_more_changes_nothing(record: Record, lead: Account) -> None:
    """OWASP ASVS 4.0, 4.1.1: held to the roles as they are, not as they were when somebody logged in."""
    make_account(record, lead.person, "noor", "N. Example", (Role.LEAD,), WORDS["noor"])
    noor = _person(record, "noor")
    close_account(record, lead.person, "noor")
    with pytest.raises(AccessError, match="not clinic lead"):
        make_account(record, noor, "new", "O. Example", (Role.LEAD,), NEW_WORDS)
    with pytest.raises(AccessError, match="not clinic lead"):
        close_account(record, noor, "lila")
    with pytest.raises(AccessError, match="not clinic lead"):
        set_password(record, noor, "lila", NEW_WORDS)
    with pytest.raises(AccessError, match="not clinic lead"):
        change_account(record, noor, "lila", "Another Name", (Role.LEAD,), None)
    with pytest.raises(AccessError, match="not clinic lead"):
        make_account(record, Person("made up", "Made Up", ("lead",)), "new", "O. Example", (Role.LEAD,), NEW_WORDS)


def test_a_change_of_roles_ends_every_session(record: Record, lead: Account, surgeon: Account) -> None:
    _surgeon(record, lead, "ravi", "Dr Ravi Example")
    token = start_session(record, "asha", WORDS["asha"])
    change_account(record, lead.person, "asha", surgeon.name, (Role.THEATRE,), None)
    with pytest.raises(AccessError, match="has ended"):
        session_account(record, token)


def test_accounts_are_what_their_entries_say(record: Record, lead: Account, surgeon: Account) -> None:
    """Nothing of an account stands anywhere but in the ledger; each step names who made it."""
    _surgeon(record, lead, "ravi", "Dr Ravi Example")
    change_account(record, lead.person, "ravi", "Dr Ravi Renamed", (Role.SURGEON, Role.LEAD), "INVENTED-0077")
    close_account(record, lead.person, "asha")
    with record.store.reading() as connection:
        found = {account.login: account for account in read_accounts(connection, record.key).values()}
        told = [(entry.kind, entry.person) for entry in entries(connection, ACCOUNTS)]
    ravi = found["ravi"]
    assert (ravi.name, ravi.roles, ravi.registration) == (
        "Dr Ravi Renamed",
        (Role.SURGEON, Role.LEAD),
        "INVENTED-0077",
    )
    assert ravi.signs
    assert found["asha"].closed and not found["asha"].signs
    assert told[:2] == [("account-made", THIS_MACHINE.name), ("password-set", THIS_MACHINE.name)]
    assert told[-2:] == [("account-changed", "Lila Invented"), ("account-closed", "Lila Invented")]


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


def test_the_ledger_holds_no_secret(record: Record, lead: Account, surgeon: Account) -> None:
    """OWASP ASVS 4.0, 7.1.1: no password, no token, nothing that could be tried against either, is written down."""
    token = start_session(record, "asha", WORDS["asha"])
    session_account(record, token)
    end_session(record, token)
    for password in ("a word typed by mistake", WORDS["asha"]):
        with contextlib.suppress(AccessError):
            prove(record, surgeon, password)
    set_password(record, surgeon.person, "asha", NEW_WORDS)
    with record.store.reading() as connection:
        text = " ".join(row.content for row in connection.execute(LEDGER.select()))
        hashes = [row.hash for row in connection.execute(PASSWORDS.select())]
    parts = [part for kept in hashes for part in kept.split("$")[-2:]]
    tokens = (token, sha256(token.encode()).hexdigest())
    for secret in (*WORDS.values(), NEW_WORDS, "typed by mistake", "$argon2", *hashes, *parts, *tokens):
        assert secret not in text
