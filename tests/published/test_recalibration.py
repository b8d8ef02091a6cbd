"""Moving a published model to a centre: intercept update and shrinkage.

Steyerberg EW et al. Validation and updating of predictive logistic regression models. Stat Med 2004;23:2567-2586.
Dimick JB et al. Ranking hospitals on surgical mortality: the importance of reliability adjustment. Health Serv Res
2010;45:1614-1629. Model: Narendran et al, Eye 2009;23:31-37. Reference library: scipy.stats.gamma.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import integrate
from scipy.stats import beta, binom, gamma, poisson

import consent
from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Audit, Clinic, read_clinic
from consent.errors import CaseError
from consent.risk import Estimate, assess_risks, risk_plan
from consent.risk.odds import odds
from consent.risk.plan import RiskPlan
from consent.risk.recalibration import (
    beta_quantile,
    gamma_quantile,
    mean_composite,
    population_odds,
    shrink,
    shrink_interval,
    shrink_rate,
    shrink_rate_interval,
    strength_by_moments,
)

SHAPES = [5.0, 5.5, 7.0, 9.0, 12.25, 25.0, 60.0, 205.0, 1000.0, 5005.0]
LEVELS = [0.005, 0.025, 0.05, 0.25, 0.5, 0.75, 0.95, 0.975, 0.995]


def woman_of_65(**plan: object) -> Case:
    """A woman of 65, brunescent lens, medium pupil, every other factor at its reference level."""
    path = Path(consent.__file__).parent / "case" / "examples" / "ordinary.toml"
    data: dict[str, Any] = tomllib.loads(path.read_text(encoding="utf-8"))
    del data["patient"]["birth_date"]
    data["patient"]["age_years"] = 65
    data["eye"]["nucleus"] = {"grade": "brunescent"}
    data["eye"]["pupil_grade"] = "medium"
    data["plan"]["surgeon"] |= plan
    return validate(data, Case, CaseError, "case.toml")


def where_the_prior_is_one() -> RiskPlan:
    """The plan with the model's own series as reference population, so that an unaudited centre starts at 1."""
    own = {"capsule_rupture": "narendran-2009/capsule-rupture"}
    return risk_plan().model_copy(update={"populations": {"south-asia": own, "uk": own}})


def rupture(case: Case, clinic: Clinic) -> Estimate:
    plan = where_the_prior_is_one()
    return next(found for found in assess_risks(case, clinic, plan) if found.outcome == "capsule_rupture")


@pytest.fixture
def audited() -> Clinic:
    audit = Audit(operations=500, events=4, expected_events=9.0, years="2025")
    return read_clinic().model_copy(update={"audit": audit})


# Worked example, by hand: 4 events where the model expected 9.0; prior mean 1 with the strength of 5 events.
# lambda = (4 + 5)/(9 + 5) = 9/14 = 0.643; new reference odds 0.00755668 x 0.642857 = 0.004858.
# A woman of 65, brunescent, medium pupil: 1.14 x 2.99 x 1.14 = 3.886; 0.004858 x 3.886 = 0.018877; 1.85 percent.


def test_worked_example_the_ratio() -> None:
    assert shrink(4, 9.0, 1.0, 5.0) == pytest.approx(0.643, abs=0.0005)


def test_worked_example_the_reference_odds() -> None:
    assert odds(0.0075) * shrink(4, 9.0, 1.0, 5.0) == pytest.approx(0.004858, abs=0.0000005)


def test_worked_example_the_eye_before_the_audit() -> None:
    found = rupture(woman_of_65(), read_clinic())
    assert 100 * (found.probability or 0) == pytest.approx(2.85, abs=0.005)


def test_worked_example_the_eye_after_the_audit(audited: Clinic) -> None:
    found = rupture(woman_of_65(), audited)
    assert 100 * (found.probability or 0) == pytest.approx(1.85, abs=0.005)
    shown = {step.value for step in found.chain}
    assert {"0.643", "0.004858", "3.886", "1.85 %"} <= shown


