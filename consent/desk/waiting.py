"""What waits for the surgeon: every case that needs an eye, the gravest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from consent.case import Answer
from consent.errors import ConsentError, Problem
from consent.record.moves import State
from consent.record.state import AFTERCARE, CaseState
from consent.review import Assessment, Severity

_BEFORE = frozenset({State.DRAFT, State.SENT_BACK, State.WANTS_TIME})
_AGREED = frozenset({State.SIGNED_OFF, State.CONSENTED, State.CONFIRMED})


@dataclass(frozen=True)
class Waiting:
    """One case with what stands open in it. ``due``: ids of the messages that name what is to be done after surgery."""

    case: CaseState
    assessment: Assessment
    due: tuple[str, ...] = ()

    @property
    def stops(self) -> int:
        """Points that forbid the operation until somebody settles them."""
        return sum(point.blocks for point in self.assessment.points)

    @property
    def asks(self) -> int:
        """Points that want an answer and have none."""
        return sum(point.severity is Severity.ASK and point.open for point in self.assessment.points)

    @property
    def overridden(self) -> int:
        """Stops that a surgeon goes on against: still stops."""
        return sum(point.severity is Severity.STOP and not point.open for point in self.assessment.points)


@dataclass(frozen=True)
class Group:
    """Cases that want the same of the surgeon. ``words``: id of the message that says what."""

    words: str
    cases: tuple[Waiting, ...]

    @property
    def may_wait(self) -> bool:
        """Whether nothing of it is the surgeon's turn today."""
        return self.words in ("surgeon.group.before", "surgeon.group.ahead")


@dataclass(frozen=True)
class Broken:
    """A case that cannot be worked out, and why: somebody has to correct it."""

    case: CaseState
    problem: Problem


def groups(
    cases: Iterable[CaseState], assess: Callable[[CaseState], Assessment], today: dt.date
) -> tuple[tuple[Group, ...], tuple[Broken, ...]]:
    """The cases that need an eye, in the order in which they do, a group without any left out; and those that cannot be
    worked out.

    Waiting for review; operations of today; days that went by with nothing recorded; pages due after surgery; not yet
    told; signed off for a later day. Within a group stops come before asks, then the earlier day.
    """
    sorted_out: dict[str, list[Waiting]] = {words: [] for words in _ORDER}
    broken = []
    for case in cases:
        if case.erased is not None:
            continue
        try:
            if (words := _group(case, today)) is not None:
                sorted_out[words].append(Waiting(case, assess(case), due(case, today)))
        except ConsentError as error:
            broken.append(Broken(case, error.problems[0]))
    found = (Group(words, tuple(sorted(waiting, key=_rank))) for words, waiting in sorted_out.items())
    return tuple(group for group in found if group.cases), tuple(broken)


_ORDER = (
    "surgeon.group.review",
    "surgeon.group.theatre",
    "surgeon.group.late",
    "surgeon.group.after",
    "surgeon.group.before",
    "surgeon.group.ahead",
)


def _group(case: CaseState, today: dt.date) -> str | None:
    day = case.case.plan.date
    if case.state in _AGREED and day <= today:
        return "surgeon.group.theatre" if day == today else "surgeon.group.late"
    if case.state is State.DONE:
        return "surgeon.group.after" if due(case, today) else None
    if case.state is State.EXPLAINED:
        return "surgeon.group.review"
    if case.state in _AGREED:
        return "surgeon.group.ahead"
    return "surgeon.group.before" if case.state in _BEFORE else None


def due(case: CaseState, today: dt.date) -> tuple[str, ...]:
    """What is to be done for a patient who was operated on; nothing before surgery or where all is done."""
    if case.state is not State.DONE:
        return ()
    found = []
    if case.sealed(AFTERCARE) is None:
        found.append("surgeon.due.aftercare")
    if case.case.day1 is None and today > case.case.plan.date:
        found.append("surgeon.due.first-day")
    return tuple(found)


def visits_ahead(case: CaseState, today: dt.date) -> tuple[dt.date, ...]:
    """The days of visits that lie ahead, the nearest first; of one kept already nothing is due."""
    ahead = (visit.date for visit in case.case.all_visits if visit.kept is Answer.UNKNOWN or visit.date > today)
    return tuple(sorted(day for day in ahead if day >= today))


def _rank(waiting: Waiting) -> tuple[bool, bool, dt.date, dt.time, int]:
    plan = waiting.case.case.plan
    return waiting.stops == 0, waiting.asks == 0, plan.date, plan.time or dt.time.max, waiting.case.sequence
