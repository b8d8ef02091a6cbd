"""Who may enter anything: accounts are a fold over their entries; passwords lie beside, held to them by a digest."""

from __future__ import annotations

import re
import secrets
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from threading import BoundedSemaphore
from typing import TYPE_CHECKING, Any

from consent.case.part import shows_something
from consent.errors import AccessError, Problem, UsageError
from consent.language import Quoted
from consent.record.canonical import digest
from consent.record.guessable import guessable
from consent.record.keys import MasterKey
from consent.record.ledger import ACCOUNTS_SUBJECT, Entry, Person, account_contents, append, entry_of
from consent.record.moves import Role
from consent.record.place import Record
from consent.record.schema import PASSWORDS, SESSIONS
from consent.wording import remark

if TYPE_CHECKING:
    from argon2 import PasswordHasher
    from sqlalchemy import Connection

ACCOUNTS = ACCOUNTS_SUBJECT
SHORTEST, LONGEST = 12, 128
_AT_ONCE = BoundedSemaphore(2)
"""Passwords looked at at once: each takes 64 MiB (Argon2), and a crowd of tries would take all the memory there is."""
"""Characters of a password. Length is asked for and no mixture of signs: NIST SP 800-63B, 5.1.1.2; OWASP ASVS 2.1."""
_LOGIN = re.compile(r"[a-z][a-z0-9.-]{1,39}")
THIS_MACHINE = Person("machine", "somebody with the key of this machine")
"""Who makes the first account, before there is anybody to log in."""


@dataclass(frozen=True)
class Account:
    """Somebody who may log in. ``password``: digest of the kept hash; ``own``: they chose it themselves."""

    id: str
    login: str
    name: str
    roles: tuple[Role, ...]
    registration: str | None = None
    password: str = ""
    own: bool = False
    closed: bool = False

    @property
    def person(self) -> Person:
        """As they stand in an entry."""
        return Person(self.id, self.name, tuple(role.value for role in self.roles), self.registration)

    @property
    def signs(self) -> bool:
        """Whether they can sign off a case."""
        return Role.SURGEON in self.roles and self.registration is not None and not self.closed


def fold_accounts(found: Iterable[Entry]) -> dict[str, Account]:
    """The accounts after ``found``, by id, closed ones too."""
    accounts: dict[str, Account] = {}
    for entry in found:
        body = entry.body
        name = body["account"]
        if entry.kind == "account-made":
            accounts[name] = Account(name, body["login"], body["name"], _roles(body), body.get("registration"))
        elif entry.kind == "account-changed":
            accounts[name] = replace(
                accounts[name], name=body["name"], roles=_roles(body), registration=body.get("registration")
            )
        elif entry.kind == "password-set":
            accounts[name] = replace(accounts[name], password=body["digest"], own=body["own"])
        elif entry.kind == "account-closed":
            accounts[name] = replace(accounts[name], closed=True)
    return accounts


def read_accounts(connection: Connection, key: MasterKey) -> dict[str, Account]:
    """Every account, by id. Raises ``RecordError`` where their entries are not those that were stamped with the key."""
    return dict(_folded(account_contents(connection, key)))


@lru_cache(maxsize=4)
def _folded(contents: tuple[str, ...]) -> dict[str, Account]:
    """Each request asks who somebody is: what was proven to be the same entries is read once."""
    return fold_accounts(entry_of(content) for content in contents)


def make_account(
    record: Record,
    by: Person,
    login: str,
    name: str,
    roles: tuple[Role, ...],
    password: str,
    registration: str | None = None,
) -> Account:
    """A new account; only a clinic lead makes one, but the first, which is a lead's, is made by ``THIS_MACHINE``.

    Raises ``AccessError`` or ``UsageError``.
    """
    _check(login, name, roles, registration)
    check_password(password, login, name)
    hashed = hasher().hash(_normal(password))
    with record.store.writing() as connection:
        accounts = read_accounts(connection, record.key)
        _refuse_maker(accounts, by, roles)
        if any(account.login == login for account in accounts.values()):
            said = remark("problem.login-taken")
            raise UsageError(Problem("there is an account with this name already", login, "", "choose another", said))
        made = f"account-{secrets.token_hex(4)}"
        body = {"account": made, **_described(login, name, roles, registration)}
        append(connection, record.key, by, Role.LEAD, "account-made", ACCOUNTS, body, record.clock())
        _keep(connection, record, by, made, hashed, own=by is THIS_MACHINE)
        return read_accounts(connection, record.key)[made]


