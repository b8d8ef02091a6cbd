"""Day AC, Donachie PHJ, Sparrow JM, Johnston RL. United Kingdom National Ophthalmology Database study of cataract
surgery: report 3: pseudophakic retinal detachment. Ophthalmology 2016;123(8):1711-1715, PMID 27342788.

Read: the abstract, at readbyqxmd.com/read/27342788.
"""

from __future__ import annotations

import numpy as np
import pytest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.evidence import wilson
from consent.resources import package_data
from consent.risk import Estimate, after_rupture, assess_risks

# "131 eyes ... (0.21%; 95% CI, 0.18%-0.25%)", "36 ... (3.27%; 95% CI, 2.37%-4.50%)", "95 ... (0.16%; 0.13%-0.19%)".
ALL_EYES = 61_907
RUPTURED = 1101  # worked back: 36 eyes are 3.27 percent


def program(population: str = "uk", **eye: object) -> dict[str, Estimate]:
    """What the program says of the ordinary shipped case with the eye changed, by outcome."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    clinic = read_clinic().model_copy(update={"population": population})
    return {found.outcome: found for found in assess_risks(case, clinic)}


@pytest.fixture
def arms() -> tuple[float, float]:
    """Percent with and without rupture, solved from what the program says of two eyes: m = p r1 + (1 - p) r0."""
    said = [program(posterior_polar=answer) for answer in (Answer.NO, Answer.YES)]
    p = [one["capsule_rupture"].probability for one in said]
    r1, r0 = np.linalg.solve([[x, 1 - x] for x in p], [one["retinal_detachment"].probability for one in said])
    return 100 * r1, 100 * r0


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_usual_eye(population: str) -> None:
    found = program(population)["retinal_detachment"]
    assert found.usual_interval is not None
    shown = [100 * x for x in (found.usual or 0, found.usual_interval.low, found.usual_interval.high)]
    assert shown == pytest.approx([0.21, 0.18, 0.25], abs=0.005)


def test_both_arms_found_again_from_two_eyes(arms: tuple[float, float]) -> None:
    assert arms == pytest.approx((3.27, 0.16), abs=0.005)


def test_rupture_raises_it_about_21_fold(arms: tuple[float, float]) -> None:
    # Not an input: 3.27/0.156. The audit that feeds the database says "20 fold" within one year (nodaudit.org.uk).
    assert arms[0] / arms[1] == pytest.approx(21, abs=0.5)
    assert arms[0] / arms[1] > 20


def test_the_arms_make_the_printed_number_of_detachments(arms: tuple[float, float]) -> None:
    r1, r0 = (share / 100 for share in arms)
    assert RUPTURED * r1 == pytest.approx(36, abs=0.001)
    assert RUPTURED * r1 + (ALL_EYES - RUPTURED) * r0 == pytest.approx(131, abs=0.001)


@pytest.mark.parametrize(
    ("events", "eyes", "low", "high"),
    [(131, ALL_EYES, 0.18, 0.25), (36, RUPTURED, 2.37, 4.50), (95, 60_806, 0.13, 0.19)],
)
def test_the_counts_worked_back_give_the_printed_intervals(events: int, eyes: int, low: float, high: float) -> None:
    # The denominators of the two groups are not printed; the intervals are, and were not used to work them back.
    assert [100 * limit for limit in wilson(events, eyes)] == pytest.approx([low, high], abs=0.01)


def test_an_eye_at_the_databases_own_risk_of_rupture_lies_in_the_printed_interval(arms: tuple[float, float]) -> None:
    # Report 1 of the same database and years (Day 2015, abstract): rupture or vitreous loss or both in 1.95 percent.
    mixed = 0.0195 * arms[0] + 0.9805 * arms[1]
    assert 0.18 < mixed < 0.25


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_once_the_bag_has_torn_both_printed_rates_stand_beside_each_other(population: str) -> None:
    # "(3.27%; 95% CI, 2.37%-4.50%)" with rupture, "(0.16%; 95% CI, 0.13%-0.19%)" without: never a mixture of the two.
    case = read_case(package_data("case", "examples", "torn.toml"))
    clinic = read_clinic().model_copy(update={"population": population})
    found = {one.outcome: one for one in after_rupture(case, clinic)}["retinal_detachment"]
    assert found.torn is not None
    assert found.whole is not None
    torn, whole = ([100 * x for x in (arm.value, arm.low, arm.high)] for arm in (found.torn, found.whole))
    assert torn == pytest.approx([3.27, 2.37, 4.50], abs=0.005)
    assert whole == pytest.approx([0.16, 0.13, 0.19], abs=0.005)
    assert {source.series for source in found.sources} == {"day-2016"}
