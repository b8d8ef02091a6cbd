"""Outcomes that follow from capsule rupture: the law of total probability, with a closed-form interval."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Arm:
    """Probability of an outcome in one arm (capsule ruptured, or intact) with its limits; proportions."""

    value: float
    low: float
    high: float


def mix(rupture: float, ruptured: float, intact: float) -> float:
    """P(outcome) = p r1 + (1 - p) r0; all proportions in [0, 1]."""
    return rupture * ruptured + (1 - rupture) * intact


def mix_interval(rupture: tuple[float, float, float], ruptured: Arm, intact: Arm) -> tuple[float, float]:
    """Low and high limit of the mixture for ``rupture`` = (value, low, high).

    At fixed p the limits of a weighted sum follow Zou and Donner 2008, Stat Med 27:1693-1702 (variance recovered
    from each arm's own limits); the low limit is taken at the low p and the high one at the high p, so the
    whole range of p is carried.
    """
    _, low_p, high_p = rupture
    low = mix(low_p, ruptured.value, intact.value) - math.hypot(
        low_p * (ruptured.value - ruptured.low), (1 - low_p) * (intact.value - intact.low)
    )
    high = mix(high_p, ruptured.value, intact.value) + math.hypot(
        high_p * (ruptured.high - ruptured.value), (1 - high_p) * (intact.high - intact.value)
    )
    return max(0.0, low), min(1.0, high)
