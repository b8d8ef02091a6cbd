"""What is read aloud of the papers for home: their words in order, without what is only for a pen or for the eye."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from consent.compose.document import (
    Blank,
    Block,
    Boxes,
    Code,
    Columns,
    Document,
    EyeBox,
    Facts,
    Line,
    PicturedTable,
    Pictures,
    Room,
    Signature,
    Table,
    lines_in,
)
from consent.compose.drop_steps import days_line, sides_of
from consent.compose.drop_wall import Poster, ToldLine, drug_lines
from consent.compose.voice import Voice
from consent.drops import Ends, Form, Row
from consent.language import Day, Verbatim
from consent.review import Assessment
from consent.wording import remark

CALENDAR = "drop-calendar"
_NOT_SAID = (Blank, Boxes, Code, Pictures, Room, Signature)
_SILENT = re.compile("[\u2066-\u2069\u200e\u200f_]+")
_ENDS = (".", "?", "!", "।", "۔", "؟", ":")


def aloud(document: Document, assessment: Assessment, voice: Voice) -> str:
    """The text a voice reads of ``document``, which is in the one language of ``voice``: first that it is a machine's.

    Of the drop calendar what a listener can follow: which eye, and bottle by bottle how often on which days. A line
    each; telephone numbers digit by digit.
    """
    call = assessment.clinic.telephone
    eye = remark(f"eye.{assessment.case.eye.side}")
    said = [_plain(voice.line("audio.opening", eye=eye, day=Verbatim(call.day))), _plain(document.title)]
    if document.sheet == CALENDAR:
        said += [*_on_the_wall(document), *_bottles(assessment, voice)]
    else:
        said += _sections(document)
    return "\n".join(_sentence(text, (call.day, call.night)) for text in said if text.strip(" _:"))


def _sections(document: Document) -> Iterator[str]:
    for section in document.sections:
        texts = [text for block in section.blocks for text in _block(block)]
        if section.heading and texts:
            yield _plain(section.heading)
        yield from texts


def _block(block: Block) -> Iterator[str]:
    """What is said of a block; a row of a table in one breath."""
    if isinstance(block, _NOT_SAID):
        return
    if isinstance(block, EyeBox):
        yield from (_plain(block.words), _plain(block.telephone))
    elif isinstance(block, Facts | Table):
        yield from (_row(row) for row in block.rows)
    elif isinstance(block, PicturedTable):
        yield from (_row((what, when)) for _, what, when in block.rows)
    elif isinstance(block, Columns):
        yield from (text for side in (block.left, block.right) for one in side for text in _block(one))
    else:
        yield from (_plain(line) for line in lines_in(block))


def _row(cells: Iterable[Line]) -> str:
    return ": ".join(text for cell in cells if (text := _plain(cell)))


def _on_the_wall(calendar: Document) -> Iterator[str]:
    """Which eye, and the drops that are not to be given."""
    for section in calendar.sections:
        for block in section.blocks:
            if isinstance(block, Poster):
                yield _plain(block.words)
            elif isinstance(block, ToldLine):
                yield _plain(block.text)


def _bottles(assessment: Assessment, voice: Voice) -> Iterator[str]:
    plan = assessment.drops
    for side, block in zip(sides_of(plan), drug_lines(assessment, voice, spread=False), strict=True):
        if block.eye:
            yield _plain(block.eye)
        for told, row in zip(block.rows, (row for row in plan.current if row.side is side), strict=True):
            bottle = "theirs.tube" if row.drug.form is Form.OINTMENT else "theirs.bottle"
            yield f"{_plain(voice.line(bottle, number=told.mark.number))}: {row.drug.name}"
            yield from (_plain(line) for line in (told.purpose, *told.notes))
            yield from _days(row, voice, plan.issued_from)


def _days(row: Row, voice: Voice, issued_from: int) -> Iterator[str]:
    """How often, from which day to which, as long as this print is about."""
    for phase in row.phases:
        if phase.last_day < issued_from:
            continue
        times = voice.count("calendar.times-a-day", phase.times_a_day)
        if phase.drops_per_dose > 1:
            times = voice.count("calendar.times-a-day-drops", phase.times_a_day, drops=phase.drops_per_dose)
        elif phase.at_bedtime:
            times = voice.line("calendar.at-bedtime")
        days = days_line(phase.first, phase.last, voice, "full")
        yield f"{_plain(days)}: {_plain(voice.show(phase.times_a_day))} {_plain(times)}"
    if row.ends is Ends.LONG_STANDING:
        yield _plain(voice.line("calendar.go-on", first=Day(row.first, "full"), last=Day(row.last, "full")))


def _plain(line: Line) -> str:
    return line[0].plain


def _sentence(text: str, numbers: Iterable[str]) -> str:
    """``text`` as a voice takes it: a pause at its end, no lines to write on, telephone numbers one digit at a time."""
    spoken = " ".join(_SILENT.sub("", text).split())
    for number in numbers:
        spoken = spoken.replace(" ".join(number.split()), " ".join(re.sub(r"\s", "", number)))
    return spoken if spoken.endswith(_ENDS) else f"{spoken}."