def test_worked_example_a_trainee_after_the_audit(audited: Clinic) -> None:
    # The audit holds the centre's surgeons, so 3.73 is not multiplied in a second time.
    junior = woman_of_65(grade="senior house officer")
    assert 100 * (rupture(junior, audited).probability or 0) == pytest.approx(1.85, abs=0.005)
    assert 100 * (rupture(junior, read_clinic()).probability or 0) == pytest.approx(9.87, abs=0.005)  # 3.73 x 0.029364


def test_worked_example_the_range_of_the_audit(audited: Clinic) -> None:
    # Posterior Gamma(9, 14); limits from scipy. Low end with 2.41 for the brunescent lens (Sim 2024), high with 2.99.
    found = rupture(woman_of_65(), audited).interval
    assert found is not None
    base = 0.0075 / 0.9925
    for end, level, brunescent in ((found.low, 0.025, 2.41), (found.high, 0.975, 2.99)):
        expected = base * gamma.ppf(level, 9, scale=1 / 14) * 1.14 * brunescent * 1.14
        assert end / (1 - end) == pytest.approx(expected, rel=1e-9)


def test_an_unaudited_centre_starts_at_its_population(audited: Clinic) -> None:
    # With the shipped plan an unaudited centre starts where its population stands against the model: 1.37 percent
    # (8479 of 617 453, Haripriya 2017) over 1.92 (Narendran 2009). By hand: B = 0.0137322/0.0192 = 0.71522; lambda =
    # (4 + 5)/(9 + 5/0.71522) = 9/15.99083 = 0.562823; odds 0.00755668 x 0.562823 x 3.885804 = 0.0165266; 1.63 percent.
    found = next(e for e in assess_risks(woman_of_65(), audited) if e.outcome == "capsule_rupture")
    assert 100 * (found.probability or 0) == pytest.approx(1.63, abs=0.005)
    shown = {step.value for step in found.chain}
    assert {"0.72", "0.563"} <= shown


# The gamma distribution against the reference library.


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("level", LEVELS)
def test_gamma_quantiles_agree_with_scipy(shape: float, level: float) -> None:
    assert gamma_quantile(level, shape) == pytest.approx(gamma.ppf(level, shape), rel=1e-9)


@pytest.mark.parametrize(
    ("level", "shape", "table"),
    [
        # Chi-squared tables (Pearson and Hartley, Biometrika Tables for Statisticians, table 8): half the chi-squared
        # quantile with twice the shape as degrees of freedom. 10 df: 3.247, 20.483; 18 df: 8.231, 31.526.
        (0.025, 5, 3.247 / 2),
        (0.975, 5, 20.483 / 2),
        (0.025, 9, 8.231 / 2),
        (0.975, 9, 31.526 / 2),
    ],
)
def test_gamma_quantiles_agree_with_printed_tables(level: float, shape: float, table: float) -> None:
    assert gamma_quantile(level, shape) == pytest.approx(table, abs=0.0005)


# The posterior against the slow independent way: prior times likelihood, integrated numerically.

AUDITS = [(0, 3.0, 1.0), (4, 9.0, 1.0), (4, 9.0, 0.71), (12, 15.0, 0.53), (30, 18.5, 0.71), (90, 120.0, 0.71)]


def posterior(events: int, expected: float, prior_mean: float, strength: float) -> tuple[np.ndarray, np.ndarray]:
    """A grid of lambda with its posterior density: Gamma(strength, strength / mean) times Poisson(lambda expected)."""
    grid = np.linspace(1e-9, 6.0, 200_001)
    density = gamma.pdf(grid, strength, scale=prior_mean / strength) * poisson.pmf(events, grid * expected)
    return grid, density / integrate.trapezoid(density, grid)


@pytest.mark.parametrize(("events", "expected", "prior"), AUDITS)
def test_the_shrunk_ratio_is_the_posterior_mean(events: int, expected: float, prior: float) -> None:
    grid, density = posterior(events, expected, prior, 5.0)
    mean = integrate.trapezoid(grid * density, grid)
    assert shrink(events, expected, prior, 5.0) == pytest.approx(mean, rel=1e-6)


