"""Salowi MA, Chew FLM, Adnan TH, King C, Ismail M, Goh PP. The Malaysian Cataract Surgery Registry: risk indicators for
posterior capsular rupture. Br J Ophthalmol 2017;101:1466-1470, doi 10.1136/bjophthalmol-2016-309902, PMID 28292773.

Read: the abstract, at mymedr.afpm.org.my/publications/50227; authors at bjo.bmj.com.
"""

from __future__ import annotations

import math

import pytest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.evidence import library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks
from consent.risk.odds import odds


def program(population: str = "uk", **eye: object) -> Estimate:
    """What the program says of capsule rupture in the ordinary shipped case with the eye changed."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    clinic = read_clinic().model_copy(update={"population": population})
    return next(found for found in assess_risks(case, clinic) if found.outcome == "capsule_rupture")


def test_the_ratio_of_pseudoexfoliation_bounds_the_range_below() -> None:
    # "pseudoexfoliation (95% CI 1.02 to 1.82; OR 1.36)" in place of the model's 2.92. The United Kingdom has the lower
    # of the two reference rates, so only the ratio moves its lower end.
    found = program(pseudoexfoliation=Answer.YES)
    assert found.interval is not None
    assert odds(found.interval.low) / odds(found.probability or 0) == pytest.approx(1.36 / 2.92, rel=1e-9)


def test_by_hand() -> None:
    # Woman of 65, every other factor at its reference: odds 0.0039475 (UK) x 1.14 x 1.36 = 0.0061202, 0.608 percent.
    # 0.0039475: 9730 of 961 208, odds 0.0102262, over 2.59054.
    found = program(pseudoexfoliation=Answer.YES).interval
    assert found is not None
    assert 100 * found.low == pytest.approx(0.608, abs=0.0005)


def test_an_eye_without_it_is_not_touched() -> None:
    assert "salowi-2017" not in {source.series for source in program().sources}
    assert "salowi-2017" in {source.series for source in program(pseudoexfoliation=Answer.YES).sources}


def test_where_it_is_not_known_the_lower_end_stays_without_it() -> None:
    # An eye that may not have it at all has a lower end below 1.36 times the odds: the factor is taken as absent there.
    unknown, absent = program(pseudoexfoliation=Answer.UNKNOWN), program()
    assert unknown.interval is not None and absent.interval is not None
    assert unknown.interval.low == absent.interval.low
    assert unknown.interval.high > absent.interval.high


def test_the_printed_ratio_is_the_middle_of_its_interval() -> None:
    # Altman and Bland, BMJ 2011;343:d2304: sqrt(1.02 x 1.82) = 1.362.
    assert math.sqrt(1.02 * 1.82) == pytest.approx(1.36, abs=0.005)


def test_the_rate_of_the_registry_is_nobodys_usual_eye() -> None:
    # "150 213 cataract operations ... overall PCR rate of 3.2%": more than twice either reference population.
    rate = library().cited("salowi-2017/capsule-rupture").figure.probability
    assert 100 * rate == pytest.approx(3.2, abs=0.05)
    assert all((program(population).usual or 1) < rate / 2 for population in ("uk", "south-asia"))
