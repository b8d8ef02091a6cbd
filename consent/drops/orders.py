"""What was ordered becomes one numbered list of rows for both eyes, and a list of what is no longer given."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from consent.case import DropChange, OwnDrop, Side
from consent.drops.courses import Course, Dates, changed_from, course_rows, number, own_rows
from consent.drops.formulary import Drug, Form, Formulary
from consent.drops.regimens import Ends, Regimens, Start, find_regimen
from consent.drops.schedule import Row, date_of
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

    @property
    def surgery_days(self) -> dict[Side, int]:
        """The day each eye is operated on, counted from the operation at hand."""
        days = {self.side: 0}
        if self.other_eye is not None:
            days[self.side.other] = (self.other_eye[1] - self.surgery).days
        return days


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
    dates: Dates
    evening: Waking
    long_standing_days: int
    longest_pause_days: int
    days_after_pause: int


@dataclass(frozen=True)
class Given:
    """The numbered rows of an order, what is no longer given, and the first day a print of it is about."""

    rows: tuple[Row, ...]
    told: tuple[Told, ...]
    issued_from: int


def give(order: Order, book: Book) -> Given:
    """Return the rows of ``order`` in the order of their numbers. A bottle keeps the number of an earlier print.

    What the fellow eye is on was numbered first and long-standing drops with it; drops ordered later come last.
    Long-standing drops begin on the day after the first of both operations. They go on as long as any course, for the
    clinic's six weeks at least, and for some days after the last pause.
    Raises ``DropsError`` for an unknown regimen or drug, and for a pause that is too long.
    """
    this, other, changes = _this_course(order, book), _other_course(order, book), _changes(order, book)
    courses = (*this, *other, *(row for _, rows in changes for row in rows))
    own_drops = _known(order.own_drops, book.formulary)
    last_day = max([book.long_standing_days, *(row.last_day for row in courses), *_after_pauses(order, book)])
    first_day = 1 if order.other_eye is None else min(1, (order.other_eye[1] - order.surgery).days + 1)
    own = own_rows(own_drops, book.formulary, book.dates, first_day, last_day)
    before = number((*other, *own)) if other else ()
    ordered = number(this, len(before) + 1)
    after = () if other else number(own, len(before) + len(ordered) + 1)
    mine, left_out = _with_changes(ordered, changes, book.dates, len(before) + len(ordered) + len(after) + 1)
    rows = tuple(sorted((*before, *mine, *after), key=lambda row: row.number))
    given = tuple(row for row in rows if row.phases or row.drops_before_surgery)
    first = min((row.first_day for row in ordered), default=0)
    issued_from = changes[-1][0] if changes else min(0, first)
    told = (*_told_of_own(order, given, book.formulary, issued_from), *_told_of_changes(mine, left_out))
    return Given(given, told, issued_from)


def _after_pauses(order: Order, book: Book) -> Iterator[int]:
    """The last day shown after each pause: who pauses must see on the calendar that the drop comes again."""
    for place, drop in enumerate(order.own_drops):
        if drop.pause_until is None:
            continue
        day = (drop.pause_until - order.surgery).days
        if day > book.longest_pause_days:
            raise DropsError(
                Problem(
                    f"the pause lasts until {day} days after surgery",
                    f"own_drops.{place}.pause_until",
                    "a glaucoma drop left out that long is a stop nobody decided on",
                    f"give a date at most {book.longest_pause_days} days after surgery, or decide to stop",
                )
            )
        yield day + book.days_after_pause - 1


def _this_course(order: Order, book: Book) -> tuple[Row, ...]:
    regimen = find_regimen(book.regimens, order.regimen, order.where)
    in_evening = (order.start or regimen.start) is Start.EVENING
    course = Course(regimen, order.side, evening=book.evening if in_evening else None)
    return course_rows(course, book.formulary, book.dates)


def _other_course(order: Order, book: Book) -> tuple[Row, ...]:
    if order.other_eye is None:
        return ()
    regimen_id, operated_on = order.other_eye
    regimen = find_regimen(book.regimens, regimen_id, "other_eye.regimen")
    evening = book.evening if regimen.start is Start.EVENING else None
    course = Course(regimen, order.side.other, (operated_on - order.surgery).days, evening)
    return course_rows(course, book.formulary, book.dates)


Changes = tuple[tuple[int, tuple[Row, ...]], ...]
"""For each change its first day and its rows, not yet numbered."""


def _changes(order: Order, book: Book) -> Changes:
    found = []
    for place, change in enumerate(order.changes):
        regimen = find_regimen(book.regimens, change.regimen, f"drop_changes.{place}.regimen")
        day = (change.on - order.surgery).days
        course = Course(regimen, order.side, day - 1, from_day=1)
        rows = course_rows(course, book.formulary, book.dates)
        if regimen.items and not rows:
            what = f'the regimen "{regimen.id}" has no day after surgery'
            raise DropsError(Problem(what, f"drop_changes.{place}.regimen", remedy="choose another"))
        found.append((day, rows))
    return tuple(found)


def _with_changes(
    ordered: tuple[Row, ...], changes: Changes, dates: Dates, next_number: int
) -> tuple[tuple[Row, ...], tuple[Row, ...]]:
    """The rows after every change, and those that a change took away before they began."""
    mine, ever = ordered, {row.number: row for row in ordered}
    for day, new in changes:
        mine = changed_from(day, mine, new, dates, next_number)
        ever |= {row.number: row for row in mine}
        next_number = max(next_number, *(number + 1 for number in ever)) if ever else next_number
    left = {row.number for row in mine}
    return mine, tuple(row for number, row in sorted(ever.items()) if number not in left)


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
        if formulary[drop.drug].form is Form.OINTMENT and drop.drops_per_dose > 1:
            what = "an ointment is applied once each time (drops_per_dose = 1)"
            raise DropsError(Problem(what, f"own_drops.{place}.drops_per_dose"))
    return own


def _told_of_own(order: Order, rows: Iterable[Row], formulary: Formulary, issued_from: int) -> Iterator[Told]:
    """What of the long-standing drops is not given; a pause that is over is no longer told."""
    issued_on = date_of(order.surgery, issued_from)
    numbers = {(row.drug.id, row.side): row.number for row in rows if row.ends is Ends.LONG_STANDING}
    for drop in order.own_drops:
        if drop.decision == "continue" or (drop.pause_until is not None and drop.pause_until <= issued_on):
            continue
        for side in drop.sides:
            yield Told(drop.decision, formulary[drop.drug], side, drop.pause_until, numbers.get((drop.drug, side)))


def _told_of_changes(mine: Iterable[Row], left_out: Iterable[Row]) -> Iterator[Told]:
    for row in left_out:
        yield Told("changed", row.drug, row.side, None, row.number)
    for row in mine:
        if row.ends is Ends.CHANGED:
            yield Told("changed", row.drug, row.side, row.last, row.number)
