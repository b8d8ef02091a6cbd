"""The whole drop plan of one operation: rows of both eyes, days, sittings and bottles."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Literal

from consent.case import Case, Side
from consent.clinic import Clinic
from consent.drops.bottles import Supply, make_supplies
from consent.drops.courses import Dates
from consent.drops.formulary import read_formulary
from consent.drops.landmarks import Landmarks, landmarks_of
from consent.drops.limits import read_limits
from consent.drops.orders import Book, Order, Told, give
from consent.drops.regimens import Regimen, Start, find_regimen, read_regimens
from consent.drops.schedule import Day, Row, Span, date_of, make_days, make_spans
from consent.drops.spacing import Waking, minute_of
from consent.drops.times import DaySessions, evening_of, make_sessions


@dataclass(frozen=True)
class DropPlan:
    """What goes into the eyes and when. Day 0 is the day of surgery; counts are drops.

    ``issued_from`` is the first day this print is about: the day of surgery, an earlier one with drops before it, or
    the day of the latest change. ``pad_off`` is when the clinic takes the pad off, ``None`` where it has not said.
    """

    regimen: Regimen
    side: Side
    surgery: dt.date
    rows: tuple[Row, ...]
    days: tuple[Day, ...]
    sessions: tuple[DaySessions, ...]
    supplies: tuple[Supply, ...]
    pad_off: str | None
    landmarks: Landmarks = ()
    by_landmarks: bool = False
    times: Literal["even", "fewest sessions"] = "fewest sessions"
    told: tuple[Told, ...] = ()
    changed_on: tuple[dt.date, ...] = ()
    issued_from: int = 0

    @property
    def issued_on(self) -> dt.date:
        """The date of the first day this print is about."""
        return date_of(self.surgery, self.issued_from)

    @property
    def total(self) -> int:
        """Drops in all."""
        return sum(day.total for day in self.days)

    @property
    def total_from_day_1(self) -> int:
        """Drops from day 1 on: those before surgery and on its day left out."""
        return sum(day.total for day in self.days if day.number >= 1)

    @property
    def spans(self) -> tuple[Span, ...]:
        """Days drawn together where their counts are equal."""
        return make_spans(self.days)

    @property
    def is_drop_free(self) -> bool:
        """Whether nothing is dropped at home."""
        return not self.rows

    @property
    def both_eyes(self) -> bool:
        """Whether rows of this print go into both eyes."""
        return len({row.side for row in self.current}) > 1

    @property
    def current(self) -> tuple[Row, ...]:
        """Rows with a drop on or after the first day this print is about."""
        return tuple(row for row in self.rows if row.last_day >= self.issued_from)

    @property
    def last(self) -> dt.date | None:
        """Last date with a drop."""
        return self.days[-1].date if self.days else None

    @property
    def longest_minutes(self) -> int:
        """Length of the longest sitting this print is about, minutes."""
        sittings = [s.minutes for day in self.sessions if day.number >= self.issued_from for s in day.sessions]
        return max(sittings, default=0)

    def row(self, number: int) -> Row:
        """The row with ``number`` on its bottle; raises ``KeyError``."""
        for row in self.rows:
            if row.number == number:
                return row
        raise KeyError(number)


def plan_regimen(
    clinic: Clinic,
    regimen_id: str,
    side: Side,
    surgery: dt.date,
    waking_from: dt.time,
    waking_to: dt.time,
    start: Start | None = None,
    where: str = "regimen",
) -> DropPlan:
    """Return the plan of the regimen called ``regimen_id`` for an operation on ``side`` at ``surgery``.

    ``start`` overrides the regimen's own start. Raises ``DropsError``, at ``where`` if there is no such regimen.
    """
    return make_plan(Order(regimen_id, side, surgery, waking_from, waking_to, start, where), clinic)


def plan_drops(case: Case, clinic: Clinic, start: Start | None = None) -> DropPlan:
    """Return the drop plan of ``case``: its regimen or the clinic's own, with all that goes into the other eye.

    The eye is ``case.eye.side``. Raises ``DropsError`` for an unknown regimen or drug, naming the nearest id, and
    for doses that do not fit the patient's waking hours.
    """
    return make_plan(order_of(case, clinic, start), clinic)


def order_of(case: Case, clinic: Clinic, start: Start | None = None) -> Order:
    """Return what ``case`` orders: what was ordered after surgery, else the plan, else the clinic's own regimen."""
    patient, other = case.patient, case.other_eye
    own = case.regimen
    where = "done.regimen" if case.done and case.done.regimen else "plan.regimen"
    return Order(
        regimen=own or clinic.drops.regimen,
        where=where if own else "clinic settings: drops.regimen",
        side=case.eye.side,
        surgery=case.plan.date,
        waking_from=patient.waking_from,
        waking_to=patient.waking_to,
        start=start,
        other_eye=(other.regimen, other.operated_on) if other.regimen and other.operated_on else None,
        own_drops=case.own_drops,
        changes=case.drop_changes,
        by_landmarks=patient.tells_clock_time == "no",
    )


def make_plan(order: Order, clinic: Clinic) -> DropPlan:
    """Return the plan that follows from ``order`` at ``clinic``. Raises ``DropsError``."""
    limits, formulary = read_limits(), read_formulary(clinic)
    regimens = read_regimens(clinic, formulary)
    waking = Waking(order.waking_from, order.waking_to, limits.round_to_minutes.value)
    landmarks = landmarks_of(waking, clinic.day_marks)
    if order.by_landmarks:
        waking = replace(waking, marks=tuple(minute_of(clock) for _, clock in landmarks))
    evening = evening_of(waking, limits.evening_from_hour.value)
    book = Book(
        regimens=regimens,
        formulary=formulary,
        dates=Dates(order.surgery, waking),
        evening=evening,
        long_standing_days=clinic.drops.long_standing_days,
        longest_pause_days=limits.longest_pause_days.value,
        days_after_pause=limits.days_after_pause.value,
    )
    given = give(order, book)
    days = make_days(given.rows, order.surgery)
    return DropPlan(
        regimen=find_regimen(regimens, order.regimen, order.where),
        side=order.side,
        surgery=order.surgery,
        rows=given.rows,
        days=days,
        sessions=make_sessions(given.rows, days, order.surgery_days, waking, evening, clinic.drops),
        supplies=make_supplies(given.rows, clinic.drops),
        pad_off=clinic.aftercare.pad_off,
        landmarks=landmarks,
        by_landmarks=order.by_landmarks,
        times=clinic.drops.times,
        told=given.told,
        changed_on=tuple(change.on for change in order.changes),
        issued_from=given.issued_from,
    )
