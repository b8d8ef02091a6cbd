"""The bottle page of the drop calendar: what is handed over, when each is opened and thrown away, rules, visits."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from consent.compose.calendar_pictures import bottle
from consent.compose.code import drops_code
from consent.compose.document import Block, Code, Columns, Line, Section, Table
from consent.compose.drop_steps import Mark, mark_of
from consent.compose.voice import Voice, joined
from consent.drops import DropPlan, Ends, Form, Opening, Row, Supply, date_of, last_cap
from consent.language import Day
from consent.review.assessment import Assessment


@dataclass(frozen=True)
class BottleRow:
    """One bottle: its drawing with the cap seen today, its drug and eye, where it is kept if not in the room."""

    svg: str
    marks: tuple[Mark, ...]
    drug: str
    eye: Line | None
    keep: Line | None
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
    coming = [visit for visit in assessment.case.all_visits if visit.date >= plan.issued_on]
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
    rows = [plan.row(number) for number in supply.rows]
    if not any(row in plan.current for row in rows):
        return
    cap = last_cap(assessment.case.caps_seen, supply)
    drawn = bottle(cap, ointment=supply.container == "tube")
    eye = voice.line(f"eye.{rows[0].side}") if plan.both_eyes and len(rows) == 1 else None
    marks = tuple(mark_of(row, voice) for row in rows)
    cap_words = voice.line(f"cap.{cap}") if cap else None
    storage = supply.drug.storage
    keep = voice.line(f"storage.{storage}") if storage and storage != "room temperature" else None
    for which, opened, thrown in _containers(plan, supply, rows, voice):
        yield BottleRow(drawn, marks, supply.drug.name, eye, keep, which, opened, thrown, cap_words)
        cap_words = None


def _containers(plan: DropPlan, supply: Supply, rows: list[Row], voice: Voice) -> Iterator[tuple[Line, Line, Line]]:
    """Which of them, when it is opened and when it is thrown away: the bottles drops are still taken from."""
    if not supply.openings:
        which = voice.count("bottle.unit-doses", supply.count)
        yield which, voice.line("bottle.each-time"), voice.line("bottle.after-each-time")
    for place, opening in enumerate(supply.openings, start=1):
        if opening.last_day < plan.issued_from:
            continue
        which = voice.line("bottle.which", place=place, count=supply.count)
        opened = voice.line("bottle.open-on", date=Day(opening.opened, "brief"))
        thrown = Day(_thrown(plan, opening, rows, is_last=place == supply.count), "brief")
        yield which, opened, voice.line("bottle.throw-after", date=thrown)


def _thrown(plan: DropPlan, opening: Opening, rows: list[Row], is_last: bool) -> dt.date:
    """The last date it is kept: until the next is opened or its course ends, and never beyond its life."""
    goes_on = any(row.ends in (Ends.LONG_STANDING, Ends.UNTIL_REVIEW) for row in rows)
    if is_last and goes_on:
        return opening.discard_after
    return min(opening.discard_after, date_of(plan.surgery, opening.last_day))


def _rules(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    plan = assessment.drops
    ends = {row.ends for row in plan.current}
    drops = assessment.clinic.drops
    if plan.longest_minutes:
        yield voice.count("calendar.rule.wait", drops.gap_minutes)
        if any(row.drug.form is Form.OINTMENT for row in plan.current):
            yield voice.count("calendar.rule.wait-ointment", max(drops.gap_minutes, drops.ointment_gap_minutes))
        yield voice.count("calendar.rule.longest", plan.longest_minutes)
    yield voice.line("calendar.rule.missed")
    if Ends.COURSE_END in ends:
        yield voice.line("calendar.rule.last-day")
    if Ends.LONG_STANDING in ends:
        yield voice.line("calendar.rule.go-on")
    yield voice.line("calendar.rule.looks-different")
    yield voice.line("calendar.rule.fasting")
    yield voice.line("care.nothing-else")
