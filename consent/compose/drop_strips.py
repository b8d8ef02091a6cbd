"""The strips of the drop calendar: every day with every round of drops, to be crossed off."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from consent.compose.calendar_pictures import time_of_day
from consent.compose.document import Block, Line, Section
from consent.compose.drop_steps import Mark, days_line, mark_of, printed_days, sides_of
from consent.compose.pictures import eye_side
from consent.compose.voice import Voice
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
    """Every day with clock times, at most a week to a strip; days before surgery stand in strips of their own."""
    days = [day for day in printed_days(assessment.drops) if day.sessions]
    return Section("days", voice.line("calendar.strip"), tuple(_strips(assessment, days, voice)), style="page")


def pattern_of(day: DaySessions) -> tuple[object, ...]:
    """What makes two days look alike: the rounds, their order and their times."""
    return tuple((session.at, session.drops) for session in day.sessions)


def _strips(assessment: Assessment, days: Iterable[DaySessions], voice: Voice) -> Iterator[Strip]:
    previous = None
    for (before_surgery, _), group in groupby(days, key=lambda day: (day.number < 0, pattern_of(day))):
        same = list(group)
        for start in range(0, len(same), WEEK):
            week = same[start : start + WEEK]
            yield _strip(assessment, week, _caption(week, before_surgery, previous, voice), voice)
            previous = week[-1]


def _caption(week: list[DaySessions], before_surgery: bool, previous: DaySessions | None, voice: Voice) -> Line:
    first, last = week[0].date, week[-1].date
    if before_surgery:
        return voice.line("calendar.before-surgery", first=Day(first, "brief"), last=Day(last, "brief"))
    if previous is not None and (previous.number < 0 or pattern_of(previous) != pattern_of(week[0])):
        return voice.line("calendar.change", date=Day(first, "brief"))
    return days_line(first, last, voice)


def _strip(assessment: Assessment, days: list[DaySessions], caption: Line, voice: Voice) -> Strip:
    plan, sunset = assessment.drops, assessment.clinic.day_marks.sunset
    times = tuple(
        (time_of_day(moment_of(session.at, plan.landmarks), sunset), voice.show(session.at))
        for session in days[0].sessions
    )
    rows = tuple(_day(plan, day, voice) for day in days)
    return Strip(voice.line("calendar.day"), times, rows, voice.line("calendar.total"), caption)


def _day(plan: DropPlan, day: DaySessions, voice: Voice) -> DayRow:
    both = plan.both_eyes
    eyes = tuple(
        EyeRow(
            voice.line(f"eye.{side}") if both else None,
            eye_side(side) if both else None,
            tuple(tuple(_marks(plan, session, side, voice)) for session in day.sessions),
        )
        for side in sides_of(plan)
    )
    return DayRow(voice.show(Day(day.date, "brief")), eyes, voice.show(drop_totals_of(eyes)))


def _marks(plan: DropPlan, session: Session, side: object, voice: Voice) -> Iterator[Mark]:
    rows = (plan.row(number) for number, _ in session.drops)
    return (mark_of(row, voice) for row in rows if row.side is side)


def drop_totals_of(eyes: Iterable[EyeRow]) -> int:
    """Marks of one day."""
    return sum(len(sitting) for eye in eyes for sitting in eye.sittings)


def drop_totals(days: Iterable[DayRow]) -> int:
    """Marks on ``days``, for checking the strip against the plan."""
    return sum(drop_totals_of(day.eyes) for day in days)
