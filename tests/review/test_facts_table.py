"""Tables that look at any fact of a case: pairs that do not go together, plausible ranges, steps to be agreed.

The sources of the rows are those of the tables: common practice, no source; for the steps, Samira Kohli v Dr Prabha
Manchanda (2008) 2 SCC 1, para 32.
"""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from consent.case import ExtraStep
from consent.case.condition import Condition
from consent.review.facts_table import contradictions, foreseeable_steps, pairs, plausible, unusual

SEEN = {"eye.fundus_seen": "no", "eye.retinopathy": "unknown", "eye.macular_oedema": "unknown"}
UNSEEN = SEEN | {"eye.other_macular_disease": "unknown", "eye.epiretinal_membrane": "unknown"}

# kind, pair, a change that makes the one fact true alone, a change that makes the other true alone
PAIRS: list[tuple[str, str, dict[str, Any], dict[str, Any]]] = [
    ("never", "pregnant-man", {"patient.sex": "male"}, {"health.pregnant": "yes"}),
    (
        "never",
        "no-light-and-projection",
        {"eye.acuity_corrected": "NPL", "eye.light_projection": "not tested"},
        {"eye.light_projection": "accurate"},
    ),
    ("never", "fundus-unseen-but-graded", {"eye.fundus_seen": "no"}, {"eye.epiretinal_membrane": "yes"}),
    (
        "never",
        "no-diabetes-but-retinopathy",
        {"health.diabetes": "no"},
        {"eye.retinopathy": "mild", "health.diabetes": "yes"},
    ),
    (
        "never",
        "no-diabetes-but-insulin",
        {"health.diabetes": "no"},
        {"health.insulin_for_long": "yes", "health.diabetes": "yes"},
    ),
    (
        "never",
        "other-eye-operated-on-a-day",
        {"other_eye.operated": "no"},
        {"other_eye.operated_on": "2027-02-03", "other_eye.operated": "unknown"},
    ),
    (
        "never",
        "other-eye-untouched-but-complication",
        {"other_eye.operated": "no"},
        {"other_eye.complication": "yes", "other_eye.operated": "yes"},
    ),
    (
        "never",
        "lens-there-and-cataract-graded",
        {"eye.lens_implant_present": "yes", "eye.nucleus.grade": "unknown"},
        {"eye.nucleus.grade": "medium"},
    ),
    (
        "hardly",
        "glaucoma-drops-no-glaucoma",
        {"eye.glaucoma": "none"},
        {"eye.glaucoma_drops": ["timolol"], "eye.glaucoma": "open angle"},
    ),
    ("hardly", "white-lens-fundus-seen", {"eye.white": "yes", "eye.fundus_seen": "no"}, {"eye.fundus_seen": "yes"}),
    (
        "hardly",
        "soft-grade-hard-scale",
        {"eye.nucleus.grade": "soft"},
        {"eye.nucleus.locs_opalescence": 5.5, "eye.nucleus.grade": "hard"},
    ),
    ("hardly", "hard-grade-soft-scale", {"eye.nucleus.grade": "hard"}, {"eye.nucleus.locs_colour": 2.9}),
    ("hardly", "large-pupil-few-mm", {"eye.pupil_grade": "large"}, {"eye.pupil_mm": 4.9, "eye.pupil_grade": "medium"}),
    ("hardly", "small-pupil-many-mm", {"eye.pupil_grade": "small", "eye.pupil_mm": 6.4}, {"eye.pupil_mm": 6.5}),
    (
        "hardly",
        "alpha-blocker-in-medicines",
        {"health.alpha_blocker.ever": "no"},
        {"health.medicines": ["Tamsulosin 0.4 mg"], "health.alpha_blocker.ever": "yes"},
    ),
    (
        "hardly",
        "anticoagulant-in-medicines",
        {"health.anticoagulant": "unknown"},
        {"health.medicines": ["warfarin"], "health.anticoagulant": "yes"},
    ),
    (
        "hardly",
        "antiplatelet-in-medicines",
        {"health.antiplatelet": "no"},
        {"health.medicines": ["aspirin 75 mg"], "health.antiplatelet": "yes"},
    ),
    (
        "hardly",
        "diabetes-in-medicines",
        {"health.diabetes": "unknown"},
        {"health.medicines": ["metformin"], "health.diabetes": "yes"},
    ),
    (
        "hardly",
        "inr-without-anticoagulant",
        {"health.anticoagulant": "no"},
        {"fitness.inr": 1.5, "health.anticoagulant": "yes"},
    ),
    (
        "hardly",
        "no-diabetes-high-sugar",
        {"health.diabetes": "no"},
        {"fitness.sugar_mg_dl": 200, "health.diabetes": "yes"},
    ),
    (
        "hardly",
        "prostate-woman",
        {"patient.sex": "female"},
        {"health.alpha_blocker": {"ever": "yes", "drugs": ["tamsulosin"]}, "patient.sex": "male"},
    ),
    (
        "hardly",
        "other-eye-blind-but-sees",
        {"other_eye.seeing": "no", "other_eye.acuity": "HM"},
        {"other_eye.acuity": "6/18"},
    ),
    ("hardly", "good-sight-cataract", {"eye.acuity_corrected": "6/6"}, {"eye.nucleus.grade": "hard"}),
    (
        "hardly",
        "driving-cannot-see",
        {"eye.acuity_corrected": "HM", "other_eye.acuity": "CF"},
        {"patient.what_matters": ["driving"]},
    ),
    (
        "hardly",
        "phaco-rigid-lens",
        {"plan.operation": "phacoemulsification"},
        {"plan.lens.design": "rigid", "plan.operation": "manual small-incision"},
    ),
    (
        "hardly",
        "helper-nobody",
        {"patient.drops_given_by": "self", "patient.drops_helper": None},
        {"patient.drops_helper": "her son"},
    ),
    ("hardly", "free-with-cost", {"plan.payer": "free"}, {"plan.cost": "10", "plan.payer": "paying"}),
    ("hardly", "reads-cannot-write", {"patient.reads": "yes"}, {"patient.writes_name": "no", "patient.reads": "no"}),
    ("hardly", "macula-judged-unseen", UNSEEN, {"eye.macular_oedema": "no"}),
    (
        "hardly",
        "lie-still-cough",
        {"health.can_lie_still": "yes"},
        {"health.cough_or_tremor": "yes", "health.can_lie_still": "no"},
    ),
    (
        "hardly",
        "no-injection-but-drug",
        {"plan.injected_antibiotic": "no", "plan.injected_antibiotic_drug": None},
        {"plan.injected_antibiotic_drug": "moxifloxacin"},
    ),
    (
        "hardly",
        "trauma-without-history",
        {"eye.traumatic": "yes", "eye.previous_trauma": "yes"},
        {"eye.previous_trauma": "no"},
    ),
]


