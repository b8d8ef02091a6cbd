"""Once the operation is done, points about the plan are moot; those about the eye, its drops and its visits are not.

Which points those are: common practice, no source. The rows that fire a point are those of points_table.py.
"""

from __future__ import annotations

import pytest

from consent.case import Case, read_case
from consent.clinic import Clinic
from consent.resources import package_data
from consent.review import Severity, assess, points
from consent.review.point import rules
from consent.risk import assess_risks
from tests.review.points_table import TABLE

DONE = {"done.by": "Dr Asha Invented"}
STILL_ASKED_FAMILIES = ("side", "after", "regimen", "other-eye", "visits")
STILL_ASKED = ("only-eye", "lens.single-piece-in-sulcus")


def still_asked(rule_id: str) -> bool:
    return rule_id in STILL_ASKED or rule_id.split(".", maxsplit=1)[0] in STILL_ASKED_FAMILIES


def fired(case: Case, clinic: Clinic) -> set[str]:
    risks = {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}
    return {point.id for point in points(case, clinic, risks)}


def one_row_each(wanted: bool) -> list[tuple[str, dict[str, object]]]:
    """The first row of each rule that is still asked after surgery, or of each that is not."""
    firing: dict[str, dict[str, object]] = {}
    for rule_id, fires, _ in TABLE:
        if still_asked(rule_id) == wanted:
            firing.setdefault(rule_id, fires)
    return list(firing.items())


@pytest.mark.parametrize(("rule_id", "fires"), one_row_each(wanted=False))
def test_a_point_about_the_plan_is_moot_once_it_is_done(rule_id, fires, make_case, make_clinic):
    clinic = make_clinic()
    assert rule_id in fired(make_case(fires), clinic)
    assert rule_id not in fired(make_case(fires | DONE), clinic)


@pytest.mark.parametrize(("rule_id", "fires"), one_row_each(wanted=True))
def test_a_point_about_the_eye_its_drops_or_its_visits_is_not(rule_id, fires, make_case, make_clinic):
    assert rule_id in fired(make_case(fires | DONE), make_clinic())


@pytest.mark.parametrize(
    "rule_id",
    ["side.disagrees", "after.other-side", "after.leak-or-infection", "regimen.not-chosen", "visits.no-first-morning"],
)
def test_the_points_that_keep_an_eye_safe_are_among_those_still_asked(rule_id):
    assert rules()[rule_id].after_surgery


@pytest.mark.parametrize("rule_id", ["consent.not-explained", "pupil.very-small", "lens.not-on-shelf", "fitness.inr"])
def test_what_is_asked_before_going_to_theatre_is_not(rule_id):
    assert not rules()[rule_id].after_surgery


@pytest.mark.parametrize("done", [{}, DONE])
def test_drops_the_patient_is_allergic_to_stop_the_case_before_and_after(done, make_case, make_clinic):
    """The drops go home after surgery. Source: that of the check."""
    allergic = {"health.allergies": {"asked": "known", "known": [{"substance": "moxifloxacin", "reaction": "rash"}]}}
    found = {point.id: point for point in assess(make_case(allergic | done), make_clinic()).points}
    assert found["drops.allergy-quinolone"].severity is Severity.STOP


def test_an_operation_to_plan_on_an_ordinary_eye_leaves_nothing_to_ask(make_case, make_clinic):
    """Alert budget, as before surgery: common practice, no source."""
    as_planned = {"done": {"as_planned": "yes", "side": "left", "capsule_torn": "no", "vitreous_lost": "no"}}
    assert assess(make_case(as_planned), make_clinic()).points == ()


def test_a_torn_bag_that_was_told_and_sent_on_leaves_only_its_drops_to_ask(make_clinic):
    """The shipped example was told, sent on by telephone, has a visit for the retina and for the stitch."""
    torn = read_case(package_data("case", "examples", "torn.toml"))
    found = assess(torn, make_clinic()).points
    assert found
    assert {point.id.split(".")[0] for point in found} == {"drops"}
    assert not any(point.severity is Severity.STOP for point in found)
