"""Clock times: what does not fit is refused, what is long is measured, two eyes do not wait for each other."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case
from consent.clinic import Clinic, DropSettings
from consent.drops import DropPlan, plan_drops
from consent.errors import DropsError

Change = Callable[..., Case]


def plan(clinic: Clinic, case: Case, change: Change, *drugs: tuple[str, int, str], **drops: Any) -> DropPlan:
    items = [
        {
            "drug": drug,
            "eyes": eyes,
            "ends": "until review",
            "steps": [{"from_day": 1, "days": 3, "times_a_day": times}],
            "source": "invented",
            "verified": "memory",
        }
        for drug, times, eyes in drugs
    ]
    own = {"regimens": {"own": {"title": "own", "items": items}}, "drops": DropSettings(**drops)}
    return plan_drops(change(case, plan={"regimen": "own"}), clinic.model_copy(update=own))


def test_ointment_last_and_ten_minutes_after(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Solution, 5 minutes, suspension, 10 minutes, ointment."""
    made = plan(
        clinic,
        ordinary,
        change,
        ("chloramphenicol-ointment", 1, "operated"),
        ("nepafenac", 1, "operated"),
        ("timolol", 1, "operated"),
    )
    assert made.sessions[0].sessions[0].drops == ((3, 0), (2, 5), (1, 15))


def test_eyes_are_counted_apart(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """One drop into each eye can follow at once."""
    made = plan(clinic, ordinary, change, ("timolol", 2, "each"))
    assert made.sessions[0].sessions[0].drops == ((1, 0), (2, 0))


def test_too_many_for_the_hours(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Sixteen times a day between 07:00 and 10:00."""
    short = change(ordinary, patient={"waking_to": "10:00:00"})
    with pytest.raises(DropsError, match="16 times a day does not fit between 07:00-10:00"):
        plan(clinic, short, change, ("timolol", 16, "operated"))


def test_sittings_run_into_each_other(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Three drugs 30 minutes apart take an hour; eight such sittings in eight hours leave no gap."""
    short = change(ordinary, patient={"waking_to": "15:00:00"})
    drugs = [(drug, 8, "operated") for drug in ("timolol", "nepafenac", "loteprednol")]
    with pytest.raises(DropsError, match="lasts until the one at"):
        plan(clinic, short, change, *drugs, gap_minutes=30)


def test_nothing_after_midnight(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Bed at 23:59 is rounded to 23:45; the fourth drop would fall on midnight."""
    late = change(ordinary, patient={"waking_to": "23:59:00"})
    drugs = [(drug, 2, "operated") for drug in ("timolol", "nepafenac", "loteprednol", "homatropine")]
    with pytest.raises(DropsError, match="beyond midnight"):
        plan(clinic, late, change, *drugs)
    assert plan(clinic, late, change, *drugs[:3]).sessions[0].sessions[-1].minutes == 10


def test_day_of_surgery_has_no_clock_time(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Drops of day 0 that belong to a longer course are told without a time."""
    items = [
        {
            "drug": "nepafenac",
            "steps": [{"from_day": -1, "days": 5, "times_a_day": 3}],
            "drops_before_surgery": 1,
            "source": "invented",
            "verified": "memory",
        }
    ]
    own = {"regimens": {"own": {"title": "own", "items": items}}}
    made = plan_drops(change(ordinary, plan={"regimen": "own"}), clinic.model_copy(update=own))
    before, surgery, after = made.sessions[:3]
    assert (len(before.sessions), before.untimed) == (3, ())
    assert (surgery.sessions, surgery.untimed) == ((), ((1, 4),))
    assert (len(after.sessions), after.untimed) == (3, ())