@pytest.mark.parametrize(("kind", "name", "one", "other"), PAIRS, ids=[row[1] for row in PAIRS])
def test_a_pair_fires_with_both_facts_and_is_silent_with_each_alone(kind, name, one, other, make_case):
    """The one fact is set last, so that it holds beside the other."""
    assert name not in contradictions(make_case(one), kind)
    assert name not in contradictions(make_case(other), kind)
    assert name in contradictions(make_case({**other, **one, **facts_of(name, other)}), kind)


def facts_of(name: str, other: dict[str, Any]) -> dict[str, Any]:
    """The keys of the other fact itself, without what kept the first one silent."""
    return {key: value for key, value in other.items() if key in keys(name)}


def keys(name: str) -> set[str]:
    """The keys the other fact of a pair rests on, and the one fact does not."""
    found = next(kind[name] for kind in pairs().values() if name in kind)
    return set(found.other.keys()) - set(found.one.keys()) | {"health.alpha_blocker"}


def test_every_pair_is_in_the_table():
    assert {(row[0], row[1]) for row in PAIRS} == {(kind, name) for kind, found in pairs().items() for name in found}


# key, just inside at both ends, just outside at both ends; the table of ranges is read against these
RANGES: list[tuple[str, tuple[float, float], tuple[float, float]]] = [
    ("eye.pupil_mm", (3.0, 8.9), (2.9, 9.0)),
    ("eye.pressure_mmhg", (8.0, 24.4), (7.9, 24.5)),
    ("eye.chamber_depth_mm", (2.2, 4.1), (2.1, 4.2)),
    ("eye.endothelial_cells_per_mm2", (1500, 3499), (1499, 3500)),
    ("measurement.corneal_power_d", (40.0, 47.9), (39.9, 48.0)),
    ("measurement.other_eye_corneal_power_d", (40.0, 47.9), (39.9, 48.0)),
    ("other_eye.axial_length_mm", (20.5, 29.9), (20.4, 30.0)),
    ("plan.lens.power_d", (10.0, 27.9), (9.9, 28.0)),
    ("plan.lens.a_constant", (114.0, 119.9), (113.9, 120.0)),
    ("measurement.target_d", (-3.0, 0.7), (-3.1, 0.75)),
    ("fitness.systolic_mmhg", (90, 179), (89, 180)),
    ("fitness.diastolic_mmhg", (50, 109), (49, 110)),
]


