"""Cases in the record: opened, looked up, and moved by one entry at a time."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from consent.case import Case
from consent.case.part import shows_something
from consent.errors import AbsentError, ConflictError, MoveError, Problem
from consent.language import Quoted
from consent.record.accepted import with_figures
from consent.record.accounts import read_accounts
from consent.record.act import Act
from consent.record.checks import Step, check
from consent.record.identity import IDENTITY
from consent.record.keys import Purpose, new_key
from consent.record.ledger import Entry, Person, append, entries
from consent.record.moves import Role, State, move, refuse_from, refuse_parts, role_for
from consent.record.patch import difference, merge, overlap, parted, paths, said
from consent.record.place import Record
from consent.record.schema import KEYS, LEDGER
from consent.record.state import CaseState, Keys, after, case_of, data_of, fold, sealed_part
from consent.record.version import with_version
from consent.wording import remark

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Recorded:
    """The case after an act, the entry, and what others had changed since the person last saw it."""

    case: CaseState
    entry: Entry
    meanwhile: tuple[Entry, ...] = ()


Look = Callable[["Connection"], None]
"""Looks, in the transaction that writes, whether the person may still do it, and raises ``AccessError`` if not."""


def open_case(record: Record, person: Person, case: Case, still_may: Look | None = None) -> Recorded:
    """Open ``case`` in the record under a fresh name with keys of its own."""
    subject = f"case-{secrets.token_hex(8)}"
    role = role_for("opened", person)
    with _writing(record, still_may) as connection:
        keys = _make_keys(connection, record, subject)
        act = Act("opened", 0, data_of(case))
        return _append(connection, record, person, role, CaseState(subject), act, keys)


def act_on(
    record: Record,
    person: Person,
    subject: str,
    act: Act,
    before_commit: Callable[[Connection, Recorded], None] | None = None,
    still_may: Look | None = None,
) -> Recorded:
    """Record ``act`` on the case ``subject`` and return it once it is kept.

    What others changed since ``act.seen`` is put under the act where the two do not touch the same parts of the case;
    ``ConflictError`` names both where they do. Raises ``AccessError``, ``MoveError`` or ``CaseError``.
    ``before_commit`` may keep more with the entry, such as its papers; where it fails, nothing is kept.
    """
    role = role_for(act.kind, person)
    _refuse_without_reason(act)
    act = with_figures(act, record.clinic)
    with _writing(record, still_may) as connection:
        keys = read_keys(connection, record, subject)
        case = _read(connection, subject, keys)
        refuse_from(act.kind, case.state)
        _refuse_unseen(case, act)
        merged, meanwhile = on_top(case, _without_version(case, act))
        recorded = _append(connection, record, person, role, case, merged, keys)
        if before_commit is not None:
            before_commit(connection, recorded)
        _refuse_unerased(connection, record, recorded)
    return Recorded(recorded.case, recorded.entry, meanwhile)


@contextmanager
def _writing(record: Record, still_may: Look | None) -> Iterator[Connection]:
    with record.store.writing() as connection:
        if still_may is not None:
            still_may(connection)
        yield connection


def _refuse_unerased(connection: Connection, record: Record, recorded: Recorded) -> None:
    """An entry that says what was destroyed is kept only where just that is gone."""
    if recorded.entry.kind != "erased":
        return
    gone = set(Purpose) - read_keys(connection, record, recorded.case.subject).keys()
    if not gone or gone != set(recorded.entry.body.get("destroyed", ())):
        remedy = "consent record erase destroys the key and records it"
        raise MoveError(Problem("an entry alone erases nothing", "erased", remedy=remedy))


def read_case_state(record: Record, subject: str, until: int | None = None) -> CaseState:
    """The case ``subject`` as it is, or as it stood after the entry ``until``. ``AbsentError`` if it is unknown."""
    with record.store.reading() as connection:
        return _read(connection, subject, read_keys(connection, record, subject), until)


def read_on(record: Record, case: CaseState) -> CaseState:
    """``case`` with what was entered since; read again from its first entry where a key of it was destroyed."""
    with record.store.reading() as connection:
        keys = read_keys(connection, record, case.subject)
        for entry in tuple(entries(connection, case.subject, after=case.sequence)):
            if entry.kind == "erased" or case.erased is not None:
                return _read(connection, case.subject, keys)
            case = after(case, entry, keys)
    return case


def all_cases(record: Record) -> Iterator[CaseState]:
    """Every case in the record, in the order in which they were opened."""
    with record.store.reading() as connection:
        opened = LEDGER.select().where(LEDGER.c.kind == "opened").order_by(LEDGER.c.sequence)
        subjects = [row.subject for row in connection.execute(opened)]
        for subject in subjects:
            yield _read(connection, subject, read_keys(connection, record, subject))


def changed_since(case: CaseState, seen: int) -> tuple[Entry, ...]:
    """Entries after ``seen`` that changed something."""
    return tuple(told.entry for told in case.history if told.entry.sequence > seen and not move(told.entry.kind).quiet)


def read_keys(connection: Connection, record: Record, subject: str) -> Keys:
    """The keys of ``subject`` that have not been destroyed."""
    rows = connection.execute(KEYS.select().where(KEYS.c.subject == subject))
    known = ((Purpose(row.purpose), row.wrapped) for row in rows if row.purpose in set(Purpose))
    return {purpose: record.key.unwrap(wrapped, subject, purpose) for purpose, wrapped in known}


def _make_keys(connection: Connection, record: Record, subject: str) -> Keys:
    keys = {purpose: new_key() for purpose in Purpose}
    for purpose, key in keys.items():
        wrapped = record.key.wrap(key, subject, purpose)
        connection.execute(KEYS.insert().values(subject=subject, purpose=purpose.value, wrapped=wrapped))
    return keys


def _read(connection: Connection, subject: str, keys: Keys, until: int | None = None) -> CaseState:
    every = entries(connection, subject) if subject.startswith("case-") else ()
    found = [entry for entry in every if until is None or entry.sequence <= until]
    if not found:
        remedy = "consent record list names every case"
        raise AbsentError(
            Problem("there is no such case in the record", subject, "", remedy, remark("problem.no-case"))
        )
    return fold(subject, found, keys)


def _refuse_without_reason(act: Act) -> None:
    if move(act.kind).reason and not shows_something(act.reason or ""):
        words = remark("problem.no-reason")
        raise MoveError(Problem("a reason is needed", act.kind, "", "say in a sentence why", words))
    for text in (act.reason, *act.details.values()):
        if isinstance(text, str) and text.strip() and not shows_something(text):
            words = remark("problem.shows-nothing")
            raise MoveError(Problem("a text shows nothing to who reads it", act.kind, "", "type it again", words))


def _refuse_unseen(case: CaseState, act: Act) -> None:
    """An act that rests on an entry yet to come would take back, unseen, what others entered."""
    if act.data is not None and act.seen > case.sequence:
        remedy = "look at the case as it is now, then enter yours again"
        raise MoveError(
            Problem(f"entry {act.seen} is not of this case: its last is {case.sequence}", "seen", "", remedy)
        )


def on_top(case: CaseState, act: Act) -> tuple[Act, tuple[Entry, ...]]:
    """``act`` with what others changed meanwhile put under it, and those entries. Raises ``ConflictError``."""
    meanwhile = changed_since(case, act.seen)
    if not meanwhile or move(act.kind).quiet:
        return act, ()
    before = _as_seen(case, act.seen)
    ours = difference(before, act.data) if act.data is not None else {}
    theirs = [path for entry in meanwhile for path in entry.body.get("touched", ())]
    moved = any(entry.body["state"] != _state_as_seen(case, act.seen) for entry in meanwhile)
    clash = overlap(tuple(paths(ours)), theirs)
    whole = act.to is not None or move(act.kind).to is not None or move(act.kind).seals is not None
    if whole or moved or clash:
        raise _conflict(act, meanwhile, clash)
    data = merge(case.data, ours) if act.data is not None else None
    return replace(act, seen=case.sequence, data=data), meanwhile


def _without_version(case: CaseState, act: Act) -> Act:
    """``act`` with the version of the case as it is: only what makes papers, or makes them void, raises it."""
    if act.data is None or move(act.kind).seals is not None:
        return act
    seen = _as_seen(case, act.seen)
    return replace(act, data={**act.data, "version": seen.get("version", case.version)})


def _as_seen(case: CaseState, seen: int) -> Mapping[str, Any]:
    data: Mapping[str, Any] = {}
    for told in case.history:
        if told.entry.sequence <= seen:
            data = merge(data, told.patch)
    return data


def _state_as_seen(case: CaseState, seen: int) -> str:
    states = [told.entry.body["state"] for told in case.history if told.entry.sequence <= seen]
    return states[-1] if states else State.NONE


def _conflict(act: Act, meanwhile: tuple[Entry, ...], clash: tuple[str, ...]) -> ConflictError:
    return ConflictError(_theirs(act, entry, clash) for entry in meanwhile)


def _theirs(act: Act, entry: Entry, clash: tuple[str, ...]) -> Problem:
    touched = entry.body.get("touched", ())
    both = overlap(clash, touched)
    what = f"{entry.person} ({entry.role}) recorded {entry.kind} at {entry.at:%H:%M:%S} UTC"
    return Problem(
        f"{what}: {_some(touched)}" if touched else what,
        f"entry {entry.sequence}",
        f"you both changed {_some(both)}" if both else f"{act.kind} rests on the whole case",
        "look at the case as it is now, then enter yours again; what you entered has not been recorded",
        remark("problem.meanwhile", name=Quoted(entry.person), kind=remark(f"record.kind.{entry.kind}")),
    )


_MOST_NAMED = 6


def _some(names: Sequence[str]) -> str:
    """The first of ``names``, and how many there are more."""
    more = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")


def _append(
    connection: Connection,
    record: Record,
    person: Person,
    role: Role,
    case: CaseState,
    act: Act,
    keys: Keys,
) -> Recorded:
    if act.data is not None:
        refuse_parts(act.kind, tuple(said(difference(case.data, act.data), case.data)), case.state)
    act = with_version(case, act, record.clinic)
    patch = difference(case.data, act.data) if act.data is not None else {}
    changed = None if act.data is None else case_of(act.data)
    check(Step(case, act, changed, person, _local_now(record), partial(_staff, connection, record)))
    body = _body(case, act, patch, keys)
    entry = append(connection, record.key, person, role, act.kind, case.subject, body, record.clock())
    return Recorded(after(case, entry, keys), entry)


def _local_now(record: Record) -> dt.datetime:
    return record.clock().astimezone(ZoneInfo(record.clinic.time_zone))


def _staff(connection: Connection, record: Record) -> tuple[str, ...]:
    """The names of those with an open account."""
    accounts = read_accounts(connection, record.key).values()
    return tuple(account.name for account in accounts if not account.closed)


def _body(case: CaseState, act: Act, patch: Mapping[str, Any], keys: Keys) -> dict[str, Any]:
    state = act.to or move(act.kind).to or case.state
    content, identity = parted(patch, IDENTITY)
    details = {**act.details, **({"reason": act.reason} if act.reason and not act.open_.get("ground") else {})}
    body: dict[str, Any] = {**act.open_, "state": state.value, "touched": list(paths(patch))}
    if content:
        body["content"] = sealed_part(keys, case.subject, Purpose.CONTENT, {"patch": content})
    if (identity or details) and Purpose.IDENTITY not in keys:
        raise MoveError(
            Problem(
                "the patient's identity was erased",
                case.subject,
                "what is written now could name the patient again",
                "nothing more is entered in this case",
                remark("problem.erased"),
            )
        )
    if identity or details:
        kept = {"patch": identity, "details": details}
        body["identity"] = sealed_part(keys, case.subject, Purpose.IDENTITY, kept)
    return body
