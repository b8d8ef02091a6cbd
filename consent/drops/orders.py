"""What was ordered becomes one numbered list of rows for both eyes, and a list of what is no longer given."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from consent.case import DropChange, OwnDrop, Side
from consent.drops.courses import Calendar, Course, changed_from, course_rows, number, own_rows
from consent.drops.formulary import Drug, Formulary
from consent.drops.regimens import Ends, Regimens, Start, find_regimen
from consent.drops.schedule import Row
from consent.drops.spacing import Waking
from consent.drops.tables import nearest
from consent.errors import DropsError, Problem


@dataclass(frozen=True)
class Order:
    """All that a plan follows from: what the surgeon ordered, the patient's day, and what is already being given.

    ``where`` names the key that holds ``regimen``, for errors. ``other_eye`` is the regimen the fellow eye is still
    on and the date of its operation. ``by_landmarks``: times lie on the landmarks of the day.
    """

    regimen: str
    side: Side
    surgery: dt.date
    waking_from: dt.time
    waking_to: dt.time
    start: Start | None = None
    where: str = "regimen"
    other_eye: tuple[str, dt.date] | None = None
    own_drops: tuple[OwnDrop, ...] = ()
    changes: tuple[DropChange, ...] = ()
    by_landmarks: bool = False


@dataclass(frozen=True)
class Told:
    """A drop that is not to be given, and what is told of it.

    ``word``: "stop" for good; "pause" until ``date``, where ``number`` is the bottle that goes on then; "undecided"
    long-standing drops of which nobody has said; "changed" for bottle ``number``, given up to and including ``date``,
    or never begun where there is no ``date``.
    """

    word: Literal["stop", "pause", "undecided", "changed"]
    drug: Drug
    side: Side
    date: dt.date | None = None
    number: int | None = None


@dataclass(frozen=True)
class Book:
    """What orders are read against: regimens, drugs, dates and waking hours, and the clinic's six weeks."""

    regimens: Regimens
    formulary: Formulary
    calendar: Calendar
    evening: Waking
    long_standing_days: int


@dataclass(frozen=True)
class Given:
    """The numbered rows of an order, what is no longer given, and the first day a print of it is about."""

    rows: tuple[Row, ...]
    told: tuple[Told, ...]
    issued_from: int


def give(order: Order, book: Book) -> Given:
    """Return the rows of ``order`` in the order of their numbers. A bottle keeps the number of an earlier print.

    What the fellow eye is on was numbered first and long-standing drops with it; drops ordered later come last.
    Raises ``DropsError`` for an unknown regimen or drug.
    """
    this = _this_course(order, book)
    other = _other_course(order, book)
    last_day = max([book.long_standing_days, *(row.last_day for row in (*this, *other))])
    own = own_rows(_known(order.own_drops, book.formulary), book.formulary, book.calendar, last_day)
    before = number((*other, *own)) if other else ()
    ordered = number(this, len(before) + 1)
    after = () if other else number(own, len(before) + len(ordered) + 1)
    mine = _with_changes(order, book, ordered, len(before) + len(ordered) + len(after) + 1)
    rows = tuple(sorted((*before, *mine, *after), key=lambda row: row.number))
    first = min((row.first_day for row in ordered), default=0)
    issued_from = (order.changes[-1].on - order.surgery).days if order.changes else min(0, first)
    told = (*_told_of_own(order, rows, book.formulary), *_told_of_changes(ordered, mine))
    return Given(rows, told, issued_from)


def _this_course(order: Order, book: Book) -> tuple[Row, ...]:
    regimen = find_regimen(book.regimens, order.regimen, order.where)
    in_evening = (order.start or regimen.start) is Start.EVENING
    course = Course(regimen, order.side, evening=book.evening if in_evening else None)
    return course_rows(course, book.formulary, book.calendar)


def _other_course(order: Order, book: Book) -> tuple[Row, ...]:
    if order.other_eye is None:
        return ()
    regimen_id, operated_on = order.other_eye
    regimen = find_regimen(book.regimens, regimen_id, "other_eye.regimen")
    evening = book.evening if regimen.start is Start.EVENING else None
    course = Course(regimen, order.side.other, (operated_on - order.surgery).days, evening)
    return course_rows(course, book.formulary, book.calendar)


def _with_changes(order: Order, book: Book, mine: tuple[Row, ...], next_number: int) -> tuple[Row, ...]:
    for place, change in enumerate(order.changes):
        regimen = find_regimen(book.regimens, change.regimen, f"drop_changes.{place}.regimen")
        day = (change.on - order.surgery).days
        new = course_rows(Course(regimen, order.side, day - 1, from_day=1), book.formulary, book.calendar)
        mine = changed_from(day, mine, new, book.calendar, next_number)
        next_number = max([next_number, *(row.number + 1 for row in mine)])
    return mine


def _known(own: tuple[OwnDrop, ...], formulary: Formulary) -> tuple[OwnDrop, ...]:
    for place, drop in enumerate(own):
        if drop.drug not in formulary:
            raise DropsError(
                Problem(
                    f'no drug is called "{drop.drug}"',
                    f"own_drops.{place}.drug",
                    "a drop the patient uses would be missing from the calendar",
                    f"{nearest(drop.drug, formulary)} Else add it to the clinic's settings, table formulary",
                )
            )
    return own


def _told_of_own(order: Order, rows: Iterable[Row], formulary: Formulary) -> Iterator[Told]:
    numbers = {(row.drug.id, row.side): row.number for row in rows if row.ends is Ends.LONG_STANDING}
    for drop in order.own_drops:
        if drop.decision == "continue":
            continue
        for side in drop.sides:
            yield Told(drop.decision, formulary[drop.drug], side, drop.pause_until, numbers.get((drop.drug, side)))


def _told_of_changes(ordered: Iterable[Row], mine: Iterable[Row]) -> Iterator[Told]:
    left = {row.number for row in mine}
    for row in ordered:
        if row.number not in left:
            yield Told("changed", row.drug, row.side, None, row.number)
    for row in mine:
        if row.ends is Ends.CHANGED:
            yield Told("changed", row.drug, row.side, row.last, row.number)