@pytest.mark.parametrize(("events", "expected", "prior"), AUDITS)
def test_its_interval_holds_95_percent_of_the_posterior(events: int, expected: float, prior: float) -> None:
    grid, density = posterior(events, expected, prior, 5.0)
    below = integrate.cumulative_trapezoid(density, grid, initial=0)
    low, high = shrink_interval(events, expected, prior, 5.0)
    assert np.interp([low, high], grid, below) == pytest.approx([0.025, 0.975], abs=1e-6)


@pytest.mark.parametrize(("events", "expected", "prior"), AUDITS)
def test_its_interval_is_scipys(events: int, expected: float, prior: float) -> None:
    shape, rate = events + 5.0, expected + 5.0 / prior
    found = shrink_interval(events, expected, prior, 5.0)
    assert found == pytest.approx(gamma.interval(0.95, shape, scale=1 / rate), rel=1e-9)


def test_shrinkage_lies_between_prior_and_audit() -> None:
    # Dimick 2010: a small audit stays near the prior, a large one reaches its own ratio.
    assert shrink(0, 0.001, 0.71, 5.0) == pytest.approx(0.71, rel=0.001)
    assert shrink(20_000, 10_000.0, 0.71, 5.0) == pytest.approx(2.0, rel=0.001)
    assert 0.71 < shrink(10, 8.0, 0.71, 5.0) < 10 / 8


# A crude rate without case inputs: Beta prior, binomial counts (Gelman et al, Bayesian Data Analysis, section 2.4: the
# posterior of Beta(a, b) after O events in n is Beta(a + O, b + n - O)).


@pytest.mark.parametrize(
    ("events", "operations", "percent"),
    [
        (4, 500, 0.90),  # Beta(5, 495): (4 + 5)/(500 + 500) = 9/1000
        (0, 150, 0.77),  # 5/650
    ],
)
def test_worked_example_a_crude_rate(events: int, operations: int, percent: float) -> None:
    assert 100 * shrink_rate(events, operations, 0.01, 500) == pytest.approx(percent, abs=0.005)


def test_worked_example_the_interval_of_a_crude_rate() -> None:
    # scipy.stats.beta(9, 991): 0.41 to 1.57 percent.
    found = shrink_rate_interval(4, 500, 0.01, 500)
    assert found == pytest.approx(beta.interval(0.95, 9, 991), rel=1e-8)
    assert [100 * end for end in found] == pytest.approx([0.41, 1.57], abs=0.005)


@pytest.mark.parametrize("a", [0.5, 5.0, 6.87, 9.0, 250.0])
@pytest.mark.parametrize("b", [0.5, 25.0, 495.0, 991.0, 19_000.0])
@pytest.mark.parametrize("level", [0.025, 0.5, 0.975])
def test_beta_quantiles_agree_with_scipy(a: float, b: float, level: float) -> None:
    assert beta_quantile(level, a, b) == pytest.approx(beta.ppf(level, a, b), rel=1e-7, abs=1e-11)


@pytest.mark.parametrize(("events", "operations"), [(0, 150), (4, 500), (30, 1000)])
def test_a_crude_rate_is_the_posterior_mean(events: int, operations: int) -> None:
    # The slow independent way: prior times likelihood on a grid.
    grid = np.linspace(1e-9, 0.2, 200_001)
    density = beta.pdf(grid, 0.0137 * 500, 0.9863 * 500) * binom.pmf(events, operations, grid)
    density /= integrate.trapezoid(density, grid)
    mean = integrate.trapezoid(grid * density, grid)
    assert shrink_rate(events, operations, 0.0137, 500) == pytest.approx(mean, rel=1e-6)
    below = integrate.cumulative_trapezoid(density, grid, initial=0)
    ends = shrink_rate_interval(events, operations, 0.0137, 500)
    assert np.interp(ends, grid, below) == pytest.approx([0.025, 0.975], abs=1e-6)


def test_worked_example_an_eye_after_a_crude_audit() -> None:
    # By hand, prior 1.92 percent with the weight of 500 operations: r = (4 + 9.6)/(500 + 500) = 1.36 percent; odds
    # 0.0137875 over the list's own composite 2.0 = 0.00689375; times 3.885804 = 0.0267878; 2.61 percent.
    audit = Audit(operations=500, events=4, mean_composite=2.0, years="2025")
    clinic = read_clinic().model_copy(update={"audit": audit})
    for grade in ("consultant", "senior house officer"):
        found = rupture(woman_of_65(grade=grade), clinic)
        assert 100 * (found.probability or 0) == pytest.approx(2.61, abs=0.005)


