"""Logging in: refused with growing waits, kept in the ledger each time, ended when nobody is there."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import TYPE_CHECKING, Any

from consent.errors import AccessError, Problem, UsageError
from consent.record.accounts import Account, kept_hash, named, password_fits, read_accounts, waste_time
from consent.record.ledger import CLOCK_SLACK, Entry, Person, append, entry_of, read_head
from consent.record.place import Record
from consent.record.schema import LEDGER, SESSIONS
from consent.wording import remark

if TYPE_CHECKING:
    from sqlalchemy import Connection

FREE_TRIES, FREE_ANYWHERE = 5, 40
"""Wrong passwords in a row before the first wait: from one place, and from all places together."""
FIRST_WAIT, LONGEST_WAIT = dt.timedelta(minutes=1), dt.timedelta(hours=1)
"""The wait doubles with each further one."""
IDLE, LONGEST = dt.timedelta(minutes=15), dt.timedelta(hours=12)
"""A session ends after so long without a step, and at the latest after a working day."""
_LOOKED_BACK = 100
"""Tries that are looked at to work out a wait."""
_SEEN_EVERY = dt.timedelta(minutes=1)
_TOO_SOON, _LOGGED_OUT = "-too-soon", "logged-out"
_LOGIN, _AGAIN = "login", ("signature", "password-change")
_NOBODY = Person("nobody", "somebody unknown")


def identify(
    record: Record, login: str, password: str, meaning: str = "login", clock_was_set: bool = False, place: str = ""
) -> Account:
    """The account whose login and password these are; each try is kept in the ledger, with what it was for.

    Tries are counted apart for each ``meaning`` and each ``place``, such as the address of a device: nobody elsewhere
    keeps somebody from logging in or signing here, but for very many tries. Of tries during a wait the first is kept.

    ``clock_was_set``: for whoever is about to say that the clock was put right. Their tries are dated as the last entry
    and name what the clock says beside it, so that no try puts the ledger's clock back. Raises ``AccessError`` without
    saying which of the two was wrong, or for how long to wait.
    """
    of = _Tries(meaning, place)
    looked = _look(record, login, password, of)
    with record.store.writing() as connection:
        account = _open_account(connection, record, login)
        refusal = _try(_Desk(connection, record, of, clock_was_set), login, account, password, looked)
    if refusal or account is None:
        raise refusal or _wrong(login)
    return account


def _open_account(connection: Connection, record: Record, login: str) -> Account | None:
    try:
        return named(read_accounts(connection, record.key), login)
    except UsageError:
        return None


@dataclass(frozen=True)
class _Tries:
    """Which tries are counted together: what they were for, and where they were made."""

    meaning: str
    place: str = ""

    @property
    def together(self) -> tuple[str, ...]:
        """What is counted as one: logging in; and whatever asks somebody who is logged in for the password again."""
        return (_LOGIN,) if self.meaning == _LOGIN else _AGAIN


@dataclass(frozen=True)
class _Looked:
    """Whether a password fits the hash that was kept; no hash for a name of no account."""

    kept: str | None
    fits: bool


def _look(record: Record, login: str, password: str, of: _Tries) -> _Looked | None:
    """What is found before the try is kept, so that nobody who writes waits for it; nothing during a wait.

    Raises ``AccessError`` where it is not the first try during that wait.
    """
    with record.store.reading() as connection:
        account, now = _open_account(connection, record, login), record.clock()
        waiting = _waiting(connection, _subject(record, account, login), of, now)
        if waiting is not None and now < waiting.until:
            if waiting.told:
                raise _wait(login, waiting.until - now)
            return None
        kept = kept_hash(connection, account) if account else None
    if kept is None:
        waste_time(password)
        return _Looked(None, False)
    return _Looked(kept, password_fits(kept, password))


@dataclass(frozen=True)
class _Desk:
    """Where somebody tries to log in."""

    connection: Connection
    record: Record
    tries: _Tries
    clock_was_set: bool = False

    def keep(self, person: Person, subject: str, kind: str, why: str | None = None) -> None:
        """Enter what came of a try."""
        now, body = self.record.clock(), {"why": why} if why else {}
        if self.tries.place:
            body["from"] = self.tries.place
        last = read_head(self.connection, self.record.key).at if self.clock_was_set else None
        if last is not None and now < last:
            now, body = last, {**body, "clock": _written(now)}
        role = person.roles[0] if person.roles else ""
        append(self.connection, self.record.key, person, role, kind, subject, body, now)


def _try(desk: _Desk, login: str, account: Account | None, password: str, looked: _Looked | None) -> AccessError | None:
    """The refusal of one try, or None; kept either way. A name of no account is refused, and waits, just as others."""
    person, subject = account.person if account else _NOBODY, _subject(desk.record, account, login)
    now, meaning = desk.record.clock(), desk.tries.meaning
    waiting = _waiting(desk.connection, subject, desk.tries, now)
    if waiting is not None and now < waiting.until:
        if not waiting.told:
            desk.keep(person, subject, f"{meaning}{_TOO_SOON}", "waiting")
        return _wait(login, waiting.until - now)
    if account is None:
        if looked is None:
            waste_time(password)
        desk.keep(person, subject, f"{meaning}-refused", "no such account")
        return _wrong(login)
    kept = kept_hash(desk.connection, account)
    fits = looked.fits if looked and looked.kept == kept else password_fits(kept, password)
    if not fits:
        desk.keep(person, subject, f"{meaning}-refused", "wrong password")
        return _wrong(login)
    desk.keep(person, subject, meaning)
    return None


def _subject(record: Record, account: Account | None, login: str) -> str:
    """What the tries of ``login`` are entered under."""
    return f"login-{account.id}" if account else _unknown(record, login)


def _unknown(record: Record, login: str) -> str:
    """Subject of the tries of a name that is no account's: never the name, which may be a password typed too early."""
    return f"login-unknown-{record.key.stamp('login', ascii(login))[:8]}"