def change_account(
    record: Record,
    by: Person,
    login: str,
    name: str | None = None,
    roles: tuple[Role, ...] = (),
    registration: str | None = None,
) -> Account:
    """The account ``login`` with another name, other roles or another registration. What is not given stays as it is
    when this is entered; an empty registration is taken away.

    Only a clinic lead may, and nobody their own: who gives roles does not give them to themselves. Raises
    ``AccessError`` or ``UsageError``.
    """
    with record.store.writing() as connection:
        accounts = read_accounts(connection, record.key)
        refuse_not_lead(accounts, by)
        account = named(accounts, login)
        _refuse_own(account, by)
        changed = replace(
            account,
            name=account.name if name is None else name,
            roles=roles or account.roles,
            registration=account.registration if registration is None else registration or None,
        )
        _check(login, changed.name, changed.roles, changed.registration)
        _refuse_nobody_left({**accounts, account.id: changed}, accounts)
        body = {"account": account.id, **_described(login, changed.name, changed.roles, changed.registration)}
        append(connection, record.key, by, Role.LEAD, "account-changed", ACCOUNTS, body, record.clock())
        end_sessions(connection, account.id)
        return changed


def close_account(record: Record, by: Person, login: str) -> Account:
    """The account ``login``, closed; what it entered stays. The last surgeon and the last lead cannot be closed."""
    with record.store.writing() as connection:
        accounts = read_accounts(connection, record.key)
        refuse_not_lead(accounts, by)
        account = named(accounts, login)
        closed = replace(account, closed=True)
        _refuse_nobody_left({**accounts, account.id: closed}, accounts)
        body = {"account": account.id}
        append(connection, record.key, by, Role.LEAD, "account-closed", ACCOUNTS, body, record.clock())
        end_sessions(connection, account.id)
        return closed


def set_password(record: Record, by: Person, login: str, password: str) -> None:
    """Keep a new password of the account ``login``: its owner's own choice, or a first one given by a clinic lead."""
    hashed = hasher().hash(_normal(password))  # takes a while, on purpose, so nobody waits for it in the queue
    with record.store.writing() as connection:
        accounts = read_accounts(connection, record.key)
        account = named(accounts, login)
        own = by.account == account.id
        if not own:
            refuse_not_lead(accounts, by)
        check_password(password, account.login, account.name)
        _keep(connection, record, by, account.id, hashed, own)
        end_sessions(connection, account.id)


def change_own_password(record: Record, account: Account, old: str, new: str) -> None:
    """Keep ``new`` as the password of ``account``, for somebody who knows the ``old`` one.

    A wrong one is a try like any other: kept, refused in the same words, and after too many there is a wait. Raises
    ``AccessError``, or ``UsageError`` where ``new`` is too plain.
    """
    from consent.record.login import identify

    check_password(new, account.login, account.name)
    identify(record, account.login, old, "password-change")
    set_password(record, account.person, account.login, new)


def named(accounts: Mapping[str, Account], login: str) -> Account:
    """The open account ``login``. Raises ``UsageError`` where there is none."""
    for account in accounts.values():
        if account.login == login and not account.closed:
            return account
    known = ", ".join(sorted(account.login for account in accounts.values() if not account.closed))
    remedy, said = f"there are: {known or 'none'}", remark("problem.no-account")
    raise UsageError(Problem("there is no open account of this name", login, "", remedy, said))


def kept_hash(connection: Connection, account: Account) -> str:
    """The hash of the account's password. ``AccessError`` where it is not the one in the ledger."""
    row = connection.execute(PASSWORDS.select().where(PASSWORDS.c.account == account.id)).one_or_none()
    if row is None or digest(row.hash.encode()) != account.password:
        raise AccessError(
            Problem(
                "the kept password is not the one that was set",
                account.login,
                "somebody altered the record past this program",
                "run consent record check before anything else",
                remark("problem.password-altered"),
            )
        )
    return str(row.hash)


def password_fits(kept: str, password: str) -> bool:
    """Whether ``kept`` was made of ``password``. Takes a tenth of a second, on purpose."""
    from argon2.exceptions import VerificationError

    try:
        with _AT_ONCE:
            return hasher().verify(kept, _normal(password))
    except VerificationError:
        return False


def waste_time(password: str) -> None:
    """Do the work of checking a password, so that nobody can tell by the clock that there is no such account."""
    from argon2.exceptions import VerificationError

    try:
        with _AT_ONCE:
            hasher().verify(_decoy(), _normal(password))
    except VerificationError:
        return


def check_password(password: str, login: str, name: str) -> None:
    """Raise ``UsageError`` where ``password`` is too short, too long, or among the first that anybody would guess."""
    password = unicodedata.normalize("NFKC", password)
    remedy = "three or four words that only you would put together"
    if len(password) < SHORTEST:
        what = f"the password has {len(password)} signs; it needs {SHORTEST} or more"
        words = remark("problem.password-short", least=SHORTEST)
    elif len(password) > LONGEST:
        what = f"the password has more than {LONGEST} signs"
        words = remark("problem.password-long", most=LONGEST)
    elif why := guessable(password, (login, *name.split())):
        what, words = str(why), remark(f"problem.password-{why.name.lower()}")
    else:
        return
    raise UsageError(Problem(what, "password", "", remedy, words))


def check_passphrase(passphrase: str) -> None:
    """Raise ``UsageError`` where the passphrase of a backup is too short or too plain to keep anybody out."""
    check_password(passphrase, "", "")


