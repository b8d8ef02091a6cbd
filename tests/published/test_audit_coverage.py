"""Does the shrunk ratio of an audit do what it promises? Simulated centres, a fixed seed, the shipped estimator.

Shrinkage: Dimick 2010, Health Serv Res 45:1614-1629, doi:10.1111/j.1475-6773.2010.01158.x. Intercept update:
Steyerberg 2004, Stat Med 23:2567-2586, doi:10.1002/sim.1844. Odds ratios: Narendran 2009, as in the library.
A 95 % posterior interval holds the true value in 95 % of samples whose true value comes from the prior (Cook, Gelman
and Rubin 2006, J Comput Graph Stat 15:675-692), so the count among 200 centres is Binomial(200, 0.95).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import binom

from consent.clinic import read_clinic
from consent.evidence import library
from consent.risk import risk_plan
from consent.risk.audit.calibration import AuditedEye, Calibration, Scale, calibrate, model_scale

CENTRES = 200
MODEL = library().one("narendran-2009").model
LEVELS = {factor.id: [level.odds_ratio for level in factor.levels] for factor in MODEL.factors} if MODEL else {}

# Lowest and highest share of eyes in a centre, for a factor with two levels; each centre draws its own.
SHARES = {
    "sex": (0.40, 0.55),
    "glaucoma": (0.03, 0.12),
    "diabetic retinopathy": (0.02, 0.10),
    "brunescent or white": (0.04, 0.25),
    "no fundal view": (0.02, 0.15),
    "pseudoexfoliation or phacodonesis": (0.01, 0.06),
    "axial length": (0.02, 0.06),
    "doxazosin": (0.005, 0.03),
    "cannot lie flat": (0.005, 0.03),
}


@dataclass(frozen=True)
class Centre:
    truth: float
    found: Calibration

    @property
    def covered(self) -> bool:
        low, high = self.found.shrunk_limits
        return low <= self.truth <= high


def composites(draws: np.random.Generator, eyes: int) -> np.ndarray:
    """Composite odds ratio of each eye of one centre's list."""
    product = draws.choice(LEVELS["age"], eyes, p=draws.dirichlet([20, 30, 30, 15, 5]))
    product = product * draws.choice(LEVELS["pupil"], eyes, p=draws.dirichlet([65, 25, 10]))
    for factor, (low, high) in SHARES.items():
        present = draws.random(eyes) < draws.uniform(low, high)
        product = product * np.where(present, LEVELS[factor][1], LEVELS[factor][0])
    return product


def centre(draws: np.random.Generator, scale: Scale, strength: float) -> Centre:
    """One centre: its true ratio from the prior, 300 to 3,000 eyes, events from the model with that ratio."""
    truth = draws.gamma(strength, scale.prior_mean / strength)
    product = composites(draws, int(draws.integers(300, 3001)))
    odds = truth * scale.reference_odds * product
    events = draws.random(product.size) < odds / (1 + odds)
    eyes = [AuditedEye(bool(event), float(c), float(c)) for event, c in zip(events, product, strict=True)]
    return Centre(truth, calibrate(eyes, scale, risk_plan().shrinkage))


@pytest.fixture(scope="module")
def centres() -> list[Centre]:
    plan = risk_plan()
    scale, draws = model_scale(read_clinic(), plan), np.random.default_rng(20041844)
    return [centre(draws, scale, plan.shrinkage.events) for _ in range(CENTRES)]


def test_the_interval_holds_the_true_ratio_as_often_as_it_says(centres: list[Centre]) -> None:
    covered = sum(each.covered for each in centres)
    fewest, most = binom.interval(0.95, CENTRES, 0.95)
    assert fewest <= covered <= most, f"coverage {covered / CENTRES:.3f}, expected {fewest / 200} to {most / 200}"


def test_misses_lie_on_both_sides(centres: list[Centre]) -> None:
    # Equal tails: each side misses in 2.5 % of centres, so at most the 99.9 % quantile of Binomial(200, 0.025).
    too_high = sum(each.truth < each.found.shrunk_limits[0] for each in centres)
    too_low = sum(each.truth > each.found.shrunk_limits[1] for each in centres)
    assert max(too_high, too_low) <= binom.ppf(0.999, CENTRES, 0.025), (too_high, too_low)


def test_the_shrunk_ratio_is_nearer_the_truth_than_the_raw_one(centres: list[Centre]) -> None:
    # Dimick 2010: reliability adjustment predicts better, most of all where volumes are small.
    def error(chosen: list[Centre], name: str) -> float:
        values = [(each.found.shrunk if name == "shrunk" else each.found.total.ratio) - each.truth for each in chosen]
        return float(np.mean(np.square(values)))

    small = [each for each in centres if each.found.total.expected < 20]
    large = [each for each in centres if each.found.total.expected >= 20]
    shrunk, raw = error(centres, "shrunk"), error(centres, "raw")
    assert shrunk < raw, f"mean squared error: shrunk {shrunk:.4f}, raw {raw:.4f}"
    assert error(small, "raw") - error(small, "shrunk") > error(large, "raw") - error(large, "shrunk")


def test_the_true_ratio_lies_in_the_raw_exact_interval_at_least_as_often(centres: list[Centre]) -> None:
    # Garwood 1936: the exact Poisson interval holds the truth in at least 95 % of samples.
    covered = sum(low <= each.truth <= high for each in centres for low, high in [each.found.ratio_limits])
    assert covered >= binom.ppf(0.025, CENTRES, 0.95), covered / CENTRES
