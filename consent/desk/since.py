"""What was entered since somebody last looked, and what became of signed papers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from consent.record.moves import State, move
from consent.record.state import AFTERCARE, CONSENT, CaseState, SealedSet, Told

ONE_SITTING = dt.timedelta(minutes=30)
"""Looks within it count as one, so that what was new stays in view when a page is loaded again."""
LOOKED = "looked-at"


@dataclass(frozen=True)
class Since:
    """``look``: the look before this sitting, None at the first; ``entries``: what others entered after it."""

    look: Told | None
    entries: tuple[Told, ...]
    in_sitting: bool

    @property
    def places(self) -> frozenset[int]:
        """Sequences of those entries."""
        return frozenset(told.entry.sequence for told in self.entries)


def since_look(case: CaseState, account: str, now: dt.datetime) -> Since:
    """What is new to ``account`` in ``case``; entries of its own and quiet ones are not."""
    looks = [told for told in case.history if told.entry.kind == LOOKED and told.entry.account == account]
    before = [told for told in looks if now - told.entry.at >= ONE_SITTING]
    look = before[-1] if before else None
    from_ = look.entry.sequence if look else 0
    new = tuple(
        told
        for told in case.history
        if told.entry.sequence > from_ and told.entry.account != account and not move(told.entry.kind).quiet
    )
    return Since(look, new if look else (), len(looks) > len(before))


def voided_last(case: CaseState) -> SealedSet | None:
    """The signed papers that last became void, of the stage the case is in; None where others hold or none did."""
    stage = AFTERCARE if case.state is State.DONE else CONSENT
    if case.sealed(stage) is not None:
        return None
    return next((one for one in reversed(case.sets) if one.stage == stage and one.void is not None), None)


def changed_after(case: CaseState, one: SealedSet) -> tuple[Told, ...]:
    """What changed the case since the papers ``one`` were signed."""
    return tuple(told for told in case.history if told.entry.sequence > one.sequence and _changes(told.patch))


def _changes(patch: Mapping[str, Any]) -> bool:
    return bool(patch.keys() - {"version"})
