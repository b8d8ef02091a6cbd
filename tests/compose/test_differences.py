"""What is different about this eye: every text unit can be reached, and no two contradict each other."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from consent.case import Answer, Case, Glaucoma, NucleusGrade, Operation, PupilGrade, Retinopathy
from consent.compose.differences import differences, unit_ids
from consent.language import Speaker, load_catalogue

HARD = {"eye.nucleus.grade": "hard"}
BROWN = {"eye.nucleus.grade": "brunescent"}
SMALL = {"eye.pupil_grade": "small"}

# unit, a change of the ordinary example that brings it, a change that does not.
# The facts behind each: narendran-2009, ravindran-2020, aswin-2022, chu-2016, viberg-2019, Chatziralli 2011
# (Ophthalmology 118:730); where the comment in differences.py says so, common practice, no source.
UNITS: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    ("different.hard", HARD, {"eye.nucleus.grade": "medium"}),
    ("different.hard", BROWN, BROWN | {"eye.white": "yes"}),
    ("different.white", {"eye.white": "yes"}, {"eye.white": "unknown"}),
    ("different.small-pupil", SMALL, {"eye.pupil_grade": "medium"}),
    ("different.small-pupil", SMALL, {"eye.pupil_mm": 3.0}),
    ("different.hard-and-small-pupil", HARD | SMALL, HARD),
    ("different.prostate-tablet", {"health.alpha_blocker.ever": "yes"}, {"health.alpha_blocker.ever": "no"}),
    ("different.weak-threads", {"eye.pseudoexfoliation": "yes"}, {"eye.pseudoexfoliation": "unknown"}),
    ("different.weak-threads", {"eye.phacodonesis": "yes"}, {"eye.phacodonesis": "unknown"}),
    ("different.threads-not-checked", {"eye.pseudoexfoliation": "unknown"}, {"eye.pseudoexfoliation": "no"}),
    ("different.weak-back", {"eye.posterior_polar": "yes"}, {"eye.posterior_polar": "no"}),
    ("different.may-open-wider", HARD, HARD | {"plan.operation": "manual small-incision"}),
    (
        "different.may-open-wider",
        HARD | {"plan.operation": "phacoemulsification with trabeculectomy"},
        HARD | {"plan.operation": "extracapsular"},
    ),
    ("different.other-lens", {"plan.lens.on_shelf": "no"}, {"plan.lens.on_shelf": "yes"}),
    ("different.other-lens", {"plan.lens.on_shelf": "no"}, {"plan.lens.on_shelf": "unknown"}),
    ("different.other-lens", {"plan.lens.on_shelf": "no"}, {"plan.lens.on_shelf": "no", "plan.fallback_lenses": []}),
    (
        "different.diabetes-unseen",
        {"health.diabetes": "yes", "eye.retinopathy": "unknown"},
        {"health.diabetes": "no", "eye.retinopathy": "unknown"},
    ),
    ("different.diabetes", {"health.diabetes": "yes", "eye.retinopathy": "none"}, {"eye.retinopathy": "none"}),
    ("different.glaucoma", {"eye.glaucoma": "open angle"}, {"eye.glaucoma": "unknown"}),
    ("different.weak-cornea", {"eye.guttata": "yes"}, {"eye.guttata": "no"}),
    ("different.back-unseen", {"eye.fundus_seen": "no"}, {"eye.fundus_seen": "yes"}),
    ("different.back-unseen", {"eye.fundus_seen": "unknown"}, {}),
    ("different.nothing", {}, SMALL),
]
BY_THE_REVIEW = "different.only-eye"
"""Brought by what the review found, not by one fact: the limit of acuity is a threshold of the clinic."""


def ids(case: Case, only_eye: bool = False) -> list[str]:
    return [unit.id for unit in differences(case, only_eye)]


@pytest.mark.parametrize(("unit", "brings", "does_not"), UNITS)
def test_each_unit_is_brought_by_its_fact_alone(unit, brings, does_not, make_case):
    assert unit in ids(make_case(brings))
    assert unit not in ids(make_case(does_not))


def test_every_unit_is_in_the_table():
    assert {row[0] for row in UNITS} | {BY_THE_REVIEW} == set(unit_ids())


@pytest.mark.parametrize("changes", [{}, HARD | SMALL, {"other_eye.seeing": "no"}])
def test_only_eye_is_told_last_where_the_review_found_it_and_only_there(changes, make_case):
    case = make_case(changes)
    without = ids(case)
    assert BY_THE_REVIEW not in without
    assert ids(case, only_eye=True) == [*(unit for unit in without if unit != "different.nothing"), BY_THE_REVIEW]


@pytest.mark.parametrize("tag", ["en", "bn"])
@pytest.mark.parametrize("unit", unit_ids())
def test_every_unit_can_be_said(unit, tag):
    assert Speaker(tag).say(unit).plain.strip()


@pytest.mark.parametrize("tag", ["en", "bn"])
def test_the_catalogue_holds_no_unit_that_is_never_said(tag):
    assert {name for name in load_catalogue(tag).messages if name.startswith("different.")} == set(unit_ids())


def every_combination(case: Case) -> list[Case]:
    """The example with every combination of the facts that units share."""
    facts = itertools.product(NucleusGrade, Answer, PupilGrade, Answer, Answer, Answer, Retinopathy)
    cases = []
    for number, (grade, white, pupil, exfoliation, loose, diabetes, retina) in enumerate(facts):
        nucleus = case.eye.nucleus.model_copy(update={"grade": grade})
        eye = case.eye.model_copy(
            update={
                "nucleus": nucleus,
                "white": white,
                "pupil_grade": pupil,
                "pseudoexfoliation": exfoliation,
                "phacodonesis": loose,
                "retinopathy": retina,
                "glaucoma": list(Glaucoma)[number % len(Glaucoma)],
            }
        )
        health = case.health.model_copy(update={"diabetes": diabetes})
        plan = case.plan.model_copy(update={"operation": list(Operation)[number % len(Operation)]})
        cases.append(case.model_copy(update={"eye": eye, "health": health, "plan": plan}))
    return cases


# Two that tell the same fact in two ways, or deny each other
NEVER_TOGETHER = [
    ("different.hard-and-small-pupil", "different.small-pupil"),
    ("different.diabetes", "different.diabetes-unseen"),
    ("different.weak-threads", "different.threads-not-checked"),
    ("different.hard", "different.white"),
]


def test_contradictions_never_stand_together(make_case):
    for number, case in enumerate(every_combination(make_case())):
        found = ids(case, only_eye=number % 3 == 0)
        assert len(found) == len(set(found))
        for one, other in NEVER_TOGETHER:
            assert not {one, other} <= set(found)
        assert found == ["different.nothing"] or "different.nothing" not in found
        assert found


def test_a_small_pupil_and_a_hard_lens_are_both_told(make_case):
    """Whatever else is said, neither fact is lost."""
    pupil = {"different.small-pupil", "different.hard-and-small-pupil"}
    lens = {"different.hard", "different.white"}
    for case in every_combination(make_case()):
        found = set(ids(case))
        hard = case.eye.nucleus.grade in (NucleusGrade.HARD, NucleusGrade.BRUNESCENT)
        assert bool(found & pupil) == (case.eye.pupil_grade is PupilGrade.SMALL)
        assert bool(found & lens) == (hard or case.eye.white is Answer.YES)


def test_the_hard_example_says_what_its_surgeon_would(make_case):
    """Brunescent lens, small pupil, tamsulosin, exfoliation not looked for, lens not here, diabetes, disc only seen."""
    assert ids(make_case(name="hard")) == [
        "different.hard",
        "different.hard-and-small-pupil",
        "different.prostate-tablet",
        "different.threads-not-checked",
        "different.may-open-wider",
        "different.other-lens",
        "different.diabetes-unseen",
    ]


def test_the_units_stand_on_the_form_in_that_order(make_case, english_form):
    form = english_form("hard")
    speaker = Speaker("en")
    said = [line[0].plain for section, line in form.lines() if section == "different"]
    assert said[1:] == [speaker.say(unit).plain for unit in ids(make_case(name="hard"))]