def end_sessions(connection: Connection, account: str) -> None:
    """Log ``account`` out everywhere."""
    connection.execute(SESSIONS.delete().where(SESSIONS.c.account == account))


@cache
def hasher() -> PasswordHasher:
    """Argon2id with the parameters of RFC 9106, section 4, second recommendation, which are the library's own."""
    from argon2 import PasswordHasher

    return PasswordHasher()


@cache
def _decoy() -> str:
    return hasher().hash(secrets.token_hex(16))


def _normal(password: str) -> bytes:
    """One form for what looks the same, whatever keyboard it came from (NIST SP 800-63B, 5.1.1.2: NFKC)."""
    return unicodedata.normalize("NFKC", password).encode(errors="surrogatepass")


def _keep(connection: Connection, record: Record, by: Person, account: str, hashed: str, own: bool) -> None:
    body = {"account": account, "digest": digest(hashed.encode()), "own": own}
    role = next((Role(role) for role in by.roles), Role.LEAD)
    entry = append(connection, record.key, by, role, "password-set", ACCOUNTS, body, record.clock())
    connection.execute(PASSWORDS.delete().where(PASSWORDS.c.account == account))
    connection.execute(PASSWORDS.insert().values(account=account, sequence=entry.sequence, hash=hashed))


def _described(login: str, name: str, roles: tuple[Role, ...], registration: str | None) -> dict[str, Any]:
    kept: dict[str, Any] = {"login": login, "name": name, "roles": [role.value for role in roles]}
    return {**kept, "registration": registration} if registration else kept


def _roles(body: Mapping[str, Any]) -> tuple[Role, ...]:
    return tuple(Role(role) for role in body["roles"])


def _check(login: str, name: str, roles: tuple[Role, ...], registration: str | None) -> None:
    problem = None
    if not _LOGIN.fullmatch(login):
        remedy = "2 to 40 small letters, digits, dots or hyphens"
        problem = Problem("this cannot be a login name", login, "", remedy, remark("problem.login-signs"))
    elif not shows_something(name):
        remedy = "write it as it is to stand on paper"
        problem = Problem("the name is empty", login, "", remedy, remark("problem.no-name"))
    elif not roles:
        remedy = f"choose from: {', '.join(Role)}"
        problem = Problem("no role was given", login, "", remedy, remark("problem.no-role"))
    elif Role.AUDITOR in roles and len(roles) > 1:
        remedy = "make a second account for other work"
        problem = Problem("an auditor only reads", login, "", remedy, remark("problem.auditor"))
    elif Role.SURGEON in roles and not shows_something(registration or ""):
        remedy = "give the registration of the surgeon as a clinician"
        said = remark("problem.no-registration", name=Quoted(name))
        problem = Problem("a surgeon's account needs a registration", login, "", remedy, said)
    if problem:
        raise UsageError(problem)


def _refuse_maker(accounts: Mapping[str, Account], by: Person, roles: tuple[Role, ...]) -> None:
    if by is not THIS_MACHINE:
        refuse_not_lead(accounts, by)
    elif accounts:
        remedy = "log in as a clinic lead"
        raise AccessError(Problem("there are accounts already", "accounts", remedy=remedy))
    elif Role.LEAD not in roles:
        remedy = "make it a clinic lead's; a surgeon can be lead too"
        raise UsageError(Problem("the first account must be able to make the others", "accounts", remedy=remedy))


def refuse_not_lead(accounts: Mapping[str, Account], by: Person) -> None:
    """Raise ``AccessError`` unless ``by`` is a clinic lead.

    Held to the accounts as they are now: a role may have been taken away since ``by`` logged in.
    """
    account = accounts.get(by.account)
    if account is None or account.closed or Role.LEAD not in account.roles:
        said = remark("problem.not-lead", name=Quoted(by.name))
        raise AccessError(Problem(f"{by.name} is not clinic lead", "accounts", "", "ask the clinic lead", said))


def _refuse_own(account: Account, by: Person) -> None:
    if account.id == by.account:
        raise AccessError(
            Problem(
                "nobody changes their own account",
                account.login,
                "a clinic lead would become a surgeon without anybody else knowing",
                "ask another clinic lead; where there is none, make an account for a second one",
                remark("problem.own-account"),
            )
        )


def _refuse_nobody_left(after: Mapping[str, Account], before: Mapping[str, Account]) -> None:
    open_after = [account for account in after.values() if not account.closed]
    if not any(Role.LEAD in account.roles for account in open_after):
        said = remark("problem.last-lead")
        raise AccessError(Problem("this is the last clinic lead", "accounts", "", "make another lead first", said))
    signed = any(account.signs for account in before.values())
    if signed and not any(account.signs for account in open_after):
        raise AccessError(
            Problem(
                "this is the last account of a surgeon",
                "accounts",
                "nobody could sign off, answer a point or change the drops of a patient",
                "make another surgeon's account first",
                remark("problem.last-surgeon"),
            )
        )
