"""The odds model as encoded, recovered from simulated operations by maximum likelihood: the slow independent way.

Model: Narendran N et al. Eye (Lond) 2009;23:31-37, doi 10.1038/sj.eye.6703049. Fit: Hosmer DW, Lemeshow S. Applied
Logistic Regression; reference library: statsmodels, Logit.

200,000 eyes are drawn with plausible shares of every factor (invented for this test: a mixed list with more hard lenses
than the paper's), each with its probability of rupture. That of the first 3,000 comes from the program, through real
cases: facts, factor levels, odds. A logistic model fitted to the outcomes must give every encoded ratio and the encoded
reference probability back.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from statsmodels.discrete.discrete_model import Logit

from consent.case import Case
from consent.case.reading import validate
from consent.errors import CaseError
from consent.evidence import Level, OddsModel, Use, library
from consent.resources import package_data
from consent.risk.factors import factor_levels
from consent.risk.odds import combine, odds

EYES, AS_CASES, COMPARED = 200_000, 3_000, 300
SHARES = {
    "age": (0.14, 0.26, 0.34, 0.22, 0.04),
    "sex": (0.55, 0.45),
    "glaucoma": (0.90, 0.10),
    "diabetic retinopathy": (0.94, 0.06),
    "brunescent or white": (0.88, 0.12),
    "no fundal view": (0.93, 0.07),
    "pseudoexfoliation or phacodonesis": (0.95, 0.05),
    "pupil": (0.70, 0.20, 0.10),
    "axial length": (0.94, 0.06),
    "doxazosin": (0.95, 0.05),
    "cannot lie flat": (0.96, 0.04),
    "surgeon grade": (0.56, 0.09, 0.08, 0.07, 0.13, 0.07),
}
# One seed for the facts, one for the outcomes; 4 standard errors in 20 estimates fail once in about 750 seeds.
FACTS, OUTCOMES = 31, 37

ODDS_MODEL = library().one("narendran-2009").model
assert ODDS_MODEL is not None
TERMS = [(factor.id, level.id) for factor in ODDS_MODEL.factors for level in factor.levels[1:]]


def used_ratio(level: Level) -> float:
    """The ratio the program uses: one marked "not for calculation" (staff grade, 0.36) counts as the reference."""
    return 1.0 if level.use is Use.NOT_FOR_CALCULATION else level.odds_ratio


@dataclass(frozen=True)
class Drawn:
    """Operations: for each factor the index of the level in each eye, and the probability of rupture."""

    levels: dict[str, np.ndarray]
    probability: np.ndarray


def told(key: str, *values: object) -> list[dict[str, object]]:
    """Ways of telling one fact."""
    return [{key: value} for value in values]


def both(first: str, second: str, *pairs: tuple[object, object]) -> list[dict[str, object]]:
    """Ways of telling two facts that count together."""
    return [{first: one, second: other} for one, other in pairs]


# Facts of a case that mean each level of each factor: band edges, and every way a clinic may write it.
TOLD: dict[str, dict[str, list[dict[str, object]]]] = {
    "age": {
        "under 60": told("patient.age_years", 18, 45, 59),
        "60-69": told("patient.age_years", 60, 65, 69),
        "70-79": told("patient.age_years", 70, 75, 79),
        "80-89": told("patient.age_years", 80, 85, 89),
        "90 and over": told("patient.age_years", 90, 97, 120),
    },
    "sex": {sex: told("patient.sex", sex) for sex in ("female", "male")},
    "glaucoma": {
        "no": told("eye.glaucoma", "none"),
        "yes": told("eye.glaucoma", "open angle", "angle closure", "other"),
    },
    "diabetic retinopathy": {
        "no": both("health.diabetes", "eye.retinopathy", ("no", "none"), ("no", "unknown"), ("yes", "none")),
        "yes": both(
            "health.diabetes",
            "eye.retinopathy",
            *(("yes", grade) for grade in ("mild", "moderate", "severe", "proliferative")),
        ),
    },
    "brunescent or white": {
        "no": both("eye.nucleus", "eye.white", *(({"grade": grade}, "no") for grade in ("soft", "medium", "hard"))),
        "yes": both(
            "eye.nucleus",
            "eye.white",
            ({"grade": "brunescent"}, "no"),
            ({"grade": "brunescent"}, "unknown"),
            ({"grade": "unknown"}, "yes"),
            ({"grade": "medium"}, "yes"),
        ),
    },
    "no fundal view": {"no": told("eye.fundus_seen", "yes"), "yes": told("eye.fundus_seen", "no")},
    "pseudoexfoliation or phacodonesis": {
        "no": both("eye.pseudoexfoliation", "eye.phacodonesis", ("no", "no")),
        "yes": both(
            "eye.pseudoexfoliation",
            "eye.phacodonesis",
            ("yes", "no"),
            ("yes", "unknown"),
            ("no", "yes"),
            ("yes", "yes"),
        ),
    },
    "pupil": {grade: told("eye.pupil_grade", grade) for grade in ("large", "medium", "small")},
    "axial length": {
        "under 26 mm": told("eye.axial_length_mm", 20.0, 23.4, 25.99),
        "26 mm and over": told("eye.axial_length_mm", 26.0, 29.5, 34.0),
    },
    "doxazosin": {
        "no": told(
            "health.alpha_blocker",
            {"ever": "no"},
            {"ever": "yes", "drugs": ["tamsulosin"], "taking_now": "yes"},
            {"ever": "yes", "drugs": ["doxazosin"], "taking_now": "no"},
        ),
        "yes": told(
            "health.alpha_blocker",
            {"ever": "yes", "drugs": ["doxazosin"], "taking_now": "yes"},
            {"ever": "yes", "drugs": ["tamsulosin", "doxazosin"], "taking_now": "yes"},
        ),
    },
    "cannot lie flat": {"no": told("health.can_lie_flat", "yes"), "yes": told("health.can_lie_flat", "no")},
    "surgeon grade": {
        grade: told("plan.surgeon", {"name": "Dr Invented", "grade": grade})
        for grade in (
            "consultant",
            "associate specialist",
            "staff grade",
            "fellow",
            "specialist registrar",
            "senior house officer",
        )
    },
}


@cache
def shipped() -> dict[str, Any]:
    """The ordinary shipped case as it is written, without its birth date."""
    data = tomllib.loads(package_data("case", "examples", "ordinary.toml").read_text(encoding="utf-8"))
    del data["patient"]["birth_date"]
    return data


def case_of(level: dict[str, str], draws: np.random.Generator) -> Case:
    """The shipped case changed to these levels of the factors, each told in one of its ways."""
    data = {key: dict(value) if isinstance(value, dict) else value for key, value in shipped().items()}
    for factor, name in level.items():
        ways = TOLD[factor][name]
        for key, value in ways[draws.integers(len(ways))].items():
            table, _, last = key.partition(".")
            data[table][last] = value
    return validate(data, Case, CaseError, "case.toml")


def by_the_program(case: Case, model: OddsModel) -> float:
    """Probability of rupture of a case, at the encoded reference probability."""
    reference = library().one("narendran-2009").figure(model.reference_probability).probability
    return combine(odds(reference), [level.odds_ratio for level in factor_levels(case, model, grade_counts=True)])


def by_arithmetic(levels: dict[str, np.ndarray], model: OddsModel) -> np.ndarray:
    """Probability of rupture of every eye: logit(p) = logit(p0) + sum of ln OR (Hosmer and Lemeshow)."""
    reference = library().one("narendran-2009").figure(model.reference_probability).probability
    logit = np.full(EYES, math.log(reference / (1 - reference)))
    for factor in model.factors:
        logit += np.log([used_ratio(level) for level in factor.levels])[levels[factor.id]]
    return 1 / (1 + np.exp(-logit))


def names(levels: dict[str, np.ndarray], model: OddsModel, eye: int) -> dict[str, str]:
    """The levels of one eye by name."""
    return {factor.id: factor.levels[levels[factor.id][eye]].id for factor in model.factors}


@pytest.fixture(scope="module")
def model() -> OddsModel:
    assert ODDS_MODEL is not None
    return ODDS_MODEL


@pytest.fixture(scope="module")
def drawn(model: OddsModel) -> Drawn:
    """The operations; the first 3,000 probabilities are the program's own, through real cases."""
    draws = np.random.default_rng(FACTS)
    levels = {name: draws.choice(len(shares), EYES, p=shares) for name, shares in SHARES.items()}
    probability = by_arithmetic(levels, model)
    for eye in range(AS_CASES):
        probability[eye] = by_the_program(case_of(names(levels, model, eye), draws), model)
    return Drawn(levels, probability)


