"""The patient's own page: what the signed papers for home say, or before surgery the sheet for the day before."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Document, Voice
from consent.compose.document import Block, Columns, Line, Section
from consent.compose.drop_wall import Poster
from consent.compose.page_code import short_code
from consent.compose.which_eye import eye_box
from consent.desk.phone_days import GoesOn, PhoneDay, goes_on, phone_days, weeks
from consent.desk.phone_visits import PhoneVisit, next_visit, phone_visits, told_by_day
from consent.desk.words import Words, words_in
from consent.errors import PaperError, Problem
from consent.language import Quoted, languages, load_catalogue, release_of
from consent.pack import Pack
from consent.record.state import AFTERCARE, CONSENT, SealedSet
from consent.review import Assessment

SHEETS_SHOWN = {CONSENT: ("before-day",), AFTERCARE: ("going-home", "drop-calendar")}
"""The sheets that the page says again. That for the day before is not signed: it is shown as the case is now."""
_ON_PAPER_ONLY = frozenset({"blank", "room"})
"""Blocks to write on or to stick something on."""
_TOLD = frozenset({"toldline", "para"})


@dataclass(frozen=True)
class Telephone:
    """A number of the clinic as it is written, and as a telephone dials it."""

    shown: str
    dialled: str


@dataclass(frozen=True)
class Head:
    """The eye in words and drawn, how it is drawn, and what stands beside it."""

    words: Line
    picture: str
    seen: Line
    lines: tuple[Line, ...]
    long: bool = False


@dataclass(frozen=True)
class PhonePage:
    """All that the page shows. ``told``: drops not to be given, and what staff give; ``visits``: as the list of the
    sheet has them; ``sheet``: the sections of the sheet for home in the order of the paper; ``marks``: what is said at
    the head of every paper."""

    words: Words
    papers: SealedSet
    clinic: str
    head: Head
    days: tuple[PhoneDay, ...]
    first: dt.date | None
    last: dt.date | None
    by_landmarks: bool
    on_going: tuple[GoesOn, ...]
    told: tuple[Block, ...]
    rules: tuple[Block, ...]
    visits: tuple[PhoneVisit, ...]
    sheet: tuple[Section, ...]
    langs: tuple[tuple[str, str], ...]
    marks: tuple[str, ...]
    day_call: Telephone
    night_call: Telephone

    @property
    def is_before(self) -> bool:
        """Whether the operation is still to come."""
        return self.papers.stage == CONSENT

    @property
    def weeks(self) -> tuple[tuple[PhoneDay, ...], ...]:
        """The days by week."""
        return weeks(self.days)

    def next_visit(self, day: dt.date) -> dt.date | None:
        """The day of the next visit on ``day``."""
        return next_visit(self.visits, day)

    @property
    def code(self) -> str:
        """The short code printed on the papers."""
        return "\u00a0".join(short_code(self.papers.code))


def language_for(assessment: Assessment) -> str:
    """Tag of the language the page is in: the patient's, or the clinic's where nobody wrote the words in it."""
    known = languages()
    own = assessment.case.patient.language
    return own if own in known else assessment.clinic.language if assessment.clinic.language in known else "en"


def sheet_in(pack: Pack, name: str, tag: str) -> Document | None:
    """The sheet ``name`` of ``pack`` that is in the language ``tag`` alone."""
    return next((one for one in pack.documents if one.sheet == name and [t for t, _ in one.languages] == [tag]), None)


def phone_page(pack: Pack, papers: SealedSet, tag: str) -> PhonePage:
    """The page of ``papers``, which hold, in the language ``tag``: what the sheets of ``pack`` say in it.

    Raises ``PaperError`` where ``pack`` has no such sheet in that language.
    """
    assessment = pack.assessment
    voice = Voice((tag,), assessment.clinic.digits)
    clinic, plan = assessment.clinic, assessment.drops
    sheet, *more = (_needed(pack, name, tag) for name in SHEETS_SHOWN[papers.stage])
    calendar = more[0] if more else None
    rows = plan.current if calendar else ()
    return PhonePage(
        words=words_in(tag, "latin" if clinic.digits == "latin" else "locale", mirrored=False),
        papers=papers,
        clinic=clinic.name,
        head=_head(pack, calendar, voice),
        days=phone_days(assessment, voice) if calendar else (),
        first=min((row.first for row in rows), default=None),
        last=plan.last if rows else None,
        by_landmarks=plan.by_landmarks,
        on_going=goes_on(assessment, voice) if calendar else (),
        told=tuple(_blocks(calendar, ("wall", "drugs"), _TOLD)),
        rules=tuple(_blocks(calendar, ("bottles",), frozenset({"bottles", "rulesbox"}))),
        visits=phone_visits(assessment.case),
        sheet=tuple(_sections(sheet, assessment.case, voice)),
        langs=sheet.languages,
        marks=_marks((sheet, *more), voice, clinic),
        day_call=call(clinic.telephone.day),
        night_call=call(clinic.telephone.night),
    )


def _marks(sheets: tuple[Document, ...], voice: Voice, clinic: Clinic) -> tuple[str, ...]:
    """What is said at the head of the sheets but who signed them; a practice copy also where its own words are."""
    (tag,) = voice.tags
    found = [mark[0].plain for sheet in sheets for mark in sheet.marks[1:]]
    own = {name for name in load_catalogue(tag).messages if name.startswith("theirs.")}
    if not release_of(own, tag, reviewed=clinic.words_folder).may_be_signed:
        found.insert(0, voice.line("frame.practice")[0].plain)
    return tuple(dict.fromkeys(found))


def _head(pack: Pack, calendar: Document | None, voice: Voice) -> Head:
    """What stands at the head of the calendar, where drops of the other eye are told of; before surgery, the eye."""
    for poster in _blocks(calendar, ("wall",), frozenset({"poster"})):
        if isinstance(poster, Poster):
            lines = (line for line in poster.lines if not _for_a_pen(line, voice))
            return Head(poster.words, poster.picture, poster.seen, tuple(lines), poster.long)
    box = eye_box(pack.assessment, voice)
    whose = voice.line(
        "calendar.whose", name=Quoted(pack.assessment.case.patient.name), date=pack.assessment.drops.surgery
    )
    return Head(box.words, box.picture, box.caption, (whose,))


def _for_a_pen(line: Line, voice: Voice) -> bool:
    return "__" in line[0].plain or line == voice.line("calendar.shown-not-yet")


def _needed(pack: Pack, name: str, tag: str) -> Document:
    found = sheet_in(pack, name, tag)
    if found is None:
        raise PaperError(Problem(f"there is no {name} in this language", tag, remedy="look at the case"))
    return found


def _blocks(document: Document | None, sections: tuple[str, ...], kinds: frozenset[str]) -> Iterator[Block]:
    """The blocks of ``kinds`` in ``sections`` of the sheet, in reading order, those that stand side by side as well."""
    for section in document.sections if document else ():
        if section.id in sections:
            yield from (block for block in _flat(section.blocks) if block.kind in kinds)


def _flat(blocks: tuple[Block, ...]) -> Iterator[Block]:
    for block in blocks:
        if isinstance(block, Columns):
            yield from _flat((*block.left, *block.right))
        else:
            yield block


def _sections(sheet: Document, case: Case, voice: Voice) -> Iterator[Section]:
    """The sections without what is only for a pen, and without the eye, which stands at the head of the page; the next
    visit as it is on the day on which it is read."""
    for section in sheet.sections:
        blocks = (block for block in section.blocks if block.kind not in _ON_PAPER_ONLY | {"eyebox"})
        yield replace(section, blocks=tuple(told_by_day(blocks, case, voice)))


def call(number: str) -> Telephone:
    """``number`` to be shown and to be dialled (RFC 3966)."""
    return Telephone(number, "".join(sign for sign in number if sign.isascii() and (sign.isdigit() or sign == "+")))
