"""The wall page of the drop calendar: the month with its visits, and every bottle with the stairs of its taper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from consent.case import Answer, DropGiver
from consent.compose.calendar_pictures import stair
from consent.compose.document import Block, Line, Para, Pictures
from consent.compose.drop_steps import Mark, days_line, giver, mark_of, printed_days, said, sides_of
from consent.compose.frame import telephone
from consent.compose.pictures import pictogram, titled
from consent.compose.voice import Voice
from consent.compose.which_eye import face
from consent.drops import DaySessions, DropPlan, Ends, Form, Phase, Row
from consent.drops.own_drop_checks import MISSING, name_missing
from consent.language import Day, Quoted
from consent.review.assessment import Assessment
from consent.wording import remark

_WEEK = 7
_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Poster(Block):
    """The eye large, whom to call, and who gives the drops."""

    words: Line
    picture: str
    seen: Line
    telephone: Line
    lines: tuple[Line, ...]
    long: bool


@dataclass(frozen=True)
class DayCell:
    """One day of the month grid: its number, how many rounds of drops, and what else happens on it."""

    number: Line
    month: Line | None
    rounds: Line | None
    visit: str | None
    opening: str
    opens: tuple[Mark, ...]
    surgery: str | None
    is_new: bool


@dataclass(frozen=True)
class MonthGrid(Block):
    """Weeks of seven days; ``None`` outside the days of this print."""

    heads: tuple[Line, ...]
    weeks: tuple[tuple[DayCell | None, ...], ...]


@dataclass(frozen=True)
class Stair:
    """One step of a drug: times a day as a number in words and as blocks, and its first day."""

    first: Line
    times: Line
    words: Line
    svg: str


@dataclass(frozen=True)
class DrugLine:
    """One bottle: its mark, what it is, from when to when, and its stairs."""

    mark: Mark
    name: str
    purpose: Line
    when: Line
    notes: tuple[Line, ...]
    stairs: tuple[Stair, ...]


@dataclass(frozen=True)
class DrugLines(Block):
    """The bottles of one eye; the eye is named and drawn where both have drops. ``spread``: stairs beside the words."""

    eye: Line | None
    picture: str | None
    rows: tuple[DrugLine, ...]
    spread: bool


@dataclass(frozen=True)
class ToldLine(Block):
    """A drop that is not to be given, with its sign."""

    word: str
    svg: str
    text: Line


def poster(assessment: Assessment, voice: Voice) -> Poster:
    """The eye, the patient, who gives the drops and how the face is drawn, and what this print replaces."""
    plan, case = assessment.drops, assessment.case
    call = telephone(voice, assessment.clinic)
    lines = [voice.line("calendar.whose", name=Quoted(case.patient.name), date=case.plan.date)]
    sides = sides_of(plan)
    if sides:
        shown = case.patient.drops_shown_back is Answer.YES
        lines.append(giver(case.patient, voice))
        lines.append(voice.line("calendar.shown-done" if shown else "calendar.shown-not-yet"))
    if plan.changed_on:
        lines.append(voice.line("calendar.version", version=case.version, date=Day(plan.changed_on[-1], "brief")))
    elif case.version > 1:
        lines.append(voice.line("calendar.newer", version=case.version))
    operated = remark(f"eye.{plan.side}")
    side = plan.side if len(sides) != 1 else sides[0]
    if plan.both_eyes:
        words = voice.line("calendar.both-eyes", eye=operated)
    elif sides:
        words = voice.line("calendar.only-this-eye", eye=remark(f"eye.{side}"))
    else:
        words = voice.line("calendar.operated", eye=operated)
    if side is not plan.side:
        lines.insert(0, voice.line("calendar.operated", eye=operated))
    from_in_front = case.patient.drops_given_by is DropGiver.HELPER
    seen = voice.line("picture.from-in-front" if from_in_front else "picture.mirror")
    return Poster(words, face(side, assessment), seen, call, tuple(lines), long=plan.both_eyes)


def month_grid(assessment: Assessment, voice: Voice) -> MonthGrid:
    """The weeks from the first day of this print to the last drop or visit."""
    plan = assessment.drops
    visits = [visit.date for visit in assessment.case.all_visits]
    first = plan.issued_on
    last = max([first, *visits, *([plan.last] if plan.last else [])])
    monday_first = assessment.clinic.week_starts_on == "monday"
    start = first - dt.timedelta(days=first.weekday() if monday_first else (first.weekday() + 1) % _WEEK)
    weeks = (last - start).days // _WEEK + 1
    days = [[start + dt.timedelta(days=_WEEK * week + place) for place in range(_WEEK)] for week in range(weeks)]
    facts = _DayFacts(assessment, voice, first, last)
    return MonthGrid(
        tuple(voice.show(Day(day, "weekday")) for day in days[0]),
        tuple(tuple(facts.cell(day) for day in week) for week in days),
    )


class _DayFacts:
    """What happens on each date of the grid."""

    def __init__(self, assessment: Assessment, voice: Voice, first: dt.date, last: dt.date) -> None:
        plan = assessment.drops
        self.voice, self.first, self.last, self.surgery = voice, first, last, plan.surgery
        self.rounds = {day.date: len(day.sessions) for day in printed_days(plan)}
        self.visits = {visit.date for visit in assessment.case.all_visits}
        self.opened: dict[dt.date, list[Row]] = {}
        for supply in plan.supplies:
            for opening in supply.openings:
                self.opened.setdefault(opening.opened, []).extend(plan.row(number) for number in supply.rows)
        self.new = set(_changes(plan))

    def cell(self, day: dt.date) -> DayCell | None:
        """The cell of ``day``; none outside the days of this print."""
        if not self.first <= day <= self.last:
            return None
        rounds = self.rounds.get(day, 0)
        return DayCell(
            number=self.voice.show(Day(day, "day")),
            month=self.voice.show(Day(day, "month")) if day == self.first or day.day == 1 else None,
            rounds=self.voice.line("calendar.rounds", count=rounds) if rounds else None,
            visit=self._sign("visit", "calendar.visit") if day in self.visits else None,
            opening=self._sign("open_bottle", "calendar.legend.open"),
            opens=tuple(mark_of(row, self.voice) for row in self.opened.get(day, ())),
            surgery=self._sign("pad", "calendar.legend.surgery") if day == self.surgery else None,
            is_new=day in self.new,
        )

    def _sign(self, picture: str, words: str) -> str:
        """A sign that has no words beside it in the cell."""
        return titled(pictogram(picture), self.voice.line(words)[0].plain)


def _changes(plan: DropPlan) -> Iterator[dt.date]:
    """First days of a new pattern of drops."""
    for before, day in pairwise(printed_days(plan)):
        if day.sessions and day.sessions != before.sessions:
            yield day.date


def legend(assessment: Assessment, voice: Voice) -> Pictures:
    """What the signs of the month mean."""
    example = remark("calendar.rounds", count=4)
    items = [
        (pictogram("one_drop"), voice.line("calendar.legend.rounds", rounds=example)),
        (pictogram("open_bottle"), voice.line("calendar.legend.open")),
    ]
    if assessment.case.all_visits:
        items.append((pictogram("visit"), voice.line("calendar.visit")))
    if assessment.drops.issued_from <= 0:
        items.append((pictogram("pad"), voice.line("calendar.legend.surgery")))
    return Pictures(tuple(items), style="legend")


def drug_lines(assessment: Assessment, voice: Voice, spread: bool) -> Iterator[DrugLines]:
    """The bottles of this print, eye by eye, the patient's right eye first; ``spread`` over the width of a page."""
    plan = assessment.drops
    for side in sides_of(plan):
        rows = tuple(_drug_line(plan, row, voice) for row in plan.current if row.side is side)
        named = sides_of(plan) != (plan.side,)
        eye = voice.line(f"eye.{side}") if named else None
        yield DrugLines(eye, face(side, assessment) if named else None, rows, spread)


