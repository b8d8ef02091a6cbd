"""Rows and days: the evening of surgery, both eyes, drop-free."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest

from consent.case import Case
from consent.clinic import Clinic
from consent.drops import Start, plan_drops

Change = Callable[..., Case]


def test_evening_of_surgery(clinic: Clinic, ordinary: Case) -> None:
    """From 18:00 an ordinary day of 4 doses (07:00, 12:00, 17:00, 22:00) has one; the course keeps its dates."""
    plain, evening = plan_drops(ordinary, clinic), plan_drops(ordinary, clinic, Start.EVENING)
    assert evening.total == plain.total + 2
    assert (evening.days[0].number, evening.days[0].counts) == (0, (1, 1))
    assert evening.days[0].date == ordinary.plan.date
    assert evening.days[1:] == plain.days
    assert [row.last for row in evening.rows] == [row.last for row in plain.rows]
    assert [(s.at, s.drops) for s in evening.sessions[0].sessions] == [(dt.time(18), ((1, 0), (2, 5)))]
    # opened on day 0 the steroid may be used to day 27: day 28 needs another bottle
    assert [opening.day for opening in evening.supplies[1].openings] == [0, 28]


def test_evening_of_an_eight_times_drug(clinic: Clinic, hard: Case) -> None:
    """Of 8 doses two lie from 18:00 on (19:45, 22:00); twice a day leaves one (22:00)."""
    evening = plan_drops(hard, clinic, Start.EVENING)
    assert evening.days[0].counts == (1, 2, 1, 1)
    assert [s.at for s in evening.sessions[0].sessions] == [dt.time(18), dt.time(22)]


def test_early_bed_leaves_no_evening(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """In bed at 17:30 there is no dose from 18:00 on."""
    early = change(ordinary, patient={"waking_from": "05:00:00", "waking_to": "17:30:00"})
    assert plan_drops(early, clinic, Start.EVENING).days[0].number == 1


def test_regimen_may_start_in_the_evening(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """The regimen's own start is used, and an explicit start wins over it."""
    item = {
        "drug": "loteprednol",
        "steps": [{"from_day": 1, "days": 7, "times_a_day": 4}],
        "source": "invented",
        "verified": "memory",
    }
    own = {"own": {"title": "own", "start": "evening of surgery", "items": [item]}}
    clinic = clinic.model_copy(update={"regimens": own})
    case = change(ordinary, plan={"regimen": "own"})
    assert plan_drops(case, clinic).days[0].number == 0
    assert plan_drops(case, clinic, Start.DAY_1).days[0].number == 1


def test_drop_free(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """No rows, no days, no bottles; the plan still has its date and eye."""
    plan = plan_drops(change(ordinary, plan={"regimen": "drop-free"}), clinic)
    assert plan.is_drop_free
    assert (plan.rows, plan.days, plan.sessions, plan.supplies, plan.total, plan.last) == ((), (), (), (), 0, None)
    assert plan.surgery == ordinary.plan.date


def test_row_by_number(clinic: Clinic, ordinary: Case) -> None:
    """Rows are numbered from 1, as on the bottles."""
    plan = plan_drops(ordinary, clinic)
    assert [row.number for row in plan.rows] == [1, 2]
    assert plan.row(2).drug.id == "prednisolone-acetate"
    with pytest.raises(KeyError):
        plan.row(3)
    assert plan.last == dt.date(2027, 3, 24)
