"""Suazo MK, Khan MMH, Akhlaq A, Ali M, Schein OD, Woreta FA. Unplanned return to the operating room after cataract
surgery. Am J Ophthalmol 2025, doi 10.1016/j.ajo.2025.03.014.

Read: the abstract, at booksci.cn/literature/143612956.
"""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from consent.case import read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.evidence import library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks


def program(name: str = "ordinary", population: str = "uk") -> Estimate:
    """What the program says of an unplanned return to theatre in a shipped case."""
    clinic = read_clinic().model_copy(update={"population": population})
    said = assess_risks(read_case(package_data("case", "examples", f"{name}.toml")), clinic)
    return next(found for found in said if found.outcome == "return_to_theatre")


@pytest.mark.parametrize("name", ["ordinary", "hard"])
@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_printed_rate(name: str, population: str) -> None:
    # "Among 32,480 eyes, 175 eyes (0.54%) had an unplanned return to the OR".
    found = program(name, population)
    assert 100 * (found.probability or 0) == pytest.approx(0.54, abs=0.005)
    assert 32_480 * (found.probability or 0) == pytest.approx(175, abs=0.5)


def test_its_interval_is_that_of_the_counts() -> None:
    # The abstract prints none. Reference library: scipy's exact interval.
    found = program().interval
    assert found is not None
    exact = binomtest(175, 32_480).proportion_ci(method="exact")
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), rel=0.01)


def test_half_return_for_retained_lens() -> None:
    # Not an input: "retained lens fragments in 88 eyes (50%)".
    retained = library().cited("suazo-2025/return-for-retained-lens").figure.probability
    assert 100 * retained / (program().probability or 1) == pytest.approx(50, abs=0.5)


def test_it_is_counted_within_90_days_and_a_patient_reads_5_of_1000() -> None:
    # "within 90 days of cataract surgery".
    assert program().horizon == "days_90"
    assert usual_shown(program()) == Shown("count", count=5)
