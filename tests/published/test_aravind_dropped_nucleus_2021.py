"""Dropped nucleus during cataract surgery in South India: incidence, risk factors, and outcomes. Ophthalmic Epidemiol
2021:271-278, doi 10.1080/09286586.2021.1923756. The authors are not displayed where it was read.

Read: the abstract, on the publisher's page of that DOI.
"""

from __future__ import annotations

import pytest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.evidence import library, wilson
from consent.resources import package_data
from consent.risk import Estimate, assess_risks


def program(population: str = "south-asia", **eye: object) -> Estimate:
    """What the program says of a dropped nucleus in the ordinary shipped case with the eye changed."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(case, clinic) if found.outcome == "dropped_nucleus")


def test_the_printed_rate_and_interval() -> None:
    # "Among 415,487 consecutive cataract surgeries, incidence risk of DN was 0.044% [95% CI 0.038%, 0.051%]".
    found = program()
    assert found.interval is not None
    shown = [100 * x for x in (found.probability or 0, found.interval.low, found.interval.high)]
    assert shown == pytest.approx([0.044, 0.038, 0.051], abs=0.0005)


def test_it_is_0_44_per_1000() -> None:
    # Not an input: "or 0.44 per 1,000 surgeries".
    assert 1000 * (program().probability or 0) == pytest.approx(0.44, abs=0.005)


def test_the_printed_interval_is_that_of_the_printed_counts() -> None:
    # "184 consecutive DN cases" of 415,487.
    assert [100 * limit for limit in wilson(184, 415_487)] == pytest.approx([0.038, 0.051], abs=0.0005)


def test_a_patient_reads_4_of_10000() -> None:
    assert usual_shown(program()) == Shown("fewer", tenth=4)


def test_it_is_the_lower_of_the_two_populations() -> None:
    # 0.044 against 0.071 percent in Europe (Lundström 2020).
    assert (program("south-asia").probability or 0) < (program("uk").probability or 0)


def test_the_ratio_of_a_posterior_polar_cataract_is_not_multiplied_in() -> None:
    # "posterior polar cataract (adjusted odds ratio [aOR] 21.73, p = .003)" is printed without an interval; 21.73 x
    # 0.044 = 0.96 percent agrees with 5 of 388 eyes, 0.55 to 2.98 percent (Aswin 2022).
    # The observed rate is what such an eye is shown; the ratio is never borrowed.
    observed = library().cited("aswin-2022/nucleus-or-cortex-drop").figure
    assert program(posterior_polar=Answer.YES).probability == pytest.approx(5 / 388)
    assert program(posterior_polar=Answer.YES).usual == program().probability
    assert observed.low is not None and observed.high is not None
    assert observed.low < 21.73 * 0.044 < observed.high
