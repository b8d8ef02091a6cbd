"""Whether each entry of a case could have been made: from its state, by that person, with what it says."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

from consent.errors import ConsentError, Problem
from consent.record.accounts import ACCOUNTS, Account, fold_accounts
from consent.record.erasure import THE_RESTORE
from consent.record.ledger import Entry, Person, entries
from consent.record.moves import State, move, moves, refuse_from, refuse_parts, role_for
from consent.record.patch import said
from consent.record.state import AFTERCARE, CONSENT, CaseState

if TYPE_CHECKING:
    from sqlalchemy import Connection

AccountAt = Callable[[str, int], Account | None]
"""The account of this id as it was before the entry with this sequence, if there was one."""
_ALWAYS_OPEN = frozenset({"state", "touched", "content", "identity", "sealed", "voids", "changes"})


def accounts_then(connection: Connection) -> AccountAt:
    """What tells each account as it was at any entry."""
    changes = tuple(entries(connection, ACCOUNTS))
    sequences = [entry.sequence for entry in changes]
    folded: dict[int, dict[str, Account]] = {}

    def then(account: str, sequence: int) -> Account | None:
        count = bisect_left(sequences, sequence)
        if count not in folded:
            folded[count] = fold_accounts(changes[:count])
        return folded[count].get(account)

    return then


def replayed(moments: Iterable[CaseState], then: AccountAt) -> Iterator[Problem]:
    """A fault for each entry between two ``moments`` of a case that today's moves.toml would not have taken.

    An account that is not of this record is held to the role it wrote down alone.
    """
    for before, after in pairwise(moments):
        entry = after.history[-1].entry
        again = entry.kind == "erased" and entry.account == THE_RESTORE.account
        found = () if again else tuple(_refused(before, after, entry, then)) or tuple(_dictated(before, entry))
        yield from (_fault(entry, what) for what in (*found, *_led_astray(before, after, entry)))


def _refused(before: CaseState, after: CaseState, entry: Entry, then: AccountAt) -> Iterator[str]:
    try:
        refuse_from(entry.kind, before.state)
        role_for(entry.kind, _person(entry, then(entry.account, entry.sequence)))
        patch = {key: value for key, value in after.history[-1].patch.items() if key != "version"}
        refuse_parts(entry.kind, tuple(said(patch, before.data)), before.state)
    except ConsentError as refusal:
        yield from (problem.what for problem in refusal.problems)


def _person(entry: Entry, account: Account | None) -> Person:
    """Who made ``entry``, in the role they did it in; in none where the account had another name, or was closed."""
    if account is None:
        return Person(entry.account, entry.person, (entry.role,), "not known")
    there = account.name == entry.person and entry.role in account.roles and not account.closed
    return Person(entry.account, entry.person, (entry.role,) if there else (), account.registration)


def _dictated(before: CaseState, entry: Entry) -> Iterator[str]:
    """What stands in the clear and does not follow from the kind of the entry and the papers that held."""
    wanted, body = move(entry.kind), entry.body
    for beyond in sorted(body.keys() - _ALWAYS_OPEN - set(wanted.open)):
        yield f"it says {beyond}"
    if (body.get("sealed") or {}).get("stage") != wanted.seals:
        yield "it seals papers" if wanted.seals is None else "it seals no papers, or those of another stage"
    held = before.sealed(AFTERCARE if before.state is State.DONE else CONSENT)
    ends = body.get("voids")
    may = set() if held is None or wanted.voids is None else {held.code}
    if ends not in (may if may and wanted.voids == "always" else {None, *may}):
        yield "it leaves papers that it ends" if ends is None else "it ends papers that it cannot end"


def _led_astray(before: CaseState, after: CaseState, entry: Entry) -> Iterator[str]:
    to = moves()[entry.kind].to if entry.kind in moves() else None
    if to is None and entry.body.get("voids") and before.state is not State.DONE:
        to = State.DRAFT
    if after.state is not (to or before.state):
        yield f'it led from "{before.state}" to "{after.state}"'


def _fault(entry: Entry, what: str) -> Problem:
    return Problem(
        f"it could not have been made: {what}",
        f"{entry.subject}: entry {entry.sequence}, {entry.kind}",
        "it was written past this program, or by a version with other rules",
        "look at the case at the entry before it: consent record show CASE --at; compare with a backup",
    )