@dataclass(frozen=True)
class _Waiting:
    """No password is looked at until then. ``told``: a try during this wait is kept already."""

    until: dt.datetime
    told: bool


def _waiting(connection: Connection, subject: str, of: _Tries, now: dt.datetime) -> _Waiting | None:
    """The wait after too many wrong passwords of ``subject`` in a row; none where there is no wait.

    Tries that were not looked at count for nothing, however many; nor does a wait from before the clock was put back.
    """
    wrong_or_right = [kind for meaning in of.together for kind in (meaning, f"{meaning}-refused")]
    tries = _last(connection, subject, wrong_or_right, _LOOKED_BACK)
    here = [entry for entry in tries if _place(entry) == of.place]
    ends = (_end_of_wait(here, FREE_TRIES, now), _end_of_wait(tries, FREE_ANYWHERE, now))
    until = max((end for end in ends if end is not None), default=None)
    if until is None:
        return None
    too_soon = _last(connection, subject, [f"{meaning}{_TOO_SOON}" for meaning in of.together], _LOOKED_BACK)
    told = any(entry.sequence > tries[0].sequence and _place(entry) == of.place for entry in too_soon)
    return _Waiting(until, told)


def _end_of_wait(tries: Sequence[Entry], free: int, now: dt.datetime) -> dt.datetime | None:
    """When the wait after ``tries``, the last one first, ends; none where no more than ``free`` were wrong in a row."""
    wrong = list(takewhile(lambda entry: "why" in entry.body, tries))
    over = len(wrong) - free
    if over < 0 or (last := _tried_at(wrong[0])) > now + CLOCK_SLACK:
        return None
    wait: dt.timedelta = min(FIRST_WAIT * 2**over, LONGEST_WAIT)
    return last + wait


def _last(connection: Connection, subject: str, kinds: Sequence[str], most: int) -> list[Entry]:
    rows = LEDGER.select().where((LEDGER.c.subject == subject) & LEDGER.c.kind.in_(kinds))
    found = connection.execute(rows.order_by(LEDGER.c.sequence.desc()).limit(most))
    return [entry_of(row.content) for row in found]


