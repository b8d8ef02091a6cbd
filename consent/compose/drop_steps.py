"""What the parts of the drop calendar share: marks of the bottles, and the runs of days on which nothing changes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from consent.case import CapColour, Side
from consent.compose.document import Line
from consent.compose.voice import Voice
from consent.drops import DaySessions, DropPlan, Row, Supply
from consent.language import Day
from consent.review.assessment import Assessment

_SHAPES = 6
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Mark:
    """The number of a bottle in its own shape, told apart without colour."""

    number: int
    shape: int
    text: Line


def mark_of(row: Row, voice: Voice) -> Mark:
    """The mark of a row's bottle, the same on every print."""
    return Mark(row.number, (row.number - 1) % _SHAPES + 1, voice.show(row.number))


def days_line(first: dt.date, last: dt.date, voice: Voice) -> Line:
    """From one date to another, or the one date."""
    if first == last:
        return voice.show(Day(first, "brief"))
    return voice.line("calendar.days", first=Day(first, "brief"), last=Day(last, "brief"))


Doses = tuple[tuple[int, int], ...]
"""Times a day and drops each time, row by row; (0, 0) where a row is silent."""


def steps_of(plan: DropPlan) -> tuple[tuple[dt.date, dt.date, Doses], ...]:
    """First date, last date and doses of every row, for each run of days on which no row changes.

    Only days this print is about. A dose without a clock time is no dose of a step: a line of its own tells it.
    """
    found: list[tuple[dt.date, dt.date, Doses]] = []
    for day in printed_days(plan):
        doses = tuple(_dose(row, day) for row in plan.rows)
        if found and found[-1][2] == doses and found[-1][1] + _DAY == day.date:
            found[-1] = (found[-1][0], day.date, doses)
        elif any(times for times, _ in doses):
            found.append((day.date, day.date, doses))
    return tuple(found)


def _dose(row: Row, day: DaySessions) -> tuple[int, int]:
    phase, times = row.phase_on(day.number), len(day.times_of(row.number))
    return (times, phase.drops_per_dose) if phase and times else (0, 0)


def printed_days(plan: DropPlan) -> tuple[DaySessions, ...]:
    """The days this print is about."""
    return tuple(day for day in plan.sessions if day.number >= plan.issued_from)


def sides_of(plan: DropPlan) -> tuple[Side, ...]:
    """Eyes with drops on this print, the patient's right eye first."""
    return tuple(side for side in Side if any(row.side is side for row in plan.current))


def cap_of(assessment: Assessment, supply: Supply) -> CapColour | None:
    """The cap colour last seen on the bottles of ``supply``; ``None`` where nobody noted one."""
    seen = [
        cap
        for cap in assessment.case.caps_seen
        if cap.drug == supply.drug.id and (cap.side is None or cap.side in supply.sides)
    ]
    return max(seen, key=lambda cap: cap.on).colour if seen else None
