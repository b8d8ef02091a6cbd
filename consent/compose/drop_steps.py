"""What the parts of the drop calendar share: marks of the bottles, and the runs of days on which nothing changes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from consent.case import DropGiver, Patient, Side
from consent.compose.document import Line
from consent.compose.voice import Voice
from consent.drops import DaySessions, DropPlan, Row, Told
from consent.language import DateStyle, Day, Quoted
from consent.wording import Remark, remark

_SHAPES = 6
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Mark:
    """The number of a bottle in its own shape, told apart without colour."""

    number: int
    shape: int
    text: Line


def giver(patient: Patient, voice: Voice) -> Line:
    """Who puts the drops in; a line to write on where nobody is named."""
    if patient.drops_given_by is DropGiver.SELF:
        return voice.line("home.help.self")
    if patient.drops_given_by is DropGiver.NOBODY:
        return voice.line("home.help.nobody")
    if patient.drops_helper is not None:
        return voice.line("home.help.helper", helper=Quoted(patient.drops_helper))
    return voice.line("calendar.helper-to-be-named")


def said(told: Told) -> Remark:
    """What the paper says of a drop that is not to be given."""
    eye, drug = remark(f"eye.{told.side}"), told.drug.name
    if told.word == "changed":
        if told.date is None:
            return remark("calendar.told.never", bottle=told.number, eye=eye)
        return remark("calendar.told.changed", bottle=told.number, eye=eye, date=Day(told.date, "brief"))
    if told.date is not None:
        return remark("calendar.told.pause", drug=drug, eye=eye, date=Day(told.date, "brief"))
    return remark(f"calendar.told.{told.word}", drug=drug, eye=eye)


def mark_of(row: Row, voice: Voice) -> Mark:
    """The mark of a row's bottle, the same on every print."""
    return Mark(row.number, (row.number - 1) % _SHAPES + 1, voice.show(row.number))


def days_line(first: dt.date, last: dt.date, voice: Voice, style: DateStyle = "brief") -> Line:
    """From one date to another, or the one date."""
    if first == last:
        return voice.show(Day(first, style))
    return voice.line("calendar.days", first=Day(first, style), last=Day(last, style))


Doses = tuple[tuple[int, int], ...]
"""Times a day and drops each time, row by row; (0, 0) where a row is silent."""


def steps_of(plan: DropPlan) -> tuple[tuple[dt.date, dt.date, Doses], ...]:
    """First date, last date and doses of every row, for each run of days with the same sittings.

    Only days this print is about. A dose without a clock time is no dose of a step: a line of its own tells it.
    """
    found: list[tuple[dt.date, dt.date, Doses]] = []
    before: DaySessions | None = None
    for day in printed_days(plan):
        doses = tuple(_dose(row, day) for row in plan.rows)
        same = before is not None and before.sessions == day.sessions
        before = day
        if found and same and found[-1][2] == doses and found[-1][1] + _DAY == day.date:
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
