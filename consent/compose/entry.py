"""What a telephone shows of a sitting: eye and bottles in a line, and the drops in their order. No diagnosis."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from consent.case import Side
from consent.clinic import Clinic
from consent.compose.voice import utter
from consent.drops import Row
from consent.drops.calendar_file import Entry
from consent.drops.events import Run
from consent.language import Speaker, Verbatim
from consent.review.assessment import Assessment
from consent.wording import remark


def calendar_entry(run: Run, speaker: Speaker) -> Entry:
    """The line that rings, and what to do: one line for each drop, with the minutes to wait between."""
    return Entry(summary(run, speaker), "\n".join(_lines(run, speaker)))


def summary(run: Run, speaker: Speaker) -> str:
    """Eye and bottles in a sentence, such as "Eye drops, RIGHT eye: bottle 1, 3"."""
    rows = list(dict.fromkeys(row.number for row, _ in run.drops))
    side_of = {row.number: row.side for row, _ in run.drops}
    sides = [side for side in Side if side in side_of.values()]
    said = [
        (utter(speaker, remark(f"eye.{side}")), _numbers([n for n in rows if side_of[n] is side], speaker))
        for side in sides
    ]
    eye, bottles = said[0]
    if len(said) == 1:
        return speaker.say("calendar.event", eye=eye, bottles=bottles).plain
    other, others = said[1]
    return speaker.say("calendar.event-both", eye=eye, bottles=bottles, other=other, others=others).plain


def _numbers(numbers: list[int], speaker: Speaker) -> Verbatim:
    return Verbatim(", ".join(speaker.show(number).plain for number in numbers))


def _lines(run: Run, speaker: Speaker) -> Iterator[str]:
    yield speaker.say("phone.order").plain
    waits = [0, *(after - before for (_, before), (_, after) in pairwise(run.drops))]
    shaken: set[int] = set()
    for (row, _), wait in zip(run.drops, waits, strict=True):
        if wait:
            yield speaker.say_count("phone.wait", wait).plain
        yield " ".join(_drop(row, row.number not in shaken, speaker))
        shaken.add(row.number)


def _drop(row: Row, is_first: bool, speaker: Speaker) -> Iterator[str]:
    eye, drug = utter(speaker, remark(f"eye.{row.side}")), Verbatim(row.drug.name)
    yield speaker.say("phone.drop", bottle=row.number, eye=eye, drug=drug).plain
    if row.drug.shake and is_first:
        yield speaker.say("calendar.shake").plain
    if row.drug.form == "ointment":
        yield speaker.say("calendar.ointment-last").plain


def key_of(assessment: Assessment) -> str:
    """What tells this operation's calendar from others on one telephone: clinic, record and eye.

    The date is left out, so that an operation put off moves its drops; the name, so that it may be corrected.
    """
    return calendar_key(assessment.clinic, assessment.case.patient.record_number, assessment.case.eye.side)


def calendar_key(clinic: Clinic, record_number: str, side: Side) -> str:
    """The key of the calendar of an operation on ``side``."""
    return f"{clinic.name}|{record_number}|{side}"
