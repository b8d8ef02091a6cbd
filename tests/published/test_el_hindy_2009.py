"""El-Hindy N, Johnston RL, Jaycock P, Eke T, Braga AJ, Tole DM, Galloway P, Sparrow JM; UK EPR user group. The Cataract
National Dataset electronic multi-centre audit of 55 567 operations: anaesthetic techniques and complications. Eye
(Lond) 2009;23(1):50-55, doi 10.1038/sj.eye.6703031.

Read: the abstract, in the repository of the London School of Hygiene and Tropical Medicine (eprint 57300).
"""

from __future__ import annotations

import pytest

from consent.case import Anaesthesia, read_case
from consent.clinic import read_clinic
from consent.compose.counts import Shown
from consent.compose.figures import usual_shown
from consent.resources import package_data
from consent.risk import Estimate, assess_risks

BLOCKS = [Anaesthesia.SUB_TENON, Anaesthesia.PERIBULBAR, Anaesthesia.RETROBULBAR]


def program(anaesthesia: Anaesthesia | None, population: str = "uk") -> Estimate:
    """What the program says of harm from the anaesthetic in the ordinary shipped case, numbed in this way."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"plan": case.plan.model_copy(update={"anaesthesia": anaesthesia})})
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(case, clinic) if found.outcome == "anaesthetic_harm")


@pytest.mark.parametrize("block", BLOCKS)
@pytest.mark.parametrize("population", ["uk", "south-asia"])
def test_the_printed_rate_of_a_block(block: Anaesthesia, population: str) -> None:
    # "Serious complications, defined as sight or life threatening occurred in 25 eyes, 0.066%, undergoing sharp needle
    # or subtenons cannula blocks"; "38,058 local blocks".
    found = program(block, population)
    assert 100 * (found.probability or 0) == pytest.approx(0.066, abs=0.0005)
    assert 38_058 * (found.probability or 0) == pytest.approx(25, abs=0.5)


def test_the_denominator_is_the_blocks_of_the_printed_shares() -> None:
    # Not inputs: local anaesthesia in 95.5 percent of 55,567, topical alone in 22.3 and topical with intracameral in
    # 4.7, so a block in 68.5 percent. Tolerance: half a digit of each of the three shares.
    eyes = 25 / (program(Anaesthesia.PERIBULBAR).probability or 1)
    assert 100 * eyes / 55_567 == pytest.approx(95.5 - 22.3 - 4.7, abs=0.15)


@pytest.mark.parametrize("without", [Anaesthesia.TOPICAL, Anaesthesia.TOPICAL_INTRACAMERAL, Anaesthesia.GENERAL])
def test_without_a_block_no_figure_is_given(without: Anaesthesia) -> None:
    found = program(without)
    assert (found.probability, found.usual, found.sources) == (None, None, ())


def test_where_the_anaesthetic_is_not_known_the_block_is_shown_and_said() -> None:
    found = program(None)
    assert found.probability == program(Anaesthesia.SUB_TENON).probability
    assert "assume.fact-unknown" in {note.id for note in found.assumptions}


def test_the_ratio_of_needle_to_cannula_is_not_multiplied_in() -> None:
    # "Sharp needle techniques had a 2.5-fold increased risk", without an interval.
    assert len({program(block).probability for block in BLOCKS}) == 1


def test_a_patient_reads_7_of_10000() -> None:
    assert usual_shown(program(Anaesthesia.PERIBULBAR)) == Shown("fewer", tenth=7)
