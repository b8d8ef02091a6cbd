"""The bottle page of the drop calendar: what is handed over, when each is opened and thrown away, rules, visits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from consent.compose.calendar_pictures import bottle
from consent.compose.code import drops_code
from consent.compose.document import Block, Code, Columns, Line, Section, Table
from consent.compose.drop_steps import Mark, cap_of, mark_of
from consent.compose.voice import Voice, joined
from consent.drops import DropPlan, Ends, Opening, Supply
from consent.language import Day
from consent.review.assessment import Assessment


@dataclass(frozen=True)
class BottleRow:
    """One bottle: its drawing with the cap seen today, when it is opened and thrown away."""

    svg: str
    marks: tuple[Mark, ...]
    which: Line
    opened: Line
    thrown: Line
    cap: Line | None


@dataclass(frozen=True)
class Bottles(Block):
    """What is handed over: which bottle, when it is opened, when it is thrown away, the cap seen today."""

    head: tuple[Line, ...]
    rows: tuple[BottleRow, ...]


@dataclass(frozen=True)
class RulesBox(Block):
    """The few rules that hold every day."""

    items: tuple[Line, ...]


def bottle_page(assessment: Assessment, voice: Voice) -> Section:
    """Bottles, rules, the code for a telephone if it is not too fine to scan, and visits."""
    blocks: list[Block] = []
    if not assessment.drops.is_drop_free:
        blocks += [_bottles(assessment, voice), _rules_and_code(assessment, voice)]
    return Section("bottles", voice.line("calendar.bottles"), (*blocks, *visits(assessment, voice)))


def _rules_and_code(assessment: Assessment, voice: Voice) -> Block:
    rules, code = RulesBox(tuple(_rules(assessment, voice))), drops_code(assessment, voice)
    if code is None:
        return rules
    return Columns((rules,), (Code(code, voice.line("calendar.scan")),), style="rulescode")


def visits(assessment: Assessment, voice: Voice) -> Iterator[Block]:
    """The visits still to come on this print, by date; what falls on one date in one line."""
    plan = assessment.drops
    first = plan.surgery + dt.timedelta(days=plan.issued_from)
    coming = sorted((visit for visit in assessment.case.visits if visit.date >= first), key=lambda visit: visit.date)
    rows = tuple(
        (voice.show(Day(date, "brief")), joined(voice.line(f"visit.{visit.kind}") for visit in visits_of_day))
        for date, visits_of_day in groupby(coming, key=lambda visit: visit.date)
    )
    if rows:
        yield Table((voice.line("home.visits.heading"), voice.line("visit.why")), rows, style="visits")


def _bottles(assessment: Assessment, voice: Voice) -> Bottles:
    plan = assessment.drops
    head = tuple(voice.line(f"bottle.{name}") for name in ("number", "bottle", "open", "throw", "cap-seen"))
    rows = tuple(row for supply in plan.supplies for row in _supply(assessment, plan, supply, voice))
    return Bottles(head, rows)


def _supply(assessment: Assessment, plan: DropPlan, supply: Supply, voice: Voice) -> Iterator[BottleRow]:
    marks = tuple(mark_of(plan.row(number), voice) for number in supply.rows)
    cap = cap_of(assessment, supply)
    drawn = bottle(cap, ointment=supply.container == "tube")
    cap_words = voice.line(f"cap.{cap}") if cap else None
    if not supply.openings:
        which = voice.count("bottle.unit-doses", supply.count)
        yield BottleRow(
            drawn, marks, which, voice.line("bottle.each-time"), voice.line("bottle.after-each-time"), cap_words
        )
    for place, opening in enumerate(supply.openings, start=1):
        if _is_current(plan, opening):
            which = voice.line("bottle.which", place=place, count=supply.count)
            opened = voice.line("bottle.open-on", date=Day(opening.opened, "brief"))
            thrown = voice.line("bottle.throw-after", date=Day(opening.discard_after, "brief"))
            yield BottleRow(drawn, marks, which, opened, thrown, cap_words if place == 1 else None)


def _is_current(plan: DropPlan, opening: Opening) -> bool:
    """Whether drops are still taken from the bottle on the days this print is about."""
    return opening.last_day >= plan.issued_from


def _rules(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    plan = assessment.drops
    ends = {row.ends for row in plan.current}
    yield voice.count("calendar.rule.wait", assessment.clinic.drops.gap_minutes)
    yield voice.count("calendar.rule.longest", plan.longest_minutes)
    yield voice.line("calendar.rule.missed")
    if Ends.COURSE_END in ends:
        yield voice.line("calendar.rule.last-day")
    if Ends.LONG_STANDING in ends:
        yield voice.line("calendar.rule.go-on")
    yield voice.line("calendar.rule.looks-different")
    yield voice.line("calendar.rule.fasting")
    yield voice.line("care.nothing-else")
