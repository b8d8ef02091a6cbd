"""Arithmetic of a logistic model: odds are multiplied, probabilities never."""

from __future__ import annotations

import math
from collections.abc import Iterable


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


def combine(reference_odds: float, odds_ratios: Iterable[float]) -> float:
    """Probability of an eye: reference odds times its odds ratios, turned back.

    Identity used: logit(p) = logit(p0) + sum(ln OR), the definition of a logistic model without interactions.
    """
    return probability(reference_odds * composite(odds_ratios))
