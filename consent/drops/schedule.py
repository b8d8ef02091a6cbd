"""Rows with first and last dates, and the counts of every day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from consent.case import Side
from consent.drops.formulary import Drug, DrugClass
from consent.drops.regimens import Ends


@dataclass(frozen=True)
class Phase:
    """Days in a row at one frequency. ``evening_only``: the evening of surgery, before the course proper."""

    first_day: int
    last_day: int
    first: dt.date
    last: dt.date
    times_a_day: int
    drops_per_dose: int = 1
    evening_only: bool = False
    at_bedtime: bool = False

    @property
    def days(self) -> int:
        """How many days."""
        return self.last_day - self.first_day + 1

    @property
    def drops_a_day(self) -> int:
        """Drops a day into this eye."""
        return self.times_a_day * self.drops_per_dose

    @property
    def drops(self) -> int:
        """Drops in all into this eye."""
        return self.drops_a_day * self.days

    def holds(self, day: int) -> bool:
        """Whether ``day`` (day 0 is the day of surgery) belongs to the phase."""
        return self.first_day <= day <= self.last_day


@dataclass(frozen=True)
class Row:
    """One numbered line of the calendar: one drug into one eye. Days are counted from the operation at hand.

    ``day_0`` is the day 0 of the course the row was ordered in, on which ``drops_before_surgery`` are given.
    """

    number: int
    drug: Drug
    side: Side
    phases: tuple[Phase, ...]
    ends: Ends
    surgery: dt.date
    drops_before_surgery: int = 0
    day_0: int = 0
    reason: str | None = None

    @property
    def first_day(self) -> int:
        """First day with a drop, day 0 the day of surgery."""
        return min(self._edges())

    @property
    def last_day(self) -> int:
        """Last day with a drop; where ``ends`` is "until review", the day of that review."""
        return max(self._edges())

    def _edges(self) -> Iterator[int]:
        for phase in self.phases:
            yield from (phase.first_day, phase.last_day)
        if self.drops_before_surgery:
            yield self.day_0

    @property
    def first(self) -> dt.date:
        """First date with a drop."""
        return date_of(self.surgery, self.first_day)

    @property
    def last(self) -> dt.date:
        """Last date with a drop; where ``ends`` is "until review", the date of that review."""
        return date_of(self.surgery, self.last_day)

    @property
    def total(self) -> int:
        """Drops in all, those before surgery counted in."""
        return sum(phase.drops for phase in self.phases) + self.drops_before_surgery

    def phase_on(self, day: int) -> Phase | None:
        """The phase ``day`` belongs to, if any."""
        return next((phase for phase in self.phases if phase.holds(day)), None)

    def times_on(self, day: int) -> int:
        """How many times on ``day``, drops before surgery left out."""
        phase = self.phase_on(day)
        return phase.times_a_day if phase else 0

    def drops_on(self, day: int) -> int:
        """Drops on ``day``, those before surgery counted in."""
        phase = self.phase_on(day)
        return (phase.drops_a_day if phase else 0) + (self.drops_before_surgery if day == self.day_0 else 0)

    def days(self) -> Iterator[int]:
        """The days with at least one drop, in order."""
        return (day for day in range(self.first_day, self.last_day + 1) if self.drops_on(day))

    def has(self, *classes: DrugClass) -> bool:
        """Whether a component belongs to one of ``classes``."""
        return not self.drug.classes.isdisjoint(classes)


@dataclass(frozen=True)
class Day:
    """One day: drops of each row, in row order; 0 where a row is silent."""

    number: int
    date: dt.date
    counts: tuple[int, ...]

    @property
    def total(self) -> int:
        """Drops of all rows."""
        return sum(self.counts)


@dataclass(frozen=True)
class Span:
    """Days in a row with the same counts: one line of a printed table."""

    first: Day
    last: Day

    @property
    def counts(self) -> tuple[int, ...]:
        """Drops of each row on each of these days."""
        return self.first.counts

    @property
    def total(self) -> int:
        """Drops of all rows on each of these days."""
        return self.first.total


def date_of(surgery: dt.date, day: int) -> dt.date:
    """The date of ``day``: the date of surgery plus so many calendar days."""
    return surgery + dt.timedelta(days=day)


def make_days(rows: Iterable[Row], surgery: dt.date) -> tuple[Day, ...]:
    """Return every day from the first drop to the last, none left out; empty for a plan without drops."""
    rows = tuple(rows)
    if not rows:
        return ()
    first, last = min(row.first_day for row in rows), max(row.last_day for row in rows)
    return tuple(
        Day(day, date_of(surgery, day), tuple(row.drops_on(day) for row in rows)) for day in range(first, last + 1)
    )


def make_spans(days: Iterable[Day]) -> tuple[Span, ...]:
    """Return ``days`` with equal neighbours drawn together."""
    spans: list[Span] = []
    for day in days:
        if spans and spans[-1].counts == day.counts:
            spans[-1] = Span(spans[-1].first, day)
        else:
            spans.append(Span(day, day))
    return tuple(spans)
