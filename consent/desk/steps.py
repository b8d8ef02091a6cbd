"""What can be done next with a case, by whom: the first that whoever asks may do is the main button of its page."""

from __future__ import annotations

from dataclasses import dataclass

from consent.desk.here import Visitor
from consent.record.moves import Role, State
from consent.record.state import CaseState

_TALKED = (Role.COUNSELLOR, Role.SURGEON)
_BEFORE = (State.DRAFT, State.SENT_BACK, State.EXPLAINED, State.WANTS_TIME)


@dataclass(frozen=True)
class Step:
    """One thing to do: the message that names it, the end of its path, who may, and from which states."""

    words: str
    path: str
    roles: tuple[Role, ...]
    states: tuple[State, ...]


_STEPS = (
    Step("case.talk", "talk", _TALKED, (State.DRAFT, State.SENT_BACK, State.WANTS_TIME)),
    Step("case.review", "review", (Role.SURGEON,), (State.EXPLAINED,)),
    Step("case.consented", "consented", _TALKED, (State.SIGNED_OFF,)),
    Step("case.confirm", "confirm", (Role.THEATRE, Role.SURGEON), (State.CONSENTED,)),
    Step("case.done", "done", (Role.SURGEON,), (State.CONFIRMED,)),
    Step("case.first-day", "first-day", (Role.SURGEON,), (State.DONE,)),
    Step("case.enter", "enter/person", (*_TALKED, Role.LEAD), (*_BEFORE, State.SIGNED_OFF, State.CONSENTED)),
    Step("case.regimen", "regimen", (Role.SURGEON,), (*_BEFORE, State.DONE)),
    Step("case.review", "review", (Role.SURGEON,), (State.DRAFT, State.SENT_BACK, State.SIGNED_OFF, State.DONE)),
    Step("case.pause", "pause", (Role.THEATRE, Role.SURGEON), (*_BEFORE, State.SIGNED_OFF, State.CONSENTED,
         State.CONFIRMED)),
    Step("case.talk", "talk", _TALKED, (State.EXPLAINED,)),
    Step("case.phone", "phone", _TALKED, (State.SIGNED_OFF, State.CONSENTED, State.CONFIRMED, State.DONE)),
    Step("case.mind", "mind", (*_TALKED, Role.THEATRE), (State.CONSENTED, State.CONFIRMED, State.DECLINED,
         State.WITHDRAWN)),
)  # fmt: skip


def steps(here: Visitor, case: CaseState) -> list[Step]:
    """What whoever asks may do with ``case`` as it stands, the main thing first."""
    return [step for step in _STEPS if case.state in step.states and here.is_a(*step.roles)]
