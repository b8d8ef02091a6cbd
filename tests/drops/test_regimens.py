"""The regimens: what is shipped, and what is refused (file and key named)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case, Side
from consent.clinic import Clinic
from consent.drops import DropPlan, Ends, check_drops, plan_drops, plan_regimen, read_formulary, read_regimens
from consent.drops.regimens import Regimens, Start
from consent.drops.situations import Situation
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


GROUND = {"source": "invented", "verified": "memory"}


def marked(from_day: int, times: int, **marks: bool) -> dict[str, Any]:
    """Four times a day on days 1 to 7, then ``times`` a day from ``from_day`` with ``marks``."""
    before = {"from_day": 1, "days": 7, "times_a_day": 4}
    return {"items": [item(steps=[before, {"from_day": from_day, "days": 7, "times_a_day": times, **marks}])]}


def first(**marks: bool) -> dict[str, Any]:
    return {"items": [item(steps=[{"from_day": 1, "days": 7, "times_a_day": 4, **marks}])]}


def steps(*rows: tuple[int, int, int]) -> dict[str, Any]:
    return {"items": [item(steps=[{"from_day": a, "days": b, "times_a_day": c} for a, b, c in rows])]}


def shipped(clinic: Clinic) -> Regimens:
    return read_regimens(clinic, read_formulary(clinic))


def test_shipped_regimens(clinic: Clinic) -> None:
    """Each drug has its source, and every regimen made for a situation says on what ground."""
    regimens = shipped(clinic)
    assert {"weekly-4-3-2-1", "weekly-6-5-4-3-2-1", "two-hourly-start", "drop-free"} <= set(regimens)
    assert all(item.source for regimen in regimens.values() for item in regimen.items)
    assert all(regimen.start is Start.DAY_1 for regimen in regimens.values())
    assert {situation for regimen in regimens.values() for situation in regimen.suits} == set(Situation)


Runs = list[tuple[int, int, int]]
"""First day, last day, drops a day."""


def runs(clinic: Clinic, regimen: str, drug: str) -> Runs:
    """The days of ``drug`` as the calendar counts them, equal neighbours drawn together."""
    plan = plan_regimen(clinic, regimen, Side.RIGHT, dt.date(2027, 6, 1), dt.time(7), dt.time(22))
    row = next(row for row in plan.rows if row.drug.id == drug)
    found: Runs = []
    for day in range(row.first_day, row.last_day + 1):
        if found and found[-1][2] == row.drops_on(day):
            found[-1] = (found[-1][0], day, found[-1][2])
        else:
            found.append((day, day, row.drops_on(day)))
    return found


@pytest.mark.parametrize(
    ("regimen", "drug", "published"),
    [
        # Wielders et al, J Cataract Refract Surg 2018;44:429-439: "4 times daily with 1 drop less per day every
        # following week"
        ("dexamethasone-4-3-2-1", "dexamethasone-phosphate", [(1, 7, 4), (8, 14, 3), (15, 21, 2), (22, 28, 1)]),
        ("diabetes-nsaid", "dexamethasone-phosphate", [(1, 7, 4), (8, 14, 3), (15, 21, 2), (22, 28, 1)]),
        # the same trial: bromfenac twice a day for 2 weeks; reply of its authors: from 2 days before surgery
        ("dexamethasone-bromfenac", "bromfenac", [(-2, 14, 2)]),
        # Bandello et al, Eye 2020, DOI 10.1038/s41433-020-0869-1: both arms four times a day
        ("two-weeks-flat", "levofloxacin-dexamethasone", [(1, 7, 4)]),
        ("two-weeks-flat", "dexamethasone-phosphate", [(8, 14, 4)]),
        ("tobramycin-dexamethasone", "tobramycin-dexamethasone", [(1, 14, 4)]),
        # practice in Chang et al, J Cataract Refract Surg 2011;37:675-681: 3 times a day 2 weeks, then twice 2-3 weeks
        ("prednisolone-3-3-2-2", "prednisolone-acetate", [(1, 14, 3), (15, 28, 2)]),
        # US label of difluprednate 0.05%: 4 times a day 2 weeks, twice a day 1 week
        ("difluprednate-4-2", "difluprednate", [(1, 14, 4), (15, 21, 2)]),
        # EU SmPC of nepafenac 1 mg/mL: 3 times a day from the day before, one more drop before surgery; in diabetics
        # up to 60 days. US label: through the first 2 weeks
        ("diabetes-nsaid", "nepafenac", [(-1, -1, 3), (0, 0, 4), (1, 14, 3)]),
        ("diabetes-nsaid-60-days", "nepafenac", [(-1, -1, 3), (0, 0, 4), (1, 60, 3)]),
        # US label of moxifloxacin 0.5%: 3 times a day for 7 days
        ("diabetes-nsaid", "moxifloxacin", [(1, 7, 3)]),
        # Korean J Ophthalmol 2021;35:188-197: nepafenac 4 times a day 4 weeks, moxifloxacin 4 times a day 2 weeks
        ("nsaid-no-steroid", "nepafenac", [(1, 28, 4)]),
        ("nsaid-no-steroid", "moxifloxacin", [(1, 14, 4)]),
        # Malaysian product data of loteprednol 0.5%: 4 times a day, not beyond 2 weeks
        ("loteprednol-two-weeks", "loteprednol", [(1, 14, 4)]),
    ],
)
def test_days_as_published(clinic: Clinic, regimen: str, drug: str, published: Runs) -> None:
    """The calendar of a published regimen has the days its source prints (named beside each)."""
    assert runs(clinic, regimen, drug) == published


def test_bottles_of_the_longest_regimen(clinic: Clinic) -> None:
    """187 drops of nepafenac fit two bottles of 100 by volume; at 28 days a bottle it takes three, counted by hand."""
    plan = plan_regimen(clinic, "diabetes-nsaid-60-days", Side.LEFT, dt.date(2027, 6, 1), dt.time(7), dt.time(22))
    (supply,) = (supply for supply in plan.supplies if supply.drug.id == "nepafenac")
    assert supply.drops == 187
    assert [(opening.day, opening.drops) for opening in supply.openings] == [(-1, 85), (27, 84), (55, 18)]


def test_no_shipped_regimen_contradicts_itself(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Two drugs of one class on one day, a tapered antibiotic, an NSAID beyond its label without a reason: none."""
    within = {"duplicate-class", "antibiotic-tapered"}
    for regimen in shipped(clinic):
        case = change(ordinary, plan={"regimen": regimen})
        found = check_drops(plan_drops(case, clinic), case, read_formulary(clinic))
        assert not [f for f in found if f.id in within or (f.id == "nsaid-over-14-days" and f.severity != "note")]


