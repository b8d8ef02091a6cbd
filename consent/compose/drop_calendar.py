"""The drop calendar: one wall page with every drug by the week, then a strip of days to cross off."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

from consent.compose.document import Block, Document, Line, Para, Section
from consent.compose.frame import finish
from consent.compose.pictures import eye_side, pictogram
from consent.compose.voice import Voice
from consent.drops import DaySessions, DropPlan, Ends, Row, Supply
from consent.language import Day, Quoted
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "drop-calendar"
DAYS_ON_A_PAGE = 14
_SHAPES = 6
_LANDMARKS = ((10, "sunrise"), (15, "sun"), (20, "sunset"), (24, "bed"))


@dataclass(frozen=True)
class Mark:
    """The number of a bottle in its own shape, told apart without colour; white on black for the other eye."""

    number: int
    shape: int
    text: Line
    other_eye: bool


@dataclass(frozen=True)
class DrugRow:
    mark: Mark
    name: str
    eye: Line | None
    purpose: Line
    notes: tuple[Line, ...]
    counts: tuple[tuple[int, Line], ...]


@dataclass(frozen=True)
class WallChart(Block):
    """Every drug by the step: ``counts`` of a row stand under ``steps``; ``times`` are the clock times of a step."""

    drug_heading: Line
    steps: tuple[tuple[Line, Line], ...]
    rows: tuple[DrugRow, ...]
    times_heading: Line
    times: tuple[tuple[Line, ...], ...]


@dataclass(frozen=True)
class Bottles(Block):
    """What is handed over: which bottle, when it is opened, when it is thrown away, the cap seen today."""

    head: tuple[Line, ...]
    rows: tuple[tuple[tuple[Mark, ...], Line, Line, Line], ...]
    rules: tuple[Line, ...]


@dataclass(frozen=True)
class DayRow:
    """One day of the strip: its date, and for each sitting the marks in the order the drops are given."""

    date: Line
    sittings: tuple[tuple[Mark, ...], ...]
    total: Line


@dataclass(frozen=True)
class Strip(Block):
    """Days in a row with the same clock times."""

    day_heading: Line
    times: tuple[tuple[str, Line], ...]
    days: tuple[DayRow, ...]
    total_heading: Line
    change: Line | None


@dataclass(frozen=True)
class Poster(Block):
    """The eye large, and who gives the drops."""

    words: Line
    picture: str
    lines: tuple[Line, ...]


def drop_calendar(assessment: Assessment, voice: Voice) -> Document:
    """The composed calendar; a plan without drops still says so, with warning signs and telephone on the page."""
    eye = remark(f"eye.{assessment.drops.side}")
    sections = (_wall(assessment, voice), *(_strip_pages(assessment, voice)))
    title = voice.line("calendar.title", eye=eye)
    return finish(voice, assessment, SHEET, title, sections, layout="landscape", take_home=True)


def _wall(assessment: Assessment, voice: Voice) -> Section:
    plan = assessment.drops
    poster = _poster(assessment, voice)
    if plan.is_drop_free:
        return Section("wall", None, (poster, Para(voice.line("home.drops.none"), style="strong")))
    given = tuple(Para(line) for line in _given_by_staff(plan, voice))
    return Section("wall", None, (poster, _chart(plan, voice), *given, _bottles(assessment, voice)))


def _both_eyes(plan: DropPlan) -> bool:
    return any(row.side is not plan.side for row in plan.rows)


def _poster(assessment: Assessment, voice: Voice) -> Poster:
    plan, patient = assessment.drops, assessment.case.patient
    eye = remark(f"eye.{plan.side}")
    helper = patient.drops_helper
    giver = (
        voice.line("home.help.helper", helper=Quoted(helper)) if helper else voice.line("calendar.helper-to-be-named")
    )
    who = voice.line("calendar.whose", name=Quoted(patient.name), date=assessment.case.plan.date)
    words = "calendar.both-eyes" if _both_eyes(plan) else "calendar.only-this-eye"
    return Poster(voice.line(words, eye=eye), eye_side(plan.side), (who, giver))


def _given_by_staff(plan: DropPlan, voice: Voice) -> Iterator[Line]:
    """Drops of the day of surgery that have no clock time: staff give them, or say when a long-standing one is due."""
    for day in plan.sessions:
        for number, drops in day.untimed:
            row = plan.row(number)
            words = "calendar.staff-say-when" if row.ends is Ends.LONG_STANDING else "calendar.given-by-staff"
            eye = remark(f"eye.{row.side}")
            yield voice.count(words, drops, date=Day(day.date, "brief"), bottle=number, eye=eye)


Doses = tuple[tuple[int, int], ...]
"""Times a day and drops each time, row by row; (0, 0) where a row is silent."""


def steps_of(plan: DropPlan) -> tuple[tuple[dt.date, dt.date, Doses], ...]:
    """First date, last date and doses of every row, for each run of days on which no row changes.

    A dose without a clock time is no dose of the chart: the line for the day of surgery tells it.
    """
    found: list[tuple[dt.date, dt.date, Doses]] = []
    for day in plan.sessions:
        doses = tuple(_dose(row, day) for row in plan.rows)
        if found and found[-1][2] == doses:
            found[-1] = (found[-1][0], day.date, doses)
        elif any(times for times, _ in doses):
            found.append((day.date, day.date, doses))
    return tuple(found)


def _dose(row: Row, day: DaySessions) -> tuple[int, int]:
    phase, times = row.phase_on(day.number), len(day.times_of(row.number))
    return (times, phase.drops_per_dose) if phase and times else (0, 0)


def _chart(plan: DropPlan, voice: Voice) -> WallChart:
    steps = steps_of(plan)
    rows = tuple(
        _drug_row(plan, row, [doses[place] for _, _, doses in steps], voice) for place, row in enumerate(plan.rows)
    )
    return WallChart(
        voice.line("calendar.bottle"),
        tuple((voice.show(Day(first, "brief")), voice.show(Day(last, "brief"))) for first, last, _ in steps),
        rows,
        voice.line("calendar.times"),
        tuple(_clock_times(plan, first, last, voice) for first, last, _ in steps),
    )


def _clock_times(plan: DropPlan, first: dt.date, last: dt.date, voice: Voice) -> tuple[Line, ...]:
    """Clock times of a step: those of its first day that has any."""
    days = [day for day in plan.sessions if first <= day.date <= last and day.sessions]
    return tuple(voice.show(session.at) for session in days[0].sessions) if days else ()


def _drug_row(plan: DropPlan, row: Row, doses: list[tuple[int, int]], voice: Voice) -> DrugRow:
    return DrugRow(
        mark=_mark(plan, row, voice),
        name=row.drug.name,
        eye=voice.line(f"eye.{row.side}") if _both_eyes(plan) else None,
        purpose=_purpose(row, voice),
        notes=tuple(_notes(row, voice)),
        counts=tuple((times, _dose_words(times, drops, voice)) for times, drops in doses),
    )


def _dose_words(times: int, drops: int, voice: Voice) -> Line:
    if drops > 1:
        return voice.count("calendar.times-a-day-drops", times, drops=drops)
    return voice.count("calendar.times-a-day", times)


def _notes(row: Row, voice: Voice) -> Iterator[Line]:
    if row.drug.shake:
        yield voice.line("calendar.shake")
    yield voice.line(_END[row.ends], date=Day(row.last, "brief"))
    if row.drug.form == "ointment":
        yield voice.line("calendar.ointment-last")


_END = {
    Ends.COURSE_END: "calendar.last-day",
    Ends.UNTIL_REVIEW: "calendar.until-review",
    Ends.LONG_STANDING: "calendar.go-on",
}


def _mark(plan: DropPlan, row: Row, voice: Voice) -> Mark:
    return Mark(row.number, (row.number - 1) % _SHAPES + 1, voice.show(row.number), row.side is not plan.side)


def _purpose(row: Row, voice: Voice) -> Line:
    one, *more = [remark(f"class.{component.drug_class}") for component in row.drug.components]
    return voice.line("calendar.two-purposes", one=one, two=more[0]) if more else voice.remark(one)


def _bottles(assessment: Assessment, voice: Voice) -> Bottles:
    plan = assessment.drops
    head = tuple(voice.line(f"bottle.{name}") for name in ("number", "bottle", "open", "throw", "cap-seen"))
    rows = tuple(row for supply in plan.supplies for row in _supply(plan, supply, voice))
    return Bottles(head, rows, tuple(_rules(assessment, voice)))


def _supply(plan: DropPlan, supply: Supply, voice: Voice) -> Iterator[tuple[tuple[Mark, ...], Line, Line, Line]]:
    marks = tuple(_mark(plan, plan.row(number), voice) for number in supply.rows)
    if not supply.openings:
        yield (
            marks,
            voice.count("bottle.unit-doses", supply.count),
            voice.line("bottle.each-time"),
            voice.line("bottle.after-each-time"),
        )
    for place, opening in enumerate(supply.openings, start=1):
        yield (
            marks,
            voice.line("bottle.which", place=place, count=supply.count),
            voice.line("bottle.open-on", date=Day(opening.opened, "brief")),
            voice.line("bottle.throw-after", date=Day(opening.discard_after, "brief")),
        )


def _rules(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    ends = {row.ends for row in assessment.drops.rows}
    yield voice.count("calendar.rule.wait", assessment.clinic.drops.gap_minutes)
    yield voice.line("calendar.rule.missed")
    if Ends.COURSE_END in ends:
        yield voice.line("calendar.rule.last-day")
    if Ends.LONG_STANDING in ends:
        yield voice.line("calendar.rule.go-on")
    if _both_eyes(assessment.drops):
        yield voice.line("calendar.key-other-eye")


def _strip_pages(assessment: Assessment, voice: Voice) -> Iterator[Section]:
    plan = assessment.drops
    days = [day for day in plan.sessions if day.sessions]
    for page, start in enumerate(range(0, len(days), DAYS_ON_A_PAGE), start=1):
        chosen = days[start : start + DAYS_ON_A_PAGE]
        before = days[start - 1] if start else None
        strips = tuple(_strips(plan, chosen, before, voice))
        heading = voice.line("calendar.strip", first=Day(chosen[0].date, "brief"), last=Day(chosen[-1].date, "brief"))
        key = (Para(voice.line("calendar.key-other-eye")),) if _both_eyes(plan) else ()
        yield Section(f"days-{page}", heading, (*key, *strips), style="page")


def _pattern(day: DaySessions) -> list[tuple[dt.time, tuple[tuple[int, int], ...]]]:
    return [(session.at, session.drops) for session in day.sessions]


def _strips(plan: DropPlan, days: list[DaySessions], before: DaySessions | None, voice: Voice) -> Iterator[Strip]:
    previous = before
    for pattern, group in groupby(days, key=_pattern):
        same = list(group)
        is_new = previous is not None and _pattern(previous) != pattern
        yield _strip(plan, same, is_new, voice)
        previous = same[-1]


def _strip(plan: DropPlan, days: list[DaySessions], is_new: bool, voice: Voice) -> Strip:
    first = days[0]
    return Strip(
        day_heading=voice.line("calendar.day"),
        times=tuple((pictogram(landmark(session.at)), voice.show(session.at)) for session in first.sessions),
        days=tuple(_day(plan, day, voice) for day in days),
        total_heading=voice.line("calendar.total"),
        change=voice.line("calendar.change", date=Day(first.date, "brief")) if is_new else None,
    )


def _day(plan: DropPlan, day: DaySessions, voice: Voice) -> DayRow:
    sittings = tuple(
        tuple(_mark(plan, plan.row(number), voice) for number, _ in session.drops) for session in day.sessions
    )
    total = sum(len(sitting) for sitting in sittings)
    return DayRow(voice.show(Day(day.date, "brief")), sittings, voice.show(total))


def landmark(at: dt.time) -> str:
    """Name of the picture for a time of day: sunrise, sun, sunset or bed."""
    return next(name for hour, name in _LANDMARKS if at.hour < hour)


def drop_totals(days: Iterable[DayRow]) -> int:
    """Marks on ``days``, for checking the strip against the plan."""
    return sum(len(sitting) for day in days for sitting in day.sittings)
