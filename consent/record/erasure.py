"""Erasing a patient's identity: the key is destroyed, the papers are taken out, the chain stays whole."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from consent.errors import ConflictError, ConsentError, MoveError, Problem
from consent.record.accounts import Account
from consent.record.act import Act
from consent.record.cases import Recorded, read_case_state
from consent.record.clearing import clear_away
from consent.record.entering import enter
from consent.record.erasure_list import Erased, add_to_list, take_from_list, whole
from consent.record.faults import store_faults
from consent.record.keys import Purpose
from consent.record.ledger import Entry, Person, append, entries, stored_hash
from consent.record.moves import Role, State
from consent.record.naming import names
from consent.record.place import Record
from consent.record.schema import KEYS, PAPERS
from consent.record.state import CaseState

if TYPE_CHECKING:
    from sqlalchemy import Connection

THE_RESTORE = Person("restore", "the restore of a backup")
_GROUND_AGAIN = "erased after the backup was made; done again when it was restored"
ENDED = "the time for which the clinic keeps records has ended"
"""Ground of an erasure of what was left once the identity had been erased."""
_LOOKED = ("looked-at", "exported", "reprinted", "erased")
"""Entries that say nothing new of the patient: the time for which a record is kept does not begin again with them."""


@dataclass(frozen=True)
class Gone:
    """What was recorded; ``cleared``: whether nothing of it is left in the files of the store either."""

    recorded: Recorded
    cleared: bool


def erase(
    record: Record,
    account: Account,
    subject: str,
    password: str,
    reason: str,
    everything: bool = False,
    before_retention: bool = False,
) -> Gone:
    """Destroy the key to the identity of the closed case ``subject`` and its papers; with ``everything``, to what was
    found and done as well. What stays: who of the staff entered what kind of thing and when, states, digests.

    Not before the clinic's retention has ended since the last entry, unless ``before_retention``, and then ``reason``
    names the legal ground; what was found and done is kept until then whatever is said. The reason is kept in the
    clear, for it has to outlive the keys: one that names the patient is refused, and once the identity was erased, when
    nobody can tell, ``ENDED`` stands in its place. Raises ``MoveError``, ``AccessError`` or ``ConflictError``; then
    nothing was erased.
    """
    case = read_case_state(record, subject)
    _refuse_state(case)
    _refuse_too_early(record, case, before_retention and not everything)
    purposes, ground = _purposes(case, everything), _ground(case, reason)
    open_ = {"destroyed": list(purposes), "ground": ground, "before_retention": before_retention}
    act = Act("erased", case.sequence, reason=ground, open_=open_)
    listed: list[Erased] = []

    def destroy(connection: Connection, recorded: Recorded) -> None:
        destroy_keys(connection, subject, purposes)
        # On the list before it is kept: what an older backup must not bring back is never missing from it.
        entry = recorded.entry
        listed.append(Erased(subject, entry.at, purposes, (entry.sequence - 1, entry.previous)))
        with store_faults(str(record.place.erasures_file)):
            add_to_list(record.place.erasures_file, listed[0])

    try:
        recorded = enter(record, account, subject, act, password, destroy)
    except BaseException:
        for one in listed:
            _unlist(record, one)
        raise
    return Gone(recorded, clear_away(record.store))


def _unlist(record: Record, one: Erased) -> None:
    """Take ``one`` off the list where the record says that it was not kept; in doubt it stays.

    Whatever interrupted the erasure may have done so after it was kept. Whoever else holds the lock is waited for.
    """
    with suppress(ConsentError), record.store.writing() as connection:
        if not any(entry.kind == "erased" and _is(entry, one) for entry in entries(connection, one.subject)):
            take_from_list(record.place.erasures_file, one)


def _is(entry: Entry, one: Erased) -> bool:
    return (entry.sequence - 1, entry.previous) == one.after


def erase_again(connection: Connection, record: Record, listed: Iterable[Erased]) -> tuple[Erased, ...]:
    """Destroy what ``listed`` names and the record, restored from an older backup, still has; return what that was.

    Each is an entry of its own, whatever the state of the case was at the backup. A line whose erasure was never kept
    does nothing where the chain shows so. Call within ``Store.writing``.
    """
    open_ = whole(one for one in listed if not _decided(connection, one))
    return tuple(one for one in open_ if _again(connection, record, one))


def _decided(connection: Connection, one: Erased) -> bool:
    """Whether the chain holds the entry before the erasure and went on: then it holds the erasure, or never had it."""
    if one.after is None:
        return False
    sequence, before = one.after
    return stored_hash(connection, sequence) == before and stored_hash(connection, sequence + 1) is not None


def _again(connection: Connection, record: Record, erased: Erased) -> bool:
    found = list(entries(connection, erased.subject))
    done = [purpose for entry in found if entry.kind == "erased" for purpose in entry.body["destroyed"]]
    if not found or set(erased.destroyed) <= set(done):
        return False
    body = {
        "state": found[-1].body["state"],
        "touched": [],
        "destroyed": list(erased.destroyed),
        "ground": _GROUND_AGAIN,
        "erased_at": erased.at.isoformat(),
    }
    append(connection, record.key, THE_RESTORE, Role.LEAD, "erased", erased.subject, body, record.clock())
    destroy_keys(connection, erased.subject, erased.destroyed)
    return True


def destroy_keys(connection: Connection, subject: str, purposes: Iterable[Purpose]) -> None:
    """Take out the keys of ``subject`` for ``purposes``, and its papers, which only the identity's key opens.

    Raises ``ConflictError`` where what is left is not what then has to be left.
    """
    gone = [purpose.value for purpose in purposes]
    connection.execute(KEYS.delete().where(KEYS.c.subject == subject, KEYS.c.purpose.in_(gone)))
    connection.execute(PAPERS.delete().where(PAPERS.c.subject == subject))
    left = {row.purpose for row in connection.execute(KEYS.select().where(KEYS.c.subject == subject))}
    if left != {purpose.value for purpose in Purpose} - set(gone):
        raise ConflictError(
            Problem(
                "somebody else erased more of this case meanwhile", subject, remedy="look at it: consent record show"
            )
        )


def _purposes(case: CaseState, everything: bool) -> tuple[Purpose, ...]:
    """All whose keys are gone afterwards. Raises ``MoveError`` where they are gone already."""
    wanted = tuple(Purpose) if everything else (Purpose.IDENTITY,)
    if case.erased is not None and set(wanted) <= set(case.erased.body["destroyed"]):
        when = f"on {case.erased.at:%Y-%m-%d} by {case.erased.person}"
        remedy = "--everything erases what was found and done as well" if not everything else ""
        raise MoveError(Problem("this was erased already", case.subject, when, remedy))
    return wanted


def _refuse_state(case: CaseState) -> None:
    if case.state is not State.CLOSED:
        raise MoveError(
            Problem(
                f'the case is "{case.state}"',
                "erased",
                "what is still needed for the patient's care is not erased",
                "close it first",
            )
        )


def _ground(case: CaseState, reason: str) -> str:
    """What is kept in the clear as the ground. Raises ``MoveError`` where ``reason`` names the patient.

    Once the identity was erased nobody can tell that any more: then ``reason`` is not kept. What is left is only erased
    when its time has ended, and that is the ground.
    """
    if case.erased is not None:
        return ENDED
    if names(case.data.get("patient", {}), reason):
        raise MoveError(
            Problem(
                "the reason names the patient, or somebody with the patient",
                "reason",
                "it stays in the clear for ever, so that it can be shown on what ground this was done",
                "write the legal ground alone, such as the section of the law and the date of the request",
            )
        )
    return reason


def _refuse_too_early(record: Record, case: CaseState, before_retention: bool) -> None:
    years = record.clinic.retention_years
    if years is None:
        raise MoveError(
            Problem(
                "the clinic has not set for how many years records are kept",
                "clinic: retention_years",
                "law and local protocol say for how long; this program does not know them",
                "ask who answers for it in the clinic, and set it",
            )
        )
    end = kept_until(case, years)
    if record.clock() < end and not before_retention:
        raise MoveError(
            Problem(
                f"the record is to be kept until {end:%Y-%m-%d}",
                case.subject,
                f"the clinic keeps records for {years} years after the last entry",
                "wait; or, where a law orders it, erase the identity alone: --before-retention, the law in the reason",
            )
        )


def kept_until(case: CaseState, years: int) -> dt.datetime:
    """When ``years`` have gone by since something was last entered about the patient, UTC."""
    last = [told.entry.at for told in case.history if told.entry.kind not in _LOOKED][-1]
    try:
        return last.replace(year=last.year + years)
    except ValueError:  # the 29th of February
        return last.replace(year=last.year + years, month=3, day=1)