def _place(entry: Entry) -> str:
    return str(entry.body.get("from", ""))


def _tried_at(entry: Entry) -> dt.datetime:
    """When a try was made, by the clock as it stood then."""
    return dt.datetime.fromisoformat(entry.body["clock"]) if "clock" in entry.body else entry.at


def start_session(record: Record, login: str, password: str, place: str = "") -> str:
    """The token of a new session, for the browser to hold; only its digest is kept. Raises ``AccessError``.

    ``place``: the address of the browser's device.
    """
    account = identify(record, login, password, place=place)
    token = secrets.token_urlsafe(32)
    now = _written(record.clock())
    with record.store.writing() as connection:
        if read_accounts(connection, record.key).get(account.id) != account:
            raise _ended()
        connection.execute(SESSIONS.insert().values(**_row(record, _digest(token), account.id, now, now)))
    return token


def session_account(record: Record, token: str, is_step: bool = True) -> Account:
    """The account of the session ``token``, which is kept alive by this where somebody did something (``is_step``).

    Raises ``AccessError`` where it has ended.
    """
    name = _digest(token)
    now = record.clock()
    with record.store.reading() as connection:
        row = connection.execute(SESSIONS.select().where(SESSIONS.c.token == name)).one_or_none()
        accounts = read_accounts(connection, record.key) if row is not None else {}
    if row is None or not _stamped(record, row):
        raise _ended()
    made, seen = dt.datetime.fromisoformat(row.made_at), dt.datetime.fromisoformat(row.seen_at)
    account = accounts.get(row.account)
    over = now - seen > IDLE or now - made > LONGEST or now < seen - CLOCK_SLACK
    if over or account is None or account.closed:
        with record.store.writing() as connection:
            connection.execute(SESSIONS.delete().where(SESSIONS.c.token == name))
        raise _ended()
    if is_step and now - seen > _SEEN_EVERY:
        with record.store.writing() as connection:
            fresh = _row(record, name, row.account, row.made_at, _written(now))
            connection.execute(SESSIONS.update().where(SESSIONS.c.token == name).values(**fresh))
    return account


def end_session(record: Record, token: str) -> None:
    """Log out. A session that has ended already stays so."""
    name = _digest(token)
    with record.store.writing() as connection:
        row = connection.execute(SESSIONS.select().where(SESSIONS.c.token == name)).one_or_none()
        if row is None:
            return
        connection.execute(SESSIONS.delete().where(SESSIONS.c.token == name))
        account = read_accounts(connection, record.key).get(row.account)
        if account is not None and _stamped(record, row):
            _Desk(connection, record, _Tries("login")).keep(account.person, f"login-{account.id}", _LOGGED_OUT)


def _row(record: Record, token: str, account: str, made: str, seen: str) -> dict[str, str]:
    stamp = record.key.stamp("session", token, account, made, seen)
    return {"token": token, "account": account, "made_at": made, "seen_at": seen, "stamp": stamp}


def _stamped(record: Record, row: Any) -> bool:
    return record.key.stamped(row.stamp, "session", row.token, row.account, row.made_at, row.seen_at)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _written(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).isoformat(timespec="microseconds")


def _wrong(login: str) -> AccessError:
    remedy = "type both again; a clinic lead can give a new password"
    said = remark("problem.wrong-login")
    return AccessError(Problem("this name and this password do not belong together", login, "", remedy, said))


def _wait(login: str, rest: dt.timedelta) -> AccessError:
    minutes = max(1, -(-int(rest.total_seconds()) // 60))
    return AccessError(
        Problem(
            "too many wrong passwords in a row",
            login,
            "somebody may be trying them out",
            f"wait {minutes} minute{'s' if minutes > 1 else ''}, then try again",
            remark("problem.wait", minutes=minutes),
        )
    )


def _ended() -> AccessError:
    remedy, said = "log in again; what was entered is kept", remark("problem.session-ended")
    return AccessError(Problem("this session has ended", "login", "", remedy, said))