def test_a_crude_audit_without_its_composite_says_what_it_borrowed() -> None:
    # As above with 2.59 (Narendran 2009) for the composite: 0.0137875/2.59057 x 3.885804 = 0.020681; 2.03 percent.
    audit = Audit(operations=500, events=4, years="2025")
    found = rupture(woman_of_65(), read_clinic().model_copy(update={"audit": audit}))
    assert 100 * (found.probability or 0) == pytest.approx(2.03, abs=0.005)
    assert "assume.fallback-composite" in {note.id for note in found.assumptions}


def test_an_audit_of_few_operations_is_shown_and_not_used() -> None:
    # 1 event or 5 in 99 operations say nothing yet (the Wilson intervals overlap widely); the plan's limit is 100.
    unaudited = rupture(woman_of_65(), read_clinic())
    for events in (0, 5):
        audit = Audit(operations=99, events=events, expected_events=2.0, years="2025")
        found = rupture(woman_of_65(), read_clinic().model_copy(update={"audit": audit}))
        assert found.probability == unaudited.probability
        assert "assume.audit-too-small" in {note.id for note in found.assumptions}


def test_worked_example_the_strength_of_the_prior() -> None:
    # Method of moments, by hand: O = 2, 8, 5, 1, 9 with E = 5 each: V = (50 - 25)/125 = 0.2, strength 5 events.
    audits = [(2, 5.0), (8, 5.0), (5, 5.0), (1, 5.0), (9, 5.0)]
    assert strength_by_moments(audits, most=50) == pytest.approx(5.0)
    # The same where the model expects twice as many: only the ratio between surgeons counts.
    assert strength_by_moments([(o, 2 * e) for o, e in audits], most=50) == pytest.approx(5.0)
    # Surgeons more alike than chance alone would make them.
    assert strength_by_moments([(5, 5.0)] * 5, most=50) == 50


@pytest.mark.parametrize("strength", [3.0, 5.0, 12.0])
def test_the_strength_is_found_again_in_simulated_surgeons(strength: float) -> None:
    # 20,000 surgeons with 30 expected events each, lambda from Gamma(strength); agreement within 5 percent.
    draws = np.random.default_rng(2010)
    ratios = draws.gamma(strength, 1 / strength, 20_000)
    audits = [(int(events), 30.0) for events in draws.poisson(30 * ratios)]
    assert strength_by_moments(audits, most=500) == pytest.approx(strength, rel=0.05)


# Another population: the reference odds move by the overall odds.


def test_the_models_own_population_keeps_its_reference_odds() -> None:
    # Narendran 2009 moved to Narendran 2009: 1.92 percent overall, 0.75 percent at the reference.
    ratio = mean_composite(0.0192, 0.0075)
    assert population_odds(0.0192, ratio) == pytest.approx(0.0075 / 0.9925, rel=1e-12)


@pytest.mark.parametrize(
    ("overall", "reference"),
    [
        # By hand: 1.37 percent (Haripriya 2017): 0.0138903/2.59057 = 0.0053619; 1.01 percent (Sim 2024):
        # 0.0102031/2.59057 = 0.0039385.
        (0.0137, 0.0053619),
        (0.0101, 0.0039385),
    ],
)
def test_reference_odds_in_another_population(overall: float, reference: float) -> None:
    assert population_odds(overall, mean_composite(0.0192, 0.0075)) == pytest.approx(reference, abs=0.0000005)


def test_an_average_eye_has_about_the_overall_rate() -> None:
    # The average composite times the reference odds is the overall odds: (0.0192/0.9808) = 0.0195759.
    assert odds(0.0075) * mean_composite(0.0192, 0.0075) == pytest.approx(0.0195759, abs=0.00000005)
    assert math.isclose(odds(0.0192), 0.0192 / 0.9808)