@pytest.mark.parametrize(("key", "inside", "outside"), RANGES, ids=[row[0] for row in RANGES])
def test_a_value_is_unusual_just_outside_its_range(key, inside, outside, make_case):
    for value in inside:
        assert list(unusual(make_case({key: value}))) == []
    for value in outside:
        assert list(unusual(make_case({key: value}))) == [(key, value)]


@pytest.mark.parametrize(("years", "is_unusual"), [(39, True), (40, False), (95, False), (96, True)])
def test_an_age_is_unusual_outside_forty_to_ninety_five(years, is_unusual, make_case):
    case = make_case({"patient.birth_date": None, "patient.age_years": years})
    assert (("age_years", years) in list(unusual(case))) == is_unusual


def test_every_lens_that_may_be_used_is_looked_at(make_case):
    case = make_case()
    lens = case.plan.fallback_lenses[0].model_copy(update={"power_d": 28.0, "a_constant": 113.0})
    changed = case.model_copy(update={"plan": case.plan.model_copy(update={"fallback_lenses": (lens,)})})
    assert dict(unusual(changed)) == {"plan.fallback_lenses.power_d": 28.0, "plan.fallback_lenses.a_constant": 113.0}


def test_every_range_is_in_the_table():
    apart = {"age_years", "plan.fallback_lenses.power_d", "plan.fallback_lenses.a_constant"}
    assert {row[0] for row in RANGES} | apart == set(plausible())


# a step, an eye that may need it, an eye that does not
STEPS: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    (
        "larger incision",
        {"eye.nucleus.grade": "hard"},
        {"eye.nucleus.grade": "hard", "plan.operation": "extracapsular"},
    ),
    ("anterior vitrectomy", {}, {"eye.lens_implant_present": "yes"}),
    ("second operation", {}, {"eye.lens_implant_present": "yes"}),
    ("other lens or place", {"plan.lens.on_shelf": "no"}, {"plan.lens.on_shelf": "unknown"}),
    ("other lens or place", {"eye.posterior_polar": "yes"}, {"eye.posterior_polar": "unknown"}),
    ("no lens today", {"eye.phacodonesis": "yes"}, {"eye.pseudoexfoliation": "yes"}),
    ("pupil device", {"eye.pupil_grade": "small"}, {"eye.pupil_grade": "medium"}),
    ("pupil device", {"health.alpha_blocker.ever": "yes"}, {"health.alpha_blocker.ever": "unknown"}),
    ("capsular tension ring", {"eye.pseudoexfoliation": "yes"}, {"eye.pseudoexfoliation": "unknown"}),
    ("other anaesthesia", {"plan.anaesthesia": "topical"}, {"plan.anaesthesia": "general"}),
]


@pytest.mark.parametrize(("step", "needs", "does_not"), STEPS)
def test_a_step_is_foreseeable_in_the_eye_that_may_need_it(step, needs, does_not, make_case):
    assert ExtraStep(step) in foreseeable_steps(make_case(needs))
    assert ExtraStep(step) not in foreseeable_steps(make_case(does_not))


def test_a_stitch_alone_is_asked_of_no_eye():
    """It follows from a larger incision, which is asked for by itself: common practice, no source."""
    assert {row[0] for row in STEPS} | {"stitch"} == {step.value for step in ExtraStep}


@pytest.mark.parametrize(
    "text",
    [
        '[{"eye.no_such_key": ["yes"]}]',
        '[{"eye.white": ["perhaps"]}]',
        '[{"eye.pupil_mm": ["small"]}]',
        '[{"patient.name": {"at_least": 3.0}}]',
        '[{"eye.white": {"not": ["perhaps"]}}]',
        "[{}]",
        "[]",
        '[{"eye.pupil_mm": {"at_least": 5.0, "below": 5.0}}]',
        '[{"patient.name": {"worse_than_logmar": 0.3}}]',
    ],
)
def test_a_condition_that_no_case_can_meet_is_refused(text):
    with pytest.raises(ValidationError):
        Condition.model_validate_json(text)
