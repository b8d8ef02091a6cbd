"""The whole drop plan of one operation: rows, days, sittings and bottles."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from consent.case import Case, Side
from consent.clinic import Clinic
from consent.drops.bottles import Supply, make_supplies
from consent.drops.formulary import read_formulary
from consent.drops.limits import read_limits
from consent.drops.regimens import Regimen, Start, find_regimen, read_regimens
from consent.drops.schedule import Day, Row, Span, make_days, make_rows, make_spans, starts_in_the_evening
from consent.drops.spacing import Waking
from consent.drops.times import DaySessions, evening_of, make_sessions


@dataclass(frozen=True)
class DropPlan:
    """What goes into the eye and when. Day 0 is the day of surgery; counts are drops.

    ``pad_off`` is when the clinic takes the pad off, ``None`` where it has not said.
    """

    regimen: Regimen
    side: Side
    surgery: dt.date
    rows: tuple[Row, ...]
    days: tuple[Day, ...]
    sessions: tuple[DaySessions, ...]
    supplies: tuple[Supply, ...]
    pad_off: str | None

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
    def last(self) -> dt.date | None:
        """Last date with a drop."""
        return self.days[-1].date if self.days else None

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
    limits, formulary = read_limits(), read_formulary(clinic)
    regimen = find_regimen(read_regimens(clinic, formulary), regimen_id, where)
    waking = Waking(waking_from, waking_to, limits.round_to_minutes.value)
    evening = evening_of(waking, limits.evening_from_hour.value)
    in_evening = starts_in_the_evening(regimen, start)
    rows = make_rows(regimen, formulary, side, surgery, waking, evening if in_evening else None)
    days = make_days(rows, surgery)
    return DropPlan(
        regimen=regimen,
        side=side,
        surgery=surgery,
        rows=rows,
        days=days,
        sessions=make_sessions(rows, days, waking, evening, clinic.drops),
        supplies=make_supplies(rows, clinic.drops),
        pad_off=clinic.aftercare.pad_off,
    )


def plan_drops(case: Case, clinic: Clinic, start: Start | None = None) -> DropPlan:
    """Return the drop plan of ``case``: its own regimen, else the clinic's, or the clinic's for a hard nucleus.

    The eye is ``case.eye.side``. Raises ``DropsError`` for an unknown regimen or drug, naming the nearest id, and
    for doses that do not fit the patient's waking hours.
    """
    regimen_id, where = _regimen_id(case, clinic)
    patient = case.patient
    return plan_regimen(
        clinic, regimen_id, case.eye.side, case.plan.date, patient.waking_from, patient.waking_to, start, where
    )


def _regimen_id(case: Case, clinic: Clinic) -> tuple[str, str]:
    if case.plan.regimen is not None:
        return case.plan.regimen, "plan.regimen"
    return clinic.drops.regimen, "clinic settings: drops.regimen"
