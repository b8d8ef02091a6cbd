"""Chu CJ, Johnston RL, Buscombe C, Sallam AB, Mohamed Q, Yang YC. Risk factors and incidence of macular edema after
cataract surgery: a database study of 81 984 eyes. Ophthalmology 2016;123(2):316-323, doi 10.1016/j.ophtha.2015.10.001.

Read: the abstract, on the publisher's page of that DOI. The figure for diabetes is quoted from a summary.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.evidence import Verified
from consent.resources import package_data
from consent.risk import AfterRupture, Estimate, after_rupture, assess_risks


def program(diabetes: str = "no", **eye: object) -> dict[str, Estimate]:
    """What the program says of the ordinary shipped case with the eye changed, by outcome; UK."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    health = case.health.model_copy(update={"diabetes": Answer(diabetes)})
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye), "health": health})
    clinic = read_clinic().model_copy(update={"population": "uk"})
    return {found.outcome: found for found in assess_risks(case, clinic)}


def once_torn(diabetes: str = "no", **eye: object) -> AfterRupture:
    """What the program says of macular oedema in an eye whose bag has torn, and in one whose bag has not."""
    case = read_case(package_data("case", "examples", "torn.toml"))
    health = case.health.model_copy(update={"diabetes": Answer(diabetes)})
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye), "health": health})
    return {found.outcome: found for found in after_rupture(case, read_clinic())}["macular_oedema"]


def test_the_usual_eye() -> None:
    # "Baseline incidence of PME in eyes without operative complications, diabetes, or risk factors was 1.17%".
    assert 100 * (program()["macular_oedema"].usual or 0) == pytest.approx(1.17, abs=0.005)


def test_a_ruptured_eye_found_again_from_two_eyes() -> None:
    # Not an input: 1.17 x 2.61 = 3.05 percent ("RR, 2.61").
    said = [program(posterior_polar=answer) for answer in (Answer.NO, Answer.YES)]
    p = [one["capsule_rupture"].probability for one in said]
    r1, r0 = np.linalg.solve([[x, 1 - x] for x in p], [one["macular_oedema"].probability for one in said])
    assert (100 * r1, 100 * r0) == pytest.approx((3.05, 1.17), abs=0.005)
    assert r1 / r0 == pytest.approx(2.61, abs=0.005)


def test_the_range_carries_the_printed_limits_of_the_ratio() -> None:
    # By hand for a posterior polar cataract, p 6.56 to 12.29 percent (35 of 388), "95% CI, 1.57-4.34":
    # 1.17 x (1 + 0.0656 x 0.57) = 1.214 and 1.17 x (1 + 0.1229 x 3.34) = 1.650 percent.
    found = program(posterior_polar=Answer.YES)["macular_oedema"].interval
    assert found is not None
    assert (100 * found.low, 100 * found.high) == pytest.approx((1.214, 1.650), abs=0.0005)
    assert found.kind == "ratio interval only"  # the rate was printed without an interval


def test_an_eye_with_diabetes_has_its_own_published_rate() -> None:
    # 4.04 percent, "ein CME in dieser Gruppe betrug 4.04%" (augenklinik-salzburg.at); quoted, and it says so.
    found = program("yes", posterior_polar=Answer.YES)["macular_oedema"]
    assert 100 * (found.probability or 0) == pytest.approx(4.04, abs=0.005)
    assert 100 * (found.usual or 0) == pytest.approx(1.17, abs=0.005)
    assert found.weakest is Verified.QUOTED


@pytest.mark.parametrize(
    ("condition", "printed"),
    [
        # "epiretinal membrane (RR, 5.60 ...), uveitis (RR, 2.88 ...), ... or retinal detachment repair (RR, 3.93 ...)".
        ("epiretinal_membrane", 5.60),
        ("uveitis", 2.88),
        ("previous_detachment", 3.93),
        # "retinal vein occlusion (RR, 4.47; 95% CI, 2.56-5.92)": the limits contradict the ratio, so it is not used.
        ("vein_occlusion", 1.00),
    ],
)
def test_another_disease_of_the_eye_multiplies_by_its_printed_ratio(condition: str, printed: float) -> None:
    found, plain = (said["macular_oedema"].probability or 0 for said in (program(**{condition: Answer.YES}), program()))
    assert found / plain == pytest.approx(printed, abs=0.005)


def test_the_limits_of_vein_occlusion_are_misprinted() -> None:
    # A printed ratio is the geometric mean of its limits (Altman and Bland, BMJ 2011;343:d2304). sqrt(2.56 x 5.92) =
    # 3.89, not 4.47, and 5.92 is the upper limit of the row that follows; that row and the others agree with
    # themselves.
    assert math.sqrt(2.56 * 5.92) == pytest.approx(3.89, abs=0.005)
    for ratio, low, high in ((2.61, 1.57, 4.34), (5.60, 3.45, 9.07), (2.88, 1.50, 5.51), (3.93, 2.60, 5.92)):
        assert math.sqrt(low * high) == pytest.approx(ratio, abs=0.015)


def test_once_the_bag_has_torn_it_is_the_printed_ratio_of_the_printed_rate() -> None:
    # "1.17%" and "(RR, 2.61; 95% CI, 1.57-4.34)": by hand 3.05 percent, 1.84 to 5.08.
    found = once_torn()
    assert found.whole is not None
    assert found.torn is not None
    assert 100 * found.whole.value == pytest.approx(1.17, abs=0.005)
    ratios = [limit / found.whole.value for limit in (found.torn.value, found.torn.low, found.torn.high)]
    assert ratios == pytest.approx([2.61, 1.57, 4.34], abs=0.005)
    assert 100 * found.torn.value == pytest.approx(3.05, abs=0.005)


def test_a_torn_bag_in_an_eye_with_another_disease_multiplies_by_both_printed_ratios() -> None:
    # 1.17 x 5.60 = 6.55 percent and, with "RR, 2.61", 17.10 percent; that the two multiply is the project's assumption.
    found = once_torn(epiretinal_membrane=Answer.YES)
    assert found.whole is not None
    assert found.torn is not None
    assert [100 * found.whole.value, 100 * found.torn.value] == pytest.approx([6.55, 17.10], abs=0.005)


def test_after_a_torn_bag_in_a_diabetic_it_is_not_known() -> None:
    # What was read gives diabetics one rate, 4.04 percent, and does not part it by rupture; nothing that was read says
    # that "RR, 2.61" holds in diabetics too, so the two are not multiplied into a third figure.
    found = once_torn("yes")
    assert (found.torn, found.whole, found.sources) == (None, None, ())


def test_in_whom_nobody_asked_about_diabetes_it_is_not_given_as_in_those_without() -> None:
    # "any diabetes" 4.04 percent against 1.17: a paper that says 1.17 of somebody not asked says too little.
    found = once_torn("unknown")
    assert (found.torn, found.whole) == (None, None)