@pytest.fixture(scope="module")
def fitted(drawn: Drawn, model: OddsModel) -> dict[tuple[str, str], tuple[float, float]]:
    """Estimate and standard error of each ln OR by (factor, level), and of the intercept by ("", "")."""
    torn = np.random.default_rng(OUTCOMES).random(EYES) < drawn.probability
    columns = [np.ones(EYES)]
    for factor in model.factors:
        columns += [drawn.levels[factor.id] == index for index in range(1, len(factor.levels))]
    fit = Logit(torn.astype(float), np.column_stack(columns).astype(float)).fit(disp=False)
    assert fit.mle_retvals["converged"]
    return dict(zip([("", ""), *TERMS], zip(fit.params, fit.bse, strict=True), strict=True))


def test_every_factor_of_the_model_is_drawn(model: OddsModel) -> None:
    assert {factor.id: len(factor.levels) for factor in model.factors} == {n: len(s) for n, s in SHARES.items()}
    assert all(sum(shares) == pytest.approx(1) for shares in SHARES.values())
    assert {factor.id: [level.id for level in factor.levels] for factor in model.factors} == {
        factor: list(levels) for factor, levels in TOLD.items()
    }


def test_the_program_and_the_arithmetic_agree_on_300_cases(drawn: Drawn, model: OddsModel) -> None:
    # The mapping from facts to odds under test: new facts for the same levels, in eyes drawn at random.
    draws = np.random.default_rng(300)
    exact = by_arithmetic(drawn.levels, model)
    chosen = draws.choice(EYES, COMPARED, replace=False)
    found = [by_the_program(case_of(names(drawn.levels, model, eye), draws), model) for eye in chosen]
    assert found == pytest.approx(exact[chosen], rel=1e-12)


