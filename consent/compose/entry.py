"""What a telephone shows of a sitting: eye and bottles in a line, and the drops in their order. No diagnosis."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from consent.case import Side
from consent.clinic import Clinic
from consent.compose.voice import utter
from consent.drops import Form, Row
from consent.drops.calendar_file import Entry
from consent.drops.events import Run
from consent.language import Said, Speaker, Verbatim
from consent.review.assessment import Assessment
from consent.wording import remark


def calendar_entry(run: Run, speaker: Speaker) -> Entry:
    """The line that rings, and what to do: one line for each drop, with the minutes to wait between."""
    return Entry(summary(run, speaker), "\n".join(_lines(run, speaker)))


def summary(run: Run, speaker: Speaker) -> str:
    """Eye, bottles and tubes in a sentence, such as "Eye drops, RIGHT eye: bottle 1, 3, tube 4"."""
    rows = list({row.number: row for row, _ in run.drops}.values())
    of_eye = [(side, [row for row in rows if row.side is side]) for side in Side]
    said = [(utter(speaker, remark(f"eye.{side}")), _containers(found, speaker)) for side, found in of_eye if found]
    eye, what = said[0]
    if len(said) == 1:
        return speaker.say("phone.event", eye=eye, what=what).plain
    other, others = said[1]
    return speaker.say("phone.event-both", eye=eye, what=what, other=other, others=others).plain


def _containers(rows: list[Row], speaker: Speaker) -> Said:
    """What is taken in hand for one eye, in its order: an ointment comes in a tube, and last."""
    bottles = _numbers([row for row in rows if row.drug.form is not Form.OINTMENT], speaker)
    tubes = _numbers([row for row in rows if row.drug.form is Form.OINTMENT], speaker)
    if not tubes.text:
        return speaker.say("phone.bottles", bottles=bottles)
    if not bottles.text:
        return speaker.say("phone.tubes", tubes=tubes)
    return speaker.say("phone.bottles-tubes", bottles=bottles, tubes=tubes)


def _numbers(rows: list[Row], speaker: Speaker) -> Verbatim:
    return Verbatim(", ".join(speaker.show(row.number).plain for row in rows))


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
    in_tube = row.drug.form is Form.OINTMENT
    yield speaker.say("phone.drop-tube" if in_tube else "phone.drop", bottle=row.number, eye=eye, drug=drug).plain
    if row.drug.shake and is_first:
        yield speaker.say("calendar.shake").plain
    if in_tube:
        yield speaker.say("calendar.ointment-last").plain


def key_of(assessment: Assessment) -> str:
    """What tells this operation's calendar from others on one telephone: clinic, record and eye.

    The date is left out, so that an operation put off moves its drops; the name, so that it may be corrected.
    """
    return calendar_key(assessment.clinic, assessment.case.patient.record_number, assessment.case.eye.side)


def calendar_key(clinic: Clinic, record_number: str, side: Side) -> str:
    """The key of the calendar of an operation on ``side``."""
    return f"{clinic.name}|{record_number}|{side}"
