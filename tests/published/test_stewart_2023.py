"""Stewart S, Gruszka-Goh MH, Neo YN, Braga AJ, de Klerk TA, Lindfield D, Nestel A, Donachie PHJ, Buchan JC. The Royal
College of Ophthalmologists' National Ophthalmology Database study of cataract surgery: report 12, risk factors for
suprachoroidal haemorrhage during cataract surgery. Eye (Lond) 2023, doi 10.1038/s41433-023-02514-y.

Read: the abstract, in the repository of the London School of Hygiene and Tropical Medicine (eprint 4669683).
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
    """What the program says of suprachoroidal haemorrhage in a shipped case."""
    clinic = read_clinic().model_copy(update={"population": population})
    said = assess_risks(read_case(package_data("case", "examples", f"{name}.toml")), clinic)
    return next(found for found in said if found.outcome == "suprachoroidal_haemorrhage")


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_printed_rate(population: str) -> None:
    # "AISH occurred in 0.03% (204/709 083 ...)".
    found = program(population=population)
    assert 100 * (found.probability or 0) == pytest.approx(0.03, abs=0.005)
    assert [source.printed.rpartition(", ")[2] for source in found.sources] == ["204 of 709083"]


def test_it_is_about_1_in_3500() -> None:
    # Not an input: "approximately 1 in 3 500", printed to the hundred.
    assert 1 / (program().probability or 1) == pytest.approx(3500, abs=50)


def test_a_patient_reads_3_of_10000() -> None:
    assert usual_shown(program()) == Shown("fewer", tenth=3)


def test_its_interval_is_that_of_the_counts() -> None:
    # The abstract prints none. Reference library: scipy's exact interval, which agrees to the third digit here.
    found = program().interval
    assert found is not None
    exact = binomtest(204, 709_083).proportion_ci(method="exact")
    assert (found.low, found.high) == pytest.approx((exact.low, exact.high), rel=0.01)


def test_rupture_is_not_multiplied_in() -> None:
    # "Posterior capsule rupture was the risk factor most strongly associated (OR: 17.6)": it may follow the bleed, so
    # an eye at high risk of rupture has the same figure.
    assert program("hard") == program("ordinary")
