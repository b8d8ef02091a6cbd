"""Ursell PG, Dhariwal M, O'Boyle D, Khan J, Venerus A. 5 year incidence of YAG capsulotomy and PCO after cataract
surgery with single-piece monofocal intraocular lenses: a real-world evidence study of 20,763 eyes. Eye (Lond)
2020;34(5):960-968, doi 10.1038/s41433-019-0630-9, PMID 31616057.

Read: the abstract, at pubmed.gov/31616057.
"""

from __future__ import annotations

import re

import pytest

from consent.case import read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.pack import compose_pack
from consent.print import to_html
from consent.resources import package_data
from consent.risk import Estimate, assess_risks

ORDINARY = read_case(package_data("case", "examples", "ordinary.toml"))


def program(population: str = "uk") -> Estimate:
    """What the program says of laser for a clouded capsule in the ordinary shipped case."""
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(ORDINARY, clinic) if found.outcome == "capsule_clouding_laser")


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_range_is_the_printed_one(population: str) -> None:
    # "The incidence of Nd:YAG capsulotomy ranged between 2.4-12.6% at 3 years and 5.8-19.3% at 5 years".
    found = program(population).interval
    assert found is not None
    assert (100 * found.low, 100 * found.high) == pytest.approx((2.4, 12.6), abs=0.05)
    assert found.kind == "spread over lens models"
    assert program(population).horizon == "years_3"


def test_it_stays_a_range_with_no_single_figure() -> None:
    found = program()
    assert (found.probability, found.usual) == (None, None)
    assert not found.single_figure
    assert [step.value for step in found.chain] == ["2.4 to 12.6 %"]
    assert [source.printed for source in found.sources] == ["2.4 to 12.6 %"]


def test_a_patient_reads_a_range_of_1000() -> None:
    assert usual_shown(program()) == Shown("range", low=24, high=126)


def test_the_risk_sheet_prints_both_ends_and_no_middle() -> None:
    # 24 to 126 of 1,000 have it, 874 to 976 do not, within 3 years: no other number stands in its paragraph.
    sheet = compose_pack(ORDINARY, read_clinic(), ("en",), ("risk-sheet",)).documents[0]
    text = re.sub(r"<[^>]+>", " ", to_html(sheet))
    paragraph = text.partition("The bag behind the new lens turns cloudy")[2].partition("counted in")[0]
    assert set(re.findall(r"[\d,]+\d|\d", paragraph)) == {"24", "126", "1,000", "874", "976", "3"}


def test_the_five_year_range_reaches_no_estimate() -> None:
    assert {source.reference for source in program().sources} == {"ursell-2020/laser-capsulotomy-3-years"}