def _drug_line(plan: DropPlan, row: Row, voice: Voice) -> DrugLine:
    phases = [phase for phase in row.phases if phase.last_day >= plan.issued_from]
    most = max((phase.times_a_day for phase in phases), default=1)
    return DrugLine(
        mark=mark_of(row, voice),
        name=row.drug.name,
        purpose=_purpose(row, voice),
        when=_when(row, voice),
        notes=tuple(_notes(plan, row, voice)),
        stairs=tuple(_stair(phase, most, voice) for phase in phases),
    )


def _when(row: Row, voice: Voice) -> Line:
    first, last = Day(row.first, "brief"), Day(row.last, "brief")
    if row.ends is Ends.LONG_STANDING:
        return voice.line("calendar.go-on", first=first, last=last)
    if row.ends is Ends.UNTIL_REVIEW:
        return voice.line("calendar.from-until-review", first=first, last=last)
    return days_line(row.first, row.last, voice)


def _stair(phase: Phase, most: int, voice: Voice) -> Stair:
    times, drops = phase.times_a_day, phase.drops_per_dose
    words = (
        voice.count("calendar.times-a-day-drops", times, drops=drops)
        if drops > 1
        else voice.line("calendar.at-bedtime")
        if phase.at_bedtime
        else voice.count("calendar.times-a-day", times)
    )
    return Stair(voice.show(Day(phase.first, "short")), voice.show(times), words, stair(times, most))


