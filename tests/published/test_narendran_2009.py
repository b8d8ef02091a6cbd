"""Narendran N et al. The Cataract National Dataset electronic multicentre audit of 55,567 operations: risk
stratification for posterior capsule rupture and vitreous loss. Eye (Lond) 2009;23:31-37, doi 10.1038/sj.eye.6703049.

The odds ratios are those of the paper as quoted by a UK surgeon-training page; the table itself was not read.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest

import consent
from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Clinic, read_clinic
from consent.errors import CaseError
from consent.evidence import OddsModel, library
from consent.risk import assess_risks, risk_plan
from consent.risk.odds import combine, odds
from consent.risk.plan import RiskPlan
from consent.risk.recalibration import mean_composite

# Adjusted odds ratios, Narendran et al, Eye 2009;23:31-37, as quoted.
PRINTED: dict[str, dict[str, float]] = {
    "age": {"under 60": 1.00, "60-69": 1.14, "70-79": 1.42, "80-89": 1.58, "90 and over": 2.37},
    "sex": {"female": 1.00, "male": 1.28},
    "glaucoma": {"no": 1.00, "yes": 1.30},
    "diabetic retinopathy": {"no": 1.00, "yes": 1.63},
    "brunescent or white": {"no": 1.00, "yes": 2.99},
    "no fundal view": {"no": 1.00, "yes": 2.46},
    "pseudoexfoliation or phacodonesis": {"no": 1.00, "yes": 2.92},
    "pupil": {"large": 1.00, "medium": 1.14, "small": 1.45},
    "axial length": {"under 26 mm": 1.00, "26 mm and over": 1.47},
    "doxazosin": {"no": 1.00, "yes": 1.51},
    "cannot lie flat": {"no": 1.00, "yes": 1.27},
    "surgeon grade": {
        "consultant": 1.00,
        "associate specialist": 0.87,
        "staff grade": 0.36,
        "fellow": 1.65,
        "specialist registrar": 1.60,
        "senior house officer": 3.73,
    },
}
OVERALL, REFERENCE = 0.0192, 0.0075  # 1.92 percent of 55,567 operations; best-case profile about 0.75 percent

# A woman of 55, consultant, large pupil, axial length below 26 mm, nothing else: the reference profile of the table.
BEST: dict[str, object] = {
    "patient.age_years": 55,
    "patient.sex": "female",
    "eye.nucleus.grade": "medium",
    "eye.pupil_grade": "large",
    "eye.axial_length_mm": 23.5,
}
# Every factor at its highest ratio.
WORST: dict[str, object] = {
    "patient.age_years": 95,
    "patient.sex": "male",
    "eye.glaucoma": "open angle",
    "eye.retinopathy": "proliferative",
    "eye.nucleus.grade": "brunescent",
    "eye.fundus_seen": "no",
    "eye.pseudoexfoliation": "yes",
    "eye.phacodonesis": "yes",
    "eye.pupil_grade": "small",
    "eye.axial_length_mm": 28.0,
    "health.diabetes": "yes",
    "health.alpha_blocker": {"ever": "yes", "drugs": ["doxazosin"], "taking_now": "yes"},
    "health.can_lie_flat": "no",
    "plan.surgeon.grade": "senior house officer",
}


def eye(**changes: object) -> Case:
    """The shipped ordinary case made into the reference profile, then changed: ``{"eye.white": "yes"}``."""
    path = Path(consent.__file__).parent / "case" / "examples" / "ordinary.toml"
    data: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    del data["patient"]["birth_date"]
    for key, value in {**BEST, **changes}.items():
        *parts, last = key.split(".")
        table = data
        for part in parts:
            table = table[part]
        table[last] = value
    return validate(data, Case, CaseError, "case.toml")


@pytest.fixture
def clinic() -> Clinic:
    return read_clinic()


@pytest.fixture
def own_population() -> RiskPlan:
    """The plan with the paper's own 55,567 operations as the reference population, so that nothing is moved."""
    own = {"capsule_rupture": "narendran-2009/capsule-rupture"}
    return risk_plan().model_copy(update={"populations": {"south-asia": own, "uk": own}})


@pytest.fixture
def model() -> OddsModel:
    found = library().one("narendran-2009").model
    assert found is not None
    return found


def rupture_percent(case: Case, clinic: Clinic, plan: RiskPlan) -> float:
    found = next(e for e in assess_risks(case, clinic, plan) if e.outcome == "capsule_rupture")
    assert found.probability is not None
    return 100 * found.probability


def test_the_odds_ratios_are_the_printed_ones(model: OddsModel) -> None:
    held = {factor.id: {level.id: level.odds_ratio for level in factor.levels} for factor in model.factors}
    assert held == PRINTED


