"""The regimens: what is shipped, and what is refused (file and key named)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case
from consent.clinic import Clinic
from consent.drops import DropPlan, Ends, plan_drops, read_formulary, read_regimens
from consent.drops.regimens import Start
from consent.errors import DropsError

Change = Callable[..., Case]


def item(**changed: Any) -> dict[str, Any]:
    steps = [{"from_day": 1, "days": 7, "times_a_day": 4}, {"from_day": 8, "days": 7, "times_a_day": 2}]
    return {"drug": "loteprednol", "steps": steps, "source": "invented", "verified": "memory", **changed}


def refused(clinic: Clinic, regimen: dict[str, Any]) -> str:
    own = clinic.model_copy(update={"regimens": {"own": {"title": "own", **regimen}}})
    with pytest.raises(DropsError) as caught:
        read_regimens(own, read_formulary(own))
    return str(caught.value)


def steps(*rows: tuple[int, int, int]) -> dict[str, Any]:
    return {"items": [item(steps=[{"from_day": a, "days": b, "times_a_day": c} for a, b, c in rows])]}


def test_shipped_regimens(clinic: Clinic) -> None:
    """The house regimens by id, each with its source."""
    regimens = read_regimens(clinic, read_formulary(clinic))
    assert set(regimens) == {"weekly-4-3-2-1", "weekly-6-5-4-3-2-1", "two-hourly-start", "drop-free"}
    assert all(item.source for regimen in regimens.values() for item in regimen.items)
    assert all(regimen.start is Start.DAY_1 for regimen in regimens.values())


@pytest.mark.parametrize(
    ("regimen", "key", "message"),
    [
        (steps((1, 7, 4), (9, 7, 2)), "items.0.steps.1.from_day", "must start on day 8"),
        (steps((1, 7, 4), (7, 7, 2)), "items.0.steps.1.from_day", "must start on day 8"),
        (steps((1, 7, 2), (8, 7, 4)), "items.0.steps.1.times_a_day", "never rises"),
        (steps((1, 0, 2)), "items.0.steps.0.days", "greater than or equal to 1"),
        (steps((1, 7, 0)), "items.0.steps.0.times_a_day", "times a day"),
        ({"items": [item(drug="lotepredno")]}, "items.0.drug", 'did you mean "loteprednol"?'),
        ({"items": [item(), item()]}, "items.1.drug", "stands twice for the same eye"),
        ({"items": [item(), item(eyes="each")]}, "items.1.drug", "stands twice for the same eye"),
        ({"items": [item(drug="timolol")]}, "items.0.ends", "say how it ends"),
        ({"items": []}, "items", "drop_free = true goes with no items"),
        ({"items": [item()], "drop_free": True}, "items", "drop_free = true goes with no items"),
        ({"drop_free": True}, "source", "needs its own source"),
        ({"items": [item(steps=[])]}, "items.0.steps", "at least one step"),
        ({"items": [item(colour="red")]}, "items.0.colour", "not known"),
        ({"items": [item()], "colour": "red"}, "colour", "not known"),
        ({"items": [{key: value for key, value in item().items() if key != "source"}]}, "items.0.source", "is needed"),
        ({"items": [item(eyes="both")]}, "items.0.eyes", "not one of the answers"),
        ({"items": [item()], "id": "x"}, "id", "name of the table"),
    ],
)
def test_refusals_name_file_and_key(clinic: Clinic, regimen: dict[str, Any], key: str, message: str) -> None:
    """Gaps, overlaps, rises, unknown drugs, doubles and stray keys."""
    text = refused(clinic, regimen)
    assert f"clinic settings: regimens.own: {key}" in text
    assert message in text


def test_ointment_is_applied_once(clinic: Clinic) -> None:
    """Two strips at one time are one too many."""
    twice = [{"from_day": 1, "days": 7, "times_a_day": 1, "drops_per_dose": 2}]
    assert "applied once" in refused(clinic, {"items": [item(drug="chloramphenicol-ointment", steps=twice)]})


def test_clinic_replaces_a_shipped_regimen(clinic: Clinic, ordinary: Case) -> None:
    """The clinic's own of the same id is used whole."""
    own = {"weekly-4-3-2-1": {"title": "ours", "items": [item()]}}
    plan = plan_drops(ordinary, clinic.model_copy(update={"regimens": own}))
    assert [row.drug.id for row in plan.rows] == ["loteprednol"]
    assert plan.total == 42  # 4 x 7 + 2 x 7


def regimen_of(plan: DropPlan) -> str:
    return plan.regimen.id


def test_choice_of_the_regimen(clinic: Clinic, ordinary: Case, hard: Case, change: Change) -> None:
    """The case's own; else the clinic's for a hard or brunescent nucleus; else the clinic's."""
    assert regimen_of(plan_drops(change(ordinary, plan={"regimen": "drop-free"}), clinic)) == "drop-free"
    assert regimen_of(plan_drops(change(ordinary, plan={"regimen": None}), clinic)) == "weekly-4-3-2-1"
    assert regimen_of(plan_drops(change(hard, plan={"regimen": None}), clinic)) == "two-hourly-start"
    just_hard = change(ordinary, plan={"regimen": None}, eye={"nucleus": {"grade": "hard"}})
    assert regimen_of(plan_drops(just_hard, clinic)) == "two-hourly-start"


def test_unknown_regimen_names_the_nearest(clinic: Clinic, ordinary: Case, hard: Case, change: Change) -> None:
    """An id that is not there: where it was written, and the nearest one."""
    with pytest.raises(DropsError, match=r'plan\.regimen: no regimen is called "weekly-4321"') as caught:
        plan_drops(change(ordinary, plan={"regimen": "weekly-4321"}), clinic)
    assert 'did you mean "weekly-4-3-2-1"?' in str(caught.value)
    lost = clinic.model_copy(update={"drops": clinic.drops.model_copy(update={"regimen_hard_nucleus": "zzz"})})
    with pytest.raises(DropsError, match=r"drops\.regimen_hard_nucleus") as caught:
        plan_drops(change(hard, plan={"regimen": None}), lost)
    assert "known are: drop-free" in str(caught.value)


def test_ends(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """A course ends by itself unless the regimen says otherwise."""
    own = {"own": {"title": "own", "items": [item(), item(drug="timolol", eyes="other", ends="until review")]}}
    plan = plan_drops(change(ordinary, plan={"regimen": "own"}), clinic.model_copy(update={"regimens": own}))
    assert [row.ends for row in plan.rows] == [Ends.COURSE_END, Ends.UNTIL_REVIEW]
    assert [row.side.value for row in plan.rows] == ["left", "right"]
