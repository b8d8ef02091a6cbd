"""Ravindran SA, Aswin PR, Shekhar M, Rajendran J, Narendran S, Ravindran RD. Phacoemulsification versus manual-small
incision cataract surgery for brunescent cataracts: a retrospective analysis. TNOA J Ophthalmic Sci Res 2020;58:74-77,
doi 10.4103/tjosr.tjosr_108_19.

Read: the abstract, at doaj.org/article/d9623ebfb1314cd2bc4808f986a9c262.

The abstract calls 14 complications of phacoemulsification "2.95%"; 14 of 305 is 4.59, and 2.95 is the share of its 9
ruptures. The program uses the counts.
"""

from __future__ import annotations

import pytest

from consent.case import NucleusGrade, Operation, read_case
from consent.case.model import Nucleus
from consent.clinic import read_clinic
from consent.evidence import library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks

PHACO, SMALL_INCISION = Operation.PHACO, Operation.SMALL_INCISION


def program(operation: Operation, grade: str = "brunescent", population: str = "south-asia") -> Estimate:
    """What the program says of capsule rupture in the ordinary shipped case with this nucleus and operation."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    eye = case.eye.model_copy(update={"nucleus": Nucleus(grade=NucleusGrade(grade))})
    case = case.model_copy(update={"eye": eye, "plan": case.plan.model_copy(update={"operation": operation})})
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(case, clinic) if found.outcome == "capsule_rupture")


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_a_brunescent_lens_by_small_incision(population: str) -> None:
    # "654 underwent MSICS"; "PCR in 16": 2.45 percent.
    found = program(SMALL_INCISION, population=population)
    assert 100 * (found.probability or 0) == pytest.approx(2.45, abs=0.005)
    assert found.personal


def test_the_counts_agree_with_the_share_that_is_printed() -> None:
    # Not an input: "In the SICS group, 39 complications (5.96%)" of the same 654 eyes.
    eyes = 16 / (program(SMALL_INCISION).probability or 1)
    assert 100 * 39 / eyes == pytest.approx(5.96, abs=0.005)


def test_the_groups_are_the_series() -> None:
    # "959 eyes ... 654 underwent MSICS and 305 underwent PE"; "53 intraoperative complications": 14 and 39.
    series = library().one("ravindran-2020")
    groups = [series.figure(f"brunescent-{group}") for group in ("phaco", "small-incision")]
    assert sum(group.eyes or 0 for group in groups) == series.operations == 959
    assert 14 + 39 == 53


def test_the_misprinted_share_is_that_of_the_ruptures() -> None:
    # "PE group had 14 (2.95%) with the commonest being PCR in 9 cases".
    figure = library().cited("ravindran-2020/brunescent-phaco").figure
    assert 100 * figure.probability == pytest.approx(2.95, abs=0.005)
    assert 100 * 14 / (figure.eyes or 1) == pytest.approx(4.59, abs=0.005)


def test_the_model_for_phacoemulsification_lies_in_the_interval_observed() -> None:
    # External check: the model is not told of these 305 eyes. Wilson interval of 9 of 305: 1.56 to 5.51 percent.
    assert 1.56 < 100 * (program(PHACO).probability or 0) < 5.51
    assert "ravindran-2020" not in {source.series for source in program(PHACO).sources}


def test_another_nucleus_by_small_incision_has_the_overall_rate() -> None:
    # No figure of this series is for a nucleus that is not brunescent.
    found = program(SMALL_INCISION, "hard")
    assert found.probability == found.usual
    assert "ravindran-2020" not in {source.series for source in found.sources}