def test_the_ratio_of_men_is_quoted_a_second_time(model: OddsModel) -> None:
    # Br J Ophthalmol, response of 25 October 2017 to 101:1466-1470 (bjo.bmj.com/content/101/11/1466.responses): "The
    # Cataract National Dataset of 55,567 cataract operations ... found male gender to have an adjusted odds ratio of
    # 1.28 (95% CI 1.13-1.45)".
    assert model.factor("sex").level("male").odds_ratio == pytest.approx(1.28, abs=0.005)


def test_the_bands_begin_where_the_table_begins_them(model: OddsModel) -> None:
    # <60, 60-69, 70-79, 80-89, 90+; axial length 26.0 mm and over.
    age = model.factor("age")
    edges = {59: "under 60", 60: "60-69", 69: "60-69", 70: "70-79", 79: "70-79", 80: "80-89", 89: "80-89"}
    assert {years: age.band(years).id for years in edges} == edges
    assert age.band(90).id == age.band(104).id == "90 and over"
    length = model.factor("axial length")
    assert (length.band(25.99).odds_ratio, length.band(26.0).odds_ratio) == (1.00, 1.47)


def test_size_and_overall_rate(model: OddsModel) -> None:
    series = library().one("narendran-2009")
    assert series.operations == 55_567
    assert series.figure(model.overall_probability).probability == pytest.approx(OVERALL, abs=0.00005)
    assert series.figure(model.reference_probability).probability == pytest.approx(REFERENCE, abs=0.00005)


def test_the_reference_profile(clinic: Clinic, own_population: RiskPlan) -> None:
    # 0.75 percent.
    assert rupture_percent(eye(), clinic, own_population) == pytest.approx(0.75, abs=0.005)


def test_the_reference_profile_with_a_brunescent_lens_only(clinic: Clinic, own_population: RiskPlan) -> None:
    # By hand: odds 0.0075/0.9925 = 0.00755668, times 2.99 = 0.0225945, over 1.0225945 = 2.21 percent.
    case = eye(**{"eye.nucleus.grade": "brunescent"})
    assert rupture_percent(case, clinic, own_population) == pytest.approx(2.21, abs=0.005)


def test_a_woman_of_65_with_a_brunescent_lens_and_a_medium_pupil(clinic: Clinic, own_population: RiskPlan) -> None:
    # By hand: 1.14 x 2.99 x 1.14 = 3.886; 0.00755668 x 3.886 = 0.029364; 0.029364/1.029364 = 2.85 percent.
    case = eye(**{"patient.age_years": 65, "eye.nucleus.grade": "brunescent", "eye.pupil_grade": "medium"})
    assert rupture_percent(case, clinic, own_population) == pytest.approx(2.85, abs=0.005)


def test_the_worst_profile_is_above_three_quarters(clinic: Clinic, own_population: RiskPlan) -> None:
    # The paper's worst case is said to lie above 75 percent (not read). By hand: the product of the twelve highest
    # ratios is 2105, the odds 0.00755668 x 2105 = 15.91, the probability 15.91/16.91.
    product = math.prod(max(levels.values()) for levels in PRINTED.values())
    assert product == pytest.approx(2105, abs=1)
    found = rupture_percent(eye(**WORST), clinic, own_population)
    assert found > 75
    assert found == pytest.approx(100 * 15.91 / 16.91, abs=0.05)


def test_overall_odds_over_reference_odds() -> None:
    # By hand: (0.0192/0.9808)/(0.0075/0.9925) = 0.0195759/0.00755668 = 2.59.
    assert mean_composite(OVERALL, REFERENCE) == pytest.approx(2.59, abs=0.005)


def test_odds_are_multiplied_not_probabilities() -> None:
    # logit(p) = logit(p0) + sum of ln OR, the definition of a logistic model: the slow way, through logarithms.
    ratios = [1.58, 1.28, 2.99, 2.46, 2.92, 1.45]
    logit = math.log(REFERENCE / (1 - REFERENCE)) + sum(map(math.log, ratios))
    assert combine(odds(REFERENCE), ratios) == pytest.approx(1 / (1 + math.exp(-logit)), rel=1e-12)
    assert combine(odds(REFERENCE), ratios) < REFERENCE * math.prod(ratios)


def test_the_figures_not_read_in_the_paper_say_so(model: OddsModel) -> None:
    # The table was quoted at second hand and the reference probability is from memory; neither may pass for read.
    series = library().one("narendran-2009")
    assert not model.verified.is_primary
    assert model.read_in
    assert not series.figure(model.reference_probability).verified.is_primary
    assert not series.figure(model.overall_probability).verified.is_primary
