"""Sim PY, Donachie PHJ, Day AC, Buchan JC. The Royal College of Ophthalmologists' National Ophthalmology Database study
of cataract surgery: report 17, a risk factor model for posterior capsule rupture. Eye (Lond) 2024, doi
10.1038/s41433-024-03344-2.

Read: the abstract, in the repository of the London School of Hygiene and Tropical Medicine (eprint 4674230).
"""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.resources import package_data
from consent.risk import Estimate, assess_risks
from consent.risk.odds import odds

EVENTS, EYES = 9730, 961_208


def program(population: str = "uk", **eye: object) -> Estimate:
    """What the program says of capsule rupture in the ordinary shipped case with the eye changed."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(case, clinic) if found.outcome == "capsule_rupture")


def test_the_usual_eye() -> None:
    # "9730 (1.01%) of surgeries were complicated by PCR", of "961,208".
    assert 100 * (program().usual or 0) == pytest.approx(1.01, abs=0.005)
    assert program().usual == EVENTS / EYES


@pytest.mark.parametrize("method", ["wilson", "exact"])
def test_the_interval_of_the_usual_eye(method: str) -> None:
    # Not printed: 0.99 to 1.03 percent from the counts, by scipy in two ways.
    found = program().usual_interval
    assert found is not None
    reference = binomtest(EVENTS, EYES).proportion_ci(method=method)
    assert (100 * found.low, 100 * found.high) == pytest.approx((100 * reference.low, 100 * reference.high), abs=0.001)
    assert (100 * found.low, 100 * found.high) == pytest.approx((0.99, 1.03), abs=0.005)


def test_the_counts_agree_with_the_printed_share_of_women() -> None:
    # Not an input: "5154 (53.0%) were female" of the eyes with a rupture.
    assert 100 * 5154 / (EYES * (program().usual or 1)) == pytest.approx(53.0, abs=0.05)


def test_a_patient_reads_10_of_1000() -> None:
    assert usual_shown(program()) == Shown("count", count=10)


def test_the_ratio_of_a_hard_lens_bounds_the_range_below() -> None:
    # "brunescent/white/mature cataract (OR 2.41, 95% CI 2.24-2.60)" in place of the model's 2.99.
    found = program(white=Answer.YES)
    assert found.interval is not None
    assert odds(found.interval.low) / odds(found.probability or 0) == pytest.approx(2.41 / 2.99, rel=1e-9)


def test_the_ratio_of_pseudoexfoliation_bounds_the_range_above() -> None:
    # "pseudoexfoliation/phacodonesis (OR 3.47, 95% CI 3.05-3.94)" in place of the model's 2.92. South Asia has the
    # higher of the two reference rates, so only the ratio moves its upper end.
    for sign in ("pseudoexfoliation", "phacodonesis"):
        found = program("south-asia", **{sign: Answer.YES})
        assert found.interval is not None
        assert odds(found.interval.high) / odds(found.probability or 0) == pytest.approx(3.47 / 2.92, rel=1e-9)


def test_it_is_the_other_population_of_a_clinic_in_south_asia() -> None:
    # The same eye in the United Kingdom: the odds differ as the overall odds do, 0.010226 against 0.013923.
    here, there = program("south-asia"), program("uk")
    assert here.other_population == pytest.approx(there.probability)
    ratio = odds(there.probability or 0) / odds(here.probability or 0)
    assert ratio == pytest.approx(0.010226 / 0.013923, abs=0.0001)


def test_its_ratios_of_trainees_and_young_men_are_not_multiplied_in() -> None:
    # 3.75 and 3.05: reference grade and age limit are not displayed.
    tried = {source.reference for source in program(white=Answer.YES, phacodonesis=Answer.YES).sources}
    assert not tried & {"sim-2024/less-experienced-trainee", "sim-2024/younger-men"}