def test_the_levels_read_from_a_case_are_the_levels_drawn(drawn: Drawn, model: OddsModel) -> None:
    # By name, not only by product: two wrong ratios must not make up for one another.
    draws = np.random.default_rng(12)
    for eye in draws.choice(EYES, COMPARED, replace=False):
        meant = names(drawn.levels, model, eye)
        if meant["surgeon grade"] == "staff grade":
            meant["surgeon grade"] = "consultant"  # its ratio is not for calculation
        read = {found.factor: found.level for found in factor_levels(case_of(meant, draws), model, grade_counts=True)}
        assert read == meant


@pytest.mark.parametrize("term", TERMS, ids=[f"{factor}: {level}" for factor, level in TERMS])
def test_each_ratio_is_recovered(
    term: tuple[str, str], fitted: dict[tuple[str, str], tuple[float, float]], model: OddsModel
) -> None:
    estimate, error = fitted[term]
    truth = math.log(used_ratio(model.factor(term[0]).level(term[1])))
    assert abs(estimate - truth) < 4 * error
    assert error < 0.12  # enough operations for the comparison to mean something


def test_the_reference_probability_is_recovered(fitted: dict[tuple[str, str], tuple[float, float]]) -> None:
    # Best profile, as encoded: 0.75 percent, odds 0.0075/0.9925.
    estimate, error = fitted["", ""]
    assert abs(estimate - math.log(0.0075 / 0.9925)) < 4 * error
    assert error < 0.1


def test_the_errors_are_about_as_large_as_they_should_be(
    fitted: dict[tuple[str, str], tuple[float, float]], model: OddsModel
) -> None:
    # Standardised errors of 20 terms: their mean square is near 1 (chi-squared with 20 degrees of freedom over 20, 0.1
    # percent tails about 0.3 and 2.3).
    squares = [
        ((estimate - math.log(used_ratio(model.factor(factor).level(level)))) / error) ** 2
        for (factor, level), (estimate, error) in fitted.items()
        if factor
    ]
    assert 0.3 < float(np.mean(squares)) < 2.3
