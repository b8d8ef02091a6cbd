"""Lundström M, Barry P, Henry Y, Rosen P, Stenevi U. Visual outcome of cataract surgery; study from the European
Registry of Quality Outcomes for Cataract and Refractive Surgery. J Cataract Refract Surg 2013;39(5):673-679.

Read: the opening of the abstract (lup.lub.lu.se) and an editors' summary of the paper by the American Academy of
Ophthalmology (aao.org, editors' choice), which quotes the figures tested here.
"""

from __future__ import annotations

import pytest

from consent.case import read_case
from consent.clinic import Clinic, read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.evidence import Verified, library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks, unaccepted_series


def program(outcome: str = "vision_worse", population: str = "uk") -> Estimate:
    """What the program says of an outcome in the ordinary shipped case."""
    clinic = read_clinic().model_copy(update={"population": population})
    said = assess_risks(read_case(package_data("case", "examples", "ordinary.toml")), clinic)
    return next(found for found in said if found.outcome == outcome)


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_quoted_rate(population: str) -> None:
    # "CDVA improved in 92.6 percent of patients and worsened in 1.7 percent after surgery", 368,256 extractions.
    found = program(population=population)
    assert 100 * (found.probability or 0) == pytest.approx(1.7, abs=0.05)
    assert found.interval is None
    assert library().one("lundstrom-2013").operations == 368_256


def test_better_and_worse_leave_room_for_the_same() -> None:
    # Not inputs: 100 - 92.6 - 1.7 = 5.7 percent unchanged.
    assert 100 - 92.6 - 100 * (program().probability or 0) == pytest.approx(5.7, abs=0.05)


def test_a_patient_reads_17_of_1000() -> None:
    assert usual_shown(program()) == Shown("count", count=17)


def test_a_quoted_figure_says_so_and_waits_for_the_clinic() -> None:
    # House rule: what was not read in its own paper never passes for read.
    found = program()
    assert found.weakest is Verified.QUOTED
    assert all(source.read_in for source in found.sources)
    unasked = Clinic.model_validate(read_clinic().model_dump(by_alias=True) | {"accepted_series": ()})
    assert unaccepted_series(found, unasked) == ("lundstrom-2013",)


def test_good_vision_over_all_lies_between_the_two_groups_of_another_database() -> None:
    # "CDVA of 0.5 (20/40) or better was achieved in 94.3 percent" of all eyes; Day 2015 has 94.6 percent without and
    # 79.9 with another disease of the eye.
    found = library().cited("lundstrom-2013/good-vision").figure.probability
    others = [
        library().cited(f"day-2015/good-vision-{group}").figure.probability
        for group in ("other-disease", "no-other-disease")
    ]
    assert others[0] < found < others[1]
    assert found == pytest.approx(0.943, abs=0.0005)
