"""Whether the patient has still to be told a number that the surgeon accepted after the talk."""

from __future__ import annotations

from consent.record.moves import State
from consent.record.state import CaseState

_UNSIGNED = frozenset({State.EXPLAINED, State.SIGNED_OFF})


def tell_new(case: CaseState) -> bool:
    """Whether other numbers were accepted since the talk than were told in it, and the patient has not signed yet."""
    if case.state not in _UNSIGNED:
        return False
    accepted, talk = case.case.figures_accepted, case.case.talk
    return accepted is not None and talk.at is not None and accepted.at > talk.at