@pytest.mark.parametrize(
    ("regimen", "key", "message"),
    [
        (steps((1, 7, 4), (9, 7, 2)), "items.0.steps.1.from_day", "must start on day 8"),
        (steps((1, 7, 4), (7, 7, 2)), "items.0.steps.1.from_day", "must start on day 8"),
        (steps((1, 7, 2), (8, 7, 4)), "items.0.steps.1.times_a_day", "never rises"),
        (marked(8, 2, pause_before=True), "items.0.steps.1.pause_before", "there is no pause: day 8 follows at once"),
        (marked(7, 2, pause_before=True), "items.0.steps.1.from_day", "day 9 or later, after a pause of at least one"),
        (marked(9, 2, more_on_purpose=True), "items.0.steps.1.from_day", "must start on day 8"),
        (marked(8, 4, more_on_purpose=True), "items.0.steps.1.more_on_purpose", "not more drops a day than"),
        (marked(9, 6, pause_before=True), "items.0.steps.1.times_a_day", "never rises"),
        (first(pause_before=True), "items.0.steps.0.pause_before", "no step before it"),
        (first(more_on_purpose=True), "items.0.steps.0.more_on_purpose", "no step before it"),
        ({"items": [item()], "suits": ["hard-lens"], **GROUND}, "suits.0", "not one of the answers"),
        ({"items": [item()], "suits": ["diabetes"]}, "source", "on what ground"),
        ({"items": [item()], "unsuited": ["diabetes"]}, "source", "on what ground"),
        ({"items": [item()], "suits": ["diabetes"], "unsuited": ["diabetes"], **GROUND}, "suits", "stands twice"),
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


@pytest.mark.parametrize(
    ("regimen", "days"),
    [
        (marked(9, 2, pause_before=True), [(1, 7, 4), (8, 8, 0), (9, 15, 2)]),
        (marked(8, 6, more_on_purpose=True), [(1, 7, 4), (8, 14, 6)]),
        (marked(10, 6, pause_before=True, more_on_purpose=True), [(1, 7, 4), (8, 9, 0), (10, 16, 6)]),
    ],
)
def test_a_pause_or_a_rise_on_purpose(clinic: Clinic, regimen: dict[str, Any], days: Runs) -> None:
    """What is marked is given as written, and the days of the pause are silent."""
    own = clinic.model_copy(update={"regimens": {"own": {"title": "own", **regimen}}})
    assert runs(own, "own", "loteprednol") == days


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
    """The case's own; else the clinic's, whatever the nucleus: proposing is not choosing."""
    assert regimen_of(plan_drops(change(ordinary, plan={"regimen": "drop-free"}), clinic)) == "drop-free"
    assert regimen_of(plan_drops(change(ordinary, plan={"regimen": None}), clinic)) == "weekly-4-3-2-1"
    assert regimen_of(plan_drops(change(hard, plan={"regimen": None}), clinic)) == "weekly-4-3-2-1"
    flat = clinic.model_copy(update={"drops": clinic.drops.model_copy(update={"regimen": "two-weeks-flat"})})
    assert regimen_of(plan_drops(change(ordinary, plan={"regimen": None}), flat)) == "two-weeks-flat"


def test_unknown_regimen_names_the_nearest(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """An id that is not there: where it was written, and the nearest one."""
    with pytest.raises(DropsError, match=r'plan\.regimen: no regimen is called "weekly-4321"') as caught:
        plan_drops(change(ordinary, plan={"regimen": "weekly-4321"}), clinic)
    assert 'did you mean "weekly-4-3-2-1"?' in str(caught.value)
    lost = clinic.model_copy(update={"drops": clinic.drops.model_copy(update={"regimen": "zzz"})})
    with pytest.raises(DropsError, match=r"clinic settings: drops\.regimen: no regimen") as caught:
        plan_drops(change(ordinary, plan={"regimen": None}), lost)
    assert "known are: after-torn-capsule" in str(caught.value)


def test_ends(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """A course ends by itself unless the regimen says otherwise."""
    own = {"own": {"title": "own", "items": [item(), item(drug="timolol", eyes="other", ends="until review")]}}
    plan = plan_drops(change(ordinary, plan={"regimen": "own"}), clinic.model_copy(update={"regimens": own}))
    assert [row.ends for row in plan.rows] == [Ends.COURSE_END, Ends.UNTIL_REVIEW]
    assert [row.side.value for row in plan.rows] == ["left", "right"]
