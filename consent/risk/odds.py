"""Arithmetic of a logistic model: odds are multiplied, probabilities never."""

from __future__ import annotations

import math
from collections.abc import Iterable
from statistics import NormalDist


def odds(probability: float) -> float:
    """Odds of a probability in [0, 1); ``ValueError`` outside."""
    if not 0 <= probability < 1:
        raise ValueError(f"{probability} is not a probability below 1")
    return probability / (1 - probability)


def probability(odds_value: float) -> float:
    """Probability of non-negative odds."""
    if odds_value < 0:
        raise ValueError(f"odds {odds_value} are negative")
    return odds_value / (1 + odds_value)


def composite(odds_ratios: Iterable[float]) -> float:
    """Product of odds ratios: 1.0 for none."""
    return math.prod(odds_ratios)


def product_limits(limits: Iterable[tuple[float, float]], level: float = 0.95) -> tuple[float, float]:
    """Factors by which the limits of a product of independent odds ratios lie below and above the product.

    ``limits`` are the printed limits of each ratio at ``level``; each gives a standard error on the log scale, and
    the variances add. A ratio printed without limits is left out: the result covers only what it was given.
    """
    z = NormalDist().inv_cdf(0.5 + level / 2)
    variance = sum(((math.log(high) - math.log(low)) / (2 * z)) ** 2 for low, high in limits)
    width = z * math.sqrt(variance)
    return math.exp(-width), math.exp(width)


def combine(reference_odds: float, odds_ratios: Iterable[float]) -> float:
    """Probability of an eye: reference odds times its odds ratios, turned back.

    Identity used: logit(p) = logit(p0) + sum(ln OR), the definition of a logistic model without interactions.
    """
    return probability(reference_odds * composite(odds_ratios))
