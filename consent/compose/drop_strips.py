"""The strips of the drop calendar: every day with every round of drops, to be crossed off."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from consent.case import Side
from consent.compose.calendar_pictures import time_of_day
from consent.compose.document import Block, Line, Section
from consent.compose.drop_steps import Mark, days_line, mark_of, printed_days, sides_of
from consent.compose.voice import Voice
from consent.compose.which_eye import face
from consent.drops import DaySessions, DropPlan, Session, moment_of
from consent.language import Day
from consent.review.assessment import Assessment

WEEK = 7


@dataclass(frozen=True)
class EyeRow:
    """The rounds of one eye on one day: for each, the marks in the order the drops are given."""

    eye: Line | None
    picture: str | None
    sittings: tuple[tuple[Mark, ...], ...]


@dataclass(frozen=True)
class DayRow:
    """One day of the strip: its date, and its rounds, eye by eye."""

    date: Line
    eyes: tuple[EyeRow, ...]
    total: Line


@dataclass(frozen=True)
class Strip(Block):
    """Days in a row with the same rounds."""

    day_heading: Line
    times: tuple[tuple[str, Line], ...]
    days: tuple[DayRow, ...]
    total_heading: Line
    caption: Line


def strips(assessment: Assessment, voice: Voice) -> Section:
    """Every day with clock times, at most a week to a strip; days before surgery stand in strips of their own.

    With a line for each eye two weeks stand on an upright page.
    """
    days = [day for day in printed_days(assessment.drops) if day.sessions]
    style = "page tall" if assessment.drops.both_eyes else "page"
    return Section("days", voice.line("calendar.strip"), tuple(_strips(assessment, days, voice)), style=style)


def _strips(assessment: Assessment, days: Iterable[DaySessions], voice: Voice) -> Iterator[Strip]:
    previous = None
    for run in _runs(days):
        for start in range(0, len(run), WEEK):
            week = run[start : start + WEEK]
            yield _strip(assessment, week, _caption(week, previous, voice), voice)
            previous = week[-1]


def _runs(days: Iterable[DaySessions]) -> Iterator[list[DaySessions]]:
    """Days in a row with the same sittings, those before surgery apart."""
    placed = enumerate(days)
    for _, group in groupby(placed, key=lambda at: (at[1].number - at[0], at[1].number < 0, at[1].sessions)):
        yield [day for _, day in group]


def _caption(week: list[DaySessions], previous: DaySessions | None, voice: Voice) -> Line:
    first, last = week[0].date, week[-1].date
    if week[0].number < 0:
        return voice.line("calendar.before-surgery", first=Day(first, "brief"), last=Day(last, "brief"))
    if previous is not None and (previous.number < 0 or previous.sessions != week[0].sessions):
        return voice.line("calendar.change", date=Day(first, "brief"))
    return days_line(first, last, voice)


def _strip(assessment: Assessment, days: list[DaySessions], caption: Line, voice: Voice) -> Strip:
    plan, sunset = assessment.drops, assessment.clinic.day_marks.sunset
    times = tuple(
        (time_of_day(moment_of(session.at, plan.landmarks), sunset), voice.show(session.at))
        for session in days[0].sessions
    )
    rows = tuple(_day(assessment, day, voice) for day in days)
    return Strip(voice.line("calendar.day"), times, rows, voice.line("calendar.total"), caption)


def _day(assessment: Assessment, day: DaySessions, voice: Voice) -> DayRow:
    plan = assessment.drops
    both = plan.both_eyes
    eyes = tuple(
        EyeRow(
            voice.line(f"eye.{side}") if both else None,
            face(side, assessment) if both else None,
            tuple(tuple(_marks(plan, session, side, voice)) for session in day.sessions),
        )
        for side in sides_of(plan)
    )
    return DayRow(voice.show(Day(day.date, "brief")), eyes, voice.show(drop_totals_of(eyes)))


def _marks(plan: DropPlan, session: Session, side: Side, voice: Voice) -> Iterator[Mark]:
    rows = (plan.row(number) for number, _ in session.drops)
    return (mark_of(row, voice) for row in rows if row.side is side)


def drop_totals_of(eyes: Iterable[EyeRow]) -> int:
    """Marks of one day."""
    return sum(len(sitting) for eye in eyes for sitting in eye.sittings)
