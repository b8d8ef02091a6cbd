"""The picture page of the drop calendar: how each day goes, by sun, bottle and eye; how to put in a drop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from consent.case import Side
from consent.compose.calendar_pictures import bottle, time_of_day
from consent.compose.document import Block, Columns, Line, Pictures, Section
from consent.compose.drop_steps import Mark, days_line, mark_of, printed_days, sides_of, steps_of
from consent.compose.pictures import pictogram
from consent.compose.voice import Voice
from consent.compose.which_eye import face
from consent.drops import DaySessions, DropPlan, Form, Row, Session, last_cap, moment_of
from consent.review.assessment import Assessment

_TECHNIQUE = ("wash", "shake", "head_back", "pull_lid", "one_drop", "close_press", "wait", "ointment_last")
_NARROW = 4
"""Rounds a day that fit half the width of a page."""


@dataclass(frozen=True)
class PicturedDrop:
    """One bottle of a round: its drawing with the cap seen, and its mark."""

    svg: str
    mark: Mark


@dataclass(frozen=True)
class CapWord:
    """A bottle and the colour of its cap in words."""

    drop: PicturedDrop
    words: Line


@dataclass(frozen=True)
class CapWords(Block):
    """Every cap seen, in a row."""

    items: tuple[CapWord, ...]


@dataclass(frozen=True)
class Round:
    """One round of drops: where the sun stands, the time, its landmark, and the bottles of each eye in order."""

    svg: str
    time: Line
    landmark: Line
    eyes: tuple[tuple[PicturedDrop, ...], ...]


@dataclass(frozen=True)
class PicturedStep(Block):
    """Days on which nothing changes, as one row of rounds. ``faces`` are the eyes of its lines."""

    when: Line
    faces: tuple[tuple[str, Line], ...]
    rounds: tuple[Round, ...]
    by_landmarks: bool


def picture_page(assessment: Assessment, voice: Voice) -> Section:
    """The technique in pictures, then every step from the day of surgery on."""
    heading = voice.line("calendar.pictures")
    steps = _in_pairs(_pictured_steps(assessment, voice))
    return Section("pictures", heading, (technique(assessment, voice), *_caps(assessment, voice), *steps), style="page")


def _caps(assessment: Assessment, voice: Voice) -> Iterator[Block]:
    """The caps staff saw, each with the word for its colour: a grey print tells no colours apart."""
    plan = assessment.drops
    items = []
    for supply in plan.supplies:
        cap, row = last_cap(assessment.case.caps_seen, supply), plan.row(supply.rows[0])
        if cap is not None and row in plan.current:
            items.append(CapWord(_pictured(assessment, plan, row, voice), voice.line(f"cap.{cap}")))
    if items:
        yield CapWords(tuple(items))


def _in_pairs(steps: Iterable[PicturedStep]) -> Iterator[Block]:
    """Steps with few rounds stand two to a line."""
    waiting: PicturedStep | None = None
    for step in steps:
        narrow = len(step.rounds) <= _NARROW
        if waiting is not None and narrow:
            yield Columns((waiting,), (step,), style="twosteps")
            waiting = None
            continue
        if waiting is not None:
            yield waiting
        waiting = step if narrow else None
        if not narrow:
            yield step
    if waiting is not None:
        yield waiting


def technique(assessment: Assessment, voice: Voice) -> Pictures:
    """How a drop is put in, in the order of the hands; only what these bottles need."""
    rows, settings = assessment.drops.current, assessment.clinic.drops
    leave = set() if any(row.drug.shake for row in rows) else {"shake"}
    if not any(row.drug.form is Form.OINTMENT for row in rows):
        leave.add("ointment_last")
    minutes = {"wait": settings.gap_minutes, "close_press": settings.close_eye_minutes}
    items = [
        (
            pictogram(name),
            voice.count(f"picture.{name}", minutes[name]) if name in minutes else voice.line(f"picture.{name}"),
        )
        for name in _TECHNIQUE
        if name not in leave
    ]
    return Pictures(tuple(items), style="technique")


def _pictured_steps(assessment: Assessment, voice: Voice) -> Iterator[PicturedStep]:
    plan = assessment.drops
    days = {day.date: day for day in printed_days(plan)}
    for first, last, _ in steps_of(plan):
        shown = [day for date, day in days.items() if first <= date <= last and day.sessions and day.number >= 0]
        if shown:
            yield _pictured_step(assessment, shown[0], max(first, shown[0].date), last, voice)


def _pictured_step(
    assessment: Assessment, day: DaySessions, first: dt.date, last: dt.date, voice: Voice
) -> PicturedStep:
    plan = assessment.drops
    sides = sides_of(plan)
    return PicturedStep(
        when=days_line(first, last, voice),
        faces=tuple((face(side, assessment), voice.line(f"eye.{side}")) for side in sides),
        rounds=tuple(_round(assessment, session, sides, voice) for session in day.sessions),
        by_landmarks=plan.by_landmarks,
    )


def _round(assessment: Assessment, session: Session, sides: tuple[Side, ...], voice: Voice) -> Round:
    plan = assessment.drops
    moment = moment_of(session.at, plan.landmarks)
    words = f"moment.{'at' if moment.exact else 'after'}.{moment.landmark}"
    return Round(
        svg=time_of_day(moment, assessment.clinic.day_marks.sunset),
        time=voice.show(session.at),
        landmark=voice.line(words),
        eyes=tuple(tuple(_drops(assessment, plan, session, side, voice)) for side in sides),
    )


def _drops(
    assessment: Assessment, plan: DropPlan, session: Session, side: Side, voice: Voice
) -> Iterator[PicturedDrop]:
    for number, _ in session.drops:
        row = plan.row(number)
        if row.side is side:
            yield _pictured(assessment, plan, row, voice)


def _pictured(assessment: Assessment, plan: DropPlan, row: Row, voice: Voice) -> PicturedDrop:
    supply = next(supply for supply in plan.supplies if row.number in supply.rows)
    drawn = bottle(
        last_cap(assessment.case.caps_seen, supply), ointment=row.drug.form is Form.OINTMENT, shake=row.drug.shake
    )
    return PicturedDrop(drawn, mark_of(row, voice))
