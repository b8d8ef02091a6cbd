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
from consent.drops import DaySessions, DropPlan, Row, Span
from consent.language import Day, Quoted
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "drop-calendar"
DAYS_ON_A_PAGE = 14
_SHAPES = 6
_LANDMARKS = ((10, "sunrise"), (15, "sun"), (20, "sunset"), (24, "bed"))


@dataclass(frozen=True)
class Mark:
    """The number of a bottle in its own shape; the shape is told apart without colour."""

    number: int
    shape: int
    text: Line


@dataclass(frozen=True)
class DrugRow:
    mark: Mark
    name: str
    purpose: Line
    notes: tuple[Line, ...]
    counts: tuple[tuple[int, Line], ...]


@dataclass(frozen=True)
class WallChart(Block):
    """Every drug by the week: ``counts`` of a row stand under ``weeks``; ``times`` are the clock times of a week."""

    drug_heading: Line
    weeks: tuple[tuple[Line, Line], ...]
    rows: tuple[DrugRow, ...]
    times_heading: Line
    times: tuple[tuple[Line, ...], ...]


@dataclass(frozen=True)
class Bottles(Block):
    """What is handed over: which bottle, when it is opened, when it is thrown away, the cap seen today."""

    head: tuple[Line, ...]
    rows: tuple[tuple[Mark, Line, Line, Line], ...]
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
    plan = assessment.drops
    eye = remark(f"eye.{plan.side}")
    sections = (_wall(assessment, voice), *(_strip_pages(assessment, voice)))
    title = voice.line("calendar.title", eye=eye)
    return finish(voice, assessment, SHEET, title, sections, layout="landscape", take_home=True)


def _wall(assessment: Assessment, voice: Voice) -> Section:
    plan = assessment.drops
    poster = _poster(assessment, voice)
    if plan.is_drop_free:
        return Section("wall", None, (poster, Para(voice.line("home.drops.none"), style="strong")))
    return Section("wall", None, (poster, _chart(plan, voice), _bottles(assessment, voice)))


def _poster(assessment: Assessment, voice: Voice) -> Poster:
    patient, side = assessment.case.patient, assessment.drops.side
    eye = remark(f"eye.{side}")
    helper = patient.drops_helper
    giver = (
        voice.line("home.help.helper", helper=Quoted(helper)) if helper else voice.line("calendar.helper-to-be-named")
    )
    who = voice.line("calendar.whose", name=Quoted(patient.name), date=assessment.case.plan.date)
    return Poster(voice.line("calendar.only-this-eye", eye=eye), eye_side(side), (who, giver))


def _chart(plan: DropPlan, voice: Voice) -> WallChart:
    spans = tuple(span for span in plan.spans if span.total)
    rows = tuple(_drug_row(row, index, spans, voice) for index, row in enumerate(plan.rows))
    times = tuple(_times(plan, span, voice) for span in spans)
    return WallChart(
        voice.line("calendar.bottle"),
        tuple((voice.show(Day(span.first.date, "brief")), voice.show(Day(span.last.date, "brief"))) for span in spans),
        rows,
        voice.line("calendar.times"),
        times,
    )


def _drug_row(row: Row, index: int, spans: tuple[Span, ...], voice: Voice) -> DrugRow:
    counts = tuple((span.counts[index], voice.count("calendar.times-a-day", span.counts[index])) for span in spans)
    notes = [voice.line("calendar.last-day", date=Day(row.last, "brief"))]
    if row.drug.shake:
        notes.insert(0, voice.line("calendar.shake"))
    if row.drug.form == "ointment":
        notes.append(voice.line("calendar.ointment-last"))
    return DrugRow(
        mark=_mark(row, voice),
        name=row.drug.name,
        purpose=_purpose(row, voice),
        notes=tuple(notes),
        counts=counts,
    )


def _mark(row: Row, voice: Voice) -> Mark:
    return Mark(row.number, (row.number - 1) % _SHAPES + 1, voice.show(row.number))


def _purpose(row: Row, voice: Voice) -> Line:
    one, *more = [remark(f"class.{component.drug_class}") for component in row.drug.components]
    return voice.line("calendar.two-purposes", one=one, two=more[0]) if more else voice.remark(one)


def _times(plan: DropPlan, span: Span, voice: Voice) -> tuple[Line, ...]:
    day = next(day for day in plan.sessions if day.number == span.first.number)
    return tuple(voice.show(session.at) for session in day.sessions)


def _bottles(assessment: Assessment, voice: Voice) -> Bottles:
    plan = assessment.drops
    rows = []
    for supply in plan.supplies:
        mark = _mark(plan.row(supply.rows[0]), voice)
        for place, opening in enumerate(supply.openings, start=1):
            rows.append(
                (
                    mark,
                    voice.line("bottle.which", place=place, count=supply.count),
                    voice.line("bottle.open-on", date=Day(opening.opened, "brief")),
                    voice.line("bottle.throw-after", date=Day(opening.discard_after, "brief")),
                )
            )
    head = tuple(voice.line(f"bottle.{name}") for name in ("number", "bottle", "open", "throw", "cap-seen"))
    return Bottles(head, tuple(rows), _rules(assessment, voice))


def _rules(assessment: Assessment, voice: Voice) -> tuple[Line, ...]:
    return (
        voice.count("calendar.rule.wait", assessment.clinic.drops.gap_minutes),
        voice.line("calendar.rule.missed"),
        voice.line("calendar.rule.last-day"),
    )


def _strip_pages(assessment: Assessment, voice: Voice) -> Iterator[Section]:
    plan = assessment.drops
    days = [day for day in plan.sessions if day.sessions]
    for page, start in enumerate(range(0, len(days), DAYS_ON_A_PAGE), start=1):
        chosen = days[start : start + DAYS_ON_A_PAGE]
        before = days[start - 1] if start else None
        strips = tuple(_strips(plan, chosen, before, voice))
        heading = voice.line("calendar.strip", first=Day(chosen[0].date, "brief"), last=Day(chosen[-1].date, "brief"))
        yield Section(f"days-{page}", heading, strips, style="page")


def _strips(plan: DropPlan, days: list[DaySessions], before: DaySessions | None, voice: Voice) -> Iterator[Strip]:
    previous = before
    for _, group in groupby(days, key=lambda day: [(session.at, session.drops) for session in day.sessions]):
        same = list(group)
        yield _strip(plan, same, previous, voice)
        previous = same[-1]


def _strip(plan: DropPlan, days: list[DaySessions], before: DaySessions | None, voice: Voice) -> Strip:
    first = days[0]
    return Strip(
        day_heading=voice.line("calendar.day"),
        times=tuple((pictogram(landmark(session.at)), voice.show(session.at)) for session in first.sessions),
        days=tuple(_day(plan, day, voice) for day in days),
        total_heading=voice.line("calendar.total"),
        change=voice.line("calendar.change", date=Day(first.date, "brief")) if before is not None else None,
    )


def _day(plan: DropPlan, day: DaySessions, voice: Voice) -> DayRow:
    sittings = tuple(tuple(_mark(plan.row(number), voice) for number, _ in session.drops) for session in day.sessions)
    total = sum(len(sitting) for sitting in sittings)
    return DayRow(voice.show(Day(day.date, "brief")), sittings, voice.show(total))


def landmark(at: dt.time) -> str:
    """Name of the picture for a time of day: sunrise, sun, sunset or bed."""
    return next(name for hour, name in _LANDMARKS if at.hour < hour)


def drop_totals(days: Iterable[DayRow]) -> int:
    """Marks on ``days``, for checking the strip against the plan."""
    return sum(len(sitting) for day in days for sitting in day.sittings)
