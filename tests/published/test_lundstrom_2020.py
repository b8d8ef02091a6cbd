"""Lundström M, Dickman M, Henry Y, Manning S, Rosen P, Tassignon MJ, Young D, Stenevi U. Risk factors for dropped
nucleus in cataract surgery as reflected by the European Registry of Quality Outcomes for Cataract and Refractive
Surgery. J Cataract Refract Surg 2020;46(2):287-292, doi 10.1097/j.jcrs.0000000000000019.

Read: the abstract, in the repository of the University of Strathclyde (strathprints.strath.ac.uk/id/eprint/71783).
"""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from consent.case import read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.resources import package_data
from consent.risk import Estimate, assess_risks


def program(name: str = "ordinary", population: str = "uk") -> Estimate:
    """What the program says of a dropped nucleus in a shipped case."""
    clinic = read_clinic().model_copy(update={"population": population})
    said = assess_risks(read_case(package_data("case", "examples", f"{name}.toml")), clinic)
    return next(found for found in said if found.outcome == "dropped_nucleus")


def test_the_printed_rate() -> None:
    # "Dropped nucleus was reported in 1221 eyes (0.071%)" of "1 715 348".
    found = program()
    assert 100 * (found.probability or 0) == pytest.approx(0.071, abs=0.0005)
    assert 1_715_348 * (found.probability or 0) == pytest.approx(1221, abs=0.5)


def test_its_interval_is_that_of_the_counts() -> None:
    # The abstract prints none. Reference library: scipy's exact interval.
    found = program().interval
    assert found is not None
    exact = binomtest(1221, 1_715_348).proportion_ci(method="exact")
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), rel=0.002)


def test_a_patient_reads_7_of_10000() -> None:
    assert usual_shown(program()) == Shown("fewer", tenth=7)


def test_it_speaks_for_europe_only() -> None:
    # "18 European countries"; a clinic in south Asia has the figure of a hospital there.
    assert {source.series for source in program().sources} == {"lundstrom-2020"}
    assert program().region == "UK/Europe"
    assert "lundstrom-2020" not in {source.series for source in program(population="south-asia").sources}


def test_named_risk_factors_without_ratios_change_nothing() -> None:
    # "White cataract, previous vitrectomy, poor preoperative visual acuity, small pupil ... and male sex": no ratio is
    # printed in the abstract, so a man with a small pupil and poor acuity has the overall rate.
    assert program("hard").probability == program("ordinary").probability