def _notes(plan: DropPlan, row: Row, voice: Voice) -> Iterator[Line]:
    if row.drug.shake:
        yield voice.line("calendar.shake")
    if row.drug.form is Form.OINTMENT:
        yield voice.line("calendar.ointment-last")
    for before, after in pairwise(row.phases):
        first, last = before.last + _DAY, after.first - _DAY
        if first <= last and last >= plan.issued_on:
            yield voice.line("calendar.no-drops", days=days_line(first, last, voice)[0])


def _purpose(row: Row, voice: Voice) -> Line:
    one, *more = [remark(f"class.{component.drug_class}") for component in row.drug.components]
    return voice.line("calendar.two-purposes", one=one, two=more[0]) if more else voice.remark(one)


def told_lines(assessment: Assessment, voice: Voice) -> Iterator[Block]:
    """What is no longer given, waits or is undecided; then drops of the day of surgery without a clock time."""
    plan = assessment.drops
    for told in plan.told:
        yield ToldLine(told.word, pictogram(_SIGN[told.word]), voice.remark(said(told)))
    for name in not_decided(assessment):
        line = voice.line("calendar.told.not-entered", drug=Quoted(name))
        yield ToldLine("undecided", pictogram(_SIGN["undecided"]), line)
    if assessment.case.own_drops and plan.issued_from <= 0:
        yield Para(voice.line("calendar.own-until-then"))
    for day in printed_days(plan):
        yield from (Para(line) for line in without_clock(plan, day, voice))


def without_clock(plan: DropPlan, day: DaySessions, voice: Voice) -> Iterator[Line]:
    """What is told of the drops of ``day`` that have no clock time: who gives them."""
    for number, drops in day.untimed:
        row = plan.row(number)
        ours = row.ends is not Ends.LONG_STANDING and row.side is plan.side
        words = "calendar.given-by-staff" if ours else "calendar.staff-say-when"
        eye = remark(f"eye.{row.side}")
        yield voice.count(words, drops, date=Day(day.date, "brief"), bottle=number, eye=eye)


_SIGN = {"stop": "stop", "changed": "stop", "pause": "pause", "undecided": "question"}


def not_decided(assessment: Assessment) -> Iterator[str]:
    """Drops the patient is known to use that neither a row nor a decision covers, as entered."""
    return (name_missing(finding.facts) for finding in assessment.findings if finding.id == MISSING)
