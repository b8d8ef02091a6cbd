"""Drops ordered after surgery take the place of the planned ones, and of nothing else. Worked out by hand.

Common practice, no source: what the surgeon orders last is what is given.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case, Done, DropChange, OwnDrop, Side
from consent.clinic import Clinic
from consent.drops import DropPlan, plan_drops, propose
from consent.drops.plan import order_of
from consent.errors import DropsError
from tests.drops.checking import item

Change = Callable[..., Case]
SURGERY = dt.date(2027, 2, 24)

PLANNED = [item("moxifloxacin", (1, 7, 4)), item("loteprednol", (1, 7, 4), (8, 7, 2))]
ORDERED = [item("levofloxacin", (1, 10, 3))]
LATER = [item("nepafenac", (1, 5, 2))]


def operated(case: Case, change: Change, regimen: str | None, planned: str | None = "planned", **parts: Any) -> Case:
    """The ordinary case after surgery, with what was ordered then."""
    planning = change(case, plan={"regimen": planned})
    return planning.model_copy(update={"done": Done(regimen=regimen), "version": 3, **parts})


@pytest.fixture
def own(clinic: Clinic) -> Clinic:
    """The clinic with three regimens of its own, of which its usual one is "planned"."""
    tables: dict[str, Any] = {
        "planned": {"title": "planned", "items": PLANNED},
        "ordered": {"title": "ordered", "items": ORDERED},
        "later": {"title": "later", "items": LATER},
    }
    drops = clinic.drops.model_copy(update={"regimen": "planned"})
    return clinic.model_copy(update={"regimens": tables, "drops": drops})


def rows(plan: DropPlan) -> list[tuple[int, str, int, int, int]]:
    """Number, drug, first and last day, drops of each row."""
    return [(r.number, r.drug.id, r.first_day, r.last_day, r.total) for r in plan.rows]


AS_PLANNED = [(1, "moxifloxacin", 1, 7, 28), (2, "loteprednol", 1, 14, 42)]  # 4 x 7; 4 x 7 + 2 x 7
AS_ORDERED = [(1, "levofloxacin", 1, 10, 30)]  # 3 x 10


def test_what_was_ordered_after_surgery_is_given_and_nothing_of_the_plan(
    ordinary: Case, own: Clinic, change: Change
) -> None:
    plan = plan_drops(operated(ordinary, change, "ordered"), own)
    assert rows(plan) == AS_ORDERED
    assert plan.regimen.id == "ordered"


@pytest.mark.parametrize("planned", ["planned", None])
def test_where_nothing_else_was_ordered_the_plan_stands(
    planned: str | None, ordinary: Case, own: Clinic, change: Change
) -> None:
    """Without a regimen in the plan either, the clinic's own."""
    assert rows(plan_drops(operated(ordinary, change, None, planned), own)) == AS_PLANNED


def test_it_needs_no_planned_regimen(ordinary: Case, own: Clinic, change: Change) -> None:
    assert rows(plan_drops(operated(ordinary, change, "ordered", None), own)) == AS_ORDERED


def test_a_later_change_follows_what_was_ordered_after_surgery(ordinary: Case, own: Clinic, change: Change) -> None:
    """Changed on day 4: three days of what was ordered after surgery, 3 x 3, then 2 x 5 from day 4."""
    later = DropChange(on=SURGERY + dt.timedelta(days=4), regimen="later", by="Dr A", why="more cells")
    plan = plan_drops(operated(ordinary, change, "ordered", drop_changes=(later,)), own)
    assert rows(plan) == [(1, "levofloxacin", 1, 3, 9), (2, "nepafenac", 4, 8, 10)]


def test_the_other_eye_and_long_standing_drops_go_on(ordinary: Case, own: Clinic, change: Change) -> None:
    """Fellow eye operated 4 days before on the regimen "planned": its days 1 to 7 are -3 to 3, 1 to 14 are -3 to 10."""
    fellow = ordinary.other_eye.model_copy(
        update={"operated": "yes", "operated_on": SURGERY - dt.timedelta(days=4), "regimen": "planned"}
    )
    drop = OwnDrop(drug="timolol", eyes=Side.RIGHT, times_a_day=2, decision="continue")
    plan = plan_drops(operated(ordinary, change, "ordered", other_eye=fellow, own_drops=(drop,)), own)
    assert [(r.drug.id, r.side.value, r.first_day, r.last_day) for r in plan.rows] == [
        ("moxifloxacin", "right", -3, 3),
        ("loteprednol", "right", -3, 10),
        ("timolol", "right", -3, 42),
        ("levofloxacin", "left", 1, 10),
    ]


def test_an_error_names_the_key_that_holds_it(ordinary: Case, own: Clinic, change: Change) -> None:
    with pytest.raises(DropsError, match=r"done\.regimen") as error:
        plan_drops(operated(ordinary, change, "orderd"), own)
    assert "plan.regimen" not in str(error.value)
    with pytest.raises(DropsError, match=r"plan\.regimen"):
        plan_drops(operated(ordinary, change, None, "plannd"), own)


def test_everything_but_the_regimen_is_ordered_as_before_surgery(ordinary: Case, own: Clinic, change: Change) -> None:
    before = order_of(change(ordinary, plan={"regimen": "planned"}), own)
    after = order_of(operated(ordinary, change, "ordered"), own)
    assert (after.side, after.surgery, after.other_eye, after.own_drops, after.changes) == (
        before.side,
        before.surgery,
        before.other_eye,
        before.own_drops,
        before.changes,
    )


def test_what_was_ordered_after_surgery_does_not_stand_in_for_every_regimen_put_forward(
    ordinary: Case, own: Clinic, change: Change
) -> None:
    """Each regimen is looked at as if it were given: an NSAID after lost vitreous is an NSAID, whatever was ordered."""
    clinic = own.model_copy(
        update={"regimens": {**own.regimens, "nsaid": {"title": "nsaid", "items": [item("nepafenac", (1, 28, 3))]}}}
    )
    done = Done.model_validate({"vitreous_lost": "yes", "regimen": None}, strict=False)
    unordered = operated(ordinary, change, None, done=done)
    ordered = unordered.model_copy(update={"done": done.model_copy(update={"regimen": "ordered"})})

    def against(case: Case) -> list[str]:
        (nsaid,) = [one for one in propose(case, clinic).candidates if one.regimen.id == "nsaid"]
        return [finding.id for finding in nsaid.against]

    assert "nsaid-complicated-surgery" in against(unordered)
    assert against(ordered) == against(unordered)
