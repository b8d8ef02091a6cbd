"""Aswin PR, Harika K, Shekhar M, Sankarananthan R, Shah A, Lakshmanan P, Aravind H. Morphological variations
influencing the outcomes in posterior polar cataract. Indian J Ophthalmol 2022;70:2426-2431, doi
10.4103/ijo.IJO_2764_21, PMID 35791124.

Read: the abstract (ouci.dntb.gov.ua/en/works/lD3Dn3q4) and the table of ruptures by type (ai-bt.com, PMID 35791124).

The abstract prints 9.3 percent for 35 of 388 eyes, where the table prints 9.0, and 17.7 percent for type 4, where the
table's 12 of 156 are 7.7. The program uses the counts.
"""

from __future__ import annotations

import pytest

from consent.case import Answer, Operation, read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown, show
from consent.evidence import library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks

# Table of ruptures by type: with a rupture, all eyes, percent as printed.
TYPES = {1: (3, 89, 3.4), 2: (14, 135, 10.4), 3: (6, 8, 75.0), 4: (12, 156, 7.7)}


def program(operation: str = "phacoemulsification", population: str = "south-asia") -> Estimate:
    """What the program says of capsule rupture in the ordinary shipped case with a posterior polar cataract."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    eye = case.eye.model_copy(update={"posterior_polar": Answer.YES})
    plan = case.plan.model_copy(update={"operation": Operation(operation)})
    clinic = read_clinic().model_copy(update={"population": population})
    said = assess_risks(case.model_copy(update={"eye": eye, "plan": plan}), clinic)
    return next(found for found in said if found.outcome == "capsule_rupture")


@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_rate_of_the_table(population: str) -> None:
    # "Total: 35 (9.0), 353 (91.0)".
    found = program(population=population)
    assert 100 * (found.probability or 0) == pytest.approx(9.0, abs=0.05)
    assert 100 - 100 * (found.probability or 0) == pytest.approx(91.0, abs=0.05)


def test_the_types_of_the_table_make_the_rate() -> None:
    # Not inputs: 3 + 14 + 6 + 12 of 89 + 135 + 8 + 156.
    events, eyes = (sum(row[column] for row in TYPES.values()) for column in (0, 1))
    assert (events, eyes) == (35, 388)
    assert program().probability == events / eyes
    for torn, group, printed in TYPES.values():
        assert 100 * torn / group == pytest.approx(printed, abs=0.05)


def test_the_rate_of_the_abstract_lies_in_the_interval() -> None:
    # "Thirty-five (9.3%)": not the counts, but within their Wilson interval, 6.56 to 12.29 percent.
    found = program().interval
    assert found is not None
    assert (100 * found.low, 100 * found.high) == pytest.approx((6.56, 12.29), abs=0.005)
    assert found.low < 0.093 < found.high
    assert abs(100 * (program().probability or 0) - 9.3) > 0.05


def test_it_stands_outside_the_model() -> None:
    found = program()
    assert "assume.posterior-polar" in {note.id for note in found.assumptions}
    assert "narendran-2009" not in {source.series for source in found.sources}
    assert 100 * (found.usual or 0) == pytest.approx(1.37, abs=0.005)  # Haripriya 2017


def test_the_other_counts_of_the_abstract() -> None:
    # "vitreous loss in 21 (60%) eyes, and nucleus/cortex drop in 5 (1.3%) eyes".
    assert 100 * 21 / (388 * (program().probability or 1)) == pytest.approx(60, abs=0.5)
    drop = library().cited("aswin-2022/nucleus-or-cortex-drop").figure
    assert 100 * drop.probability == pytest.approx(1.3, abs=0.05)


def test_a_surgeon_who_accepts_it_shows_90_of_1000() -> None:
    found = program()
    assert found.interval is not None
    shown = show(found.probability, found.interval.low, found.interval.high, found.single_figure)
    assert shown == Shown("spread", count=90, low=66, high=123)
