"""A regimen, an eye and a date become rows; courses of both eyes, long-standing drops and changes become one list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from consent.case import OwnDrop, Side
from consent.drops.formulary import Formulary
from consent.drops.regimens import Ends, Item, Regimen, Step
from consent.drops.schedule import Phase, Row, date_of
from consent.drops.spacing import Waking, minute_of, own_times


@dataclass(frozen=True)
class Course:
    """A regimen for an operation on ``side``, its day 0 on ``day_0`` counted from the operation at hand.

    ``evening``: the hours left on its own day of surgery where drops start then, else ``None``.
    ``from_day``: its own day before which nothing is given, for a course begun after the operation.
    """

    regimen: Regimen
    side: Side
    day_0: int = 0
    evening: Waking | None = None
    from_day: int | None = None


@dataclass(frozen=True)
class Dates:
    """What days and dates are counted from: the date of the operation at hand, and the patient's waking hours."""

    surgery: dt.date
    waking: Waking

    def phase(self, dose: Step | OwnDrop, first_day: int, last_day: int) -> Phase:
        """The phase in which ``dose`` is given on the days from ``first_day`` to ``last_day``."""
        return Phase(
            first_day=first_day,
            last_day=last_day,
            first=date_of(self.surgery, first_day),
            last=date_of(self.surgery, last_day),
            times_a_day=dose.times_a_day,
            drops_per_dose=dose.drops_per_dose,
            at_bedtime=dose.at_bedtime,
        )

    def cut(self, phase: Phase, first_day: int, last_day: int) -> Phase:
        """``phase`` without the days outside ``first_day`` to ``last_day``."""
        first, last = max(phase.first_day, first_day), min(phase.last_day, last_day)
        return replace(
            phase,
            first_day=first,
            last_day=last,
            first=date_of(self.surgery, first),
            last=date_of(self.surgery, last),
        )


def course_rows(course: Course, formulary: Formulary, dates: Dates) -> tuple[Row, ...]:
    """Return the rows of ``course`` in the regimen's order, not yet numbered.

    "each eye" makes two rows, the course's own eye first. With ``course.evening`` given, rows of that eye that start
    on its day 1 also get, on its day 0, as many doses as an ordinary day has from that hour on; the course from day 1
    keeps its dates.
    """
    placed = [(item, eye) for item in course.regimen.items for eye in _sides(item, course.side)]
    rows = (
        Row(
            number=0,
            drug=formulary[item.drug],
            side=eye,
            phases=tuple(_phases(item, eye, course, dates)),
            ends=Ends(item.ends or Ends.COURSE_END),
            surgery=dates.surgery,
            drops_before_surgery=item.drops_before_surgery if course.from_day is None else 0,
            day_0=course.day_0,
            reason=item.reason,
        )
        for item, eye in placed
    )
    return tuple(row for row in rows if row.phases or row.drops_before_surgery)


def own_rows(
    own: Iterable[OwnDrop], formulary: Formulary, dates: Dates, first_day: int, last_day: int
) -> tuple[Row, ...]:
    """Return a row for each long-standing drop and eye, from ``first_day`` or the end of its pause, to ``last_day``.

    Drops that are stopped, undecided, or paused beyond ``last_day`` have a row without phases: their number is kept
    for them, so that another decision changes no number.
    """
    return tuple(
        Row(
            0,
            formulary[drop.drug],
            side,
            tuple(_own_phase(drop, dates, first_day, last_day)),
            _OWN,
            dates.surgery,
        )
        for drop in own
        for side in drop.sides
    )


_OWN = Ends.LONG_STANDING


def _own_phase(drop: OwnDrop, dates: Dates, first_day: int, last_day: int) -> Iterator[Phase]:
    pause_over = first_day if drop.pause_until is None else (drop.pause_until - dates.surgery).days
    first = max(first_day, pause_over)
    if drop.decision in ("continue", "pause") and first <= last_day:
        yield dates.phase(drop, first, last_day)


def number(rows: Iterable[Row], start: int = 1) -> tuple[Row, ...]:
    """Return ``rows`` numbered from ``start``: the numbers on the bottles."""
    return tuple(replace(row, number=place) for place, row in enumerate(rows, start=start))


def changed_from(day: int, rows: Sequence[Row], new: Iterable[Row], dates: Dates, next_number: int) -> tuple[Row, ...]:
    """Return ``rows`` ended the day before ``day``, followed by the ``new`` ones; days before ``day`` are unchanged.

    A drug that goes on in the same eye keeps its row and its number; other new rows are numbered from
    ``next_number``. Rows that had not begun are left out, and their numbers stay free. Rows that had ended keep
    their end.
    """
    ended = {row.number: _ended(row, day, dates) for row in rows}
    more: list[Row] = []
    for row in new:
        same = next((old for old in rows if (old.drug.id, old.side) == (row.drug.id, row.side)), None)
        if same is None:
            more.append(row)
            continue
        before = ended[same.number]
        phases = (*(before.phases if before else ()), *row.phases)
        ended[same.number] = replace(before or same, phases=phases, ends=row.ends, reason=row.reason)
    kept = [row for row in ended.values() if row is not None]
    return (*kept, *number(more, next_number))


def _ended(row: Row, day: int, dates: Dates) -> Row | None:
    if row.last_day < day:
        return row
    phases = tuple(dates.cut(phase, phase.first_day, day - 1) for phase in row.phases if phase.first_day < day)
    has_begun = bool(phases) or (row.drops_before_surgery > 0 and row.day_0 < day)
    return replace(row, phases=phases, ends=Ends.CHANGED) if has_begun else None


def _sides(item: Item, operated: Side) -> tuple[Side, ...]:
    return {"operated": (operated,), "other": (operated.other,), "each": (operated, operated.other)}[item.eyes]


def _phases(item: Item, eye: Side, course: Course, dates: Dates) -> Iterator[Phase]:
    first = item.steps[0]
    if course.evening is not None and eye is course.side and first.from_day == 1:
        yield from _evening(first, course, course.evening, dates)
    for step in item.steps:
        phase = dates.phase(step, step.from_day + course.day_0, step.last_day + course.day_0)
        if course.from_day is None:
            yield phase
        elif step.last_day >= course.from_day:
            yield dates.cut(phase, course.from_day + course.day_0, phase.last_day)


def _evening(step: Step, course: Course, evening: Waking, dates: Dates) -> Iterator[Phase]:
    clocks = own_times(step.times_a_day, dates.waking, step.at_bedtime)
    times = sum(minute_of(clock) >= evening.first_minute for clock in clocks)
    if times:
        day, date = course.day_0, date_of(dates.surgery, course.day_0)
        yield Phase(day, day, date, date, times, step.drops_per_dose, evening_only=True, at_bedtime=step.at_bedtime)
