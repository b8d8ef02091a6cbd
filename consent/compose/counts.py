"""Turns a probability into counts of people: whole numbers out of 1,000, never a false zero."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

WHOLE = 1000
TEN_WHOLE = 10_000


def per_thousand(probability: float) -> int:
    """People out of 1,000, halves rounded up."""
    return math.floor(WHOLE * probability + 0.5)


def per_ten_thousand(probability: float) -> int:
    """People out of 10,000, halves rounded up, never below 1."""
    return max(1, math.floor(TEN_WHOLE * probability + 0.5))


@dataclass(frozen=True)
class Shown:
    """How one probability is put to a patient.

    "count": ``low`` = ``high`` people of 1,000. "spread": one figure with its range. "range": no single figure,
    between ``low`` and ``high``. "fewer": fewer than one of 1,000, about ``tenth`` of 10,000. "up to": fewer than
    one up to ``high``. "unknown": not known.
    """

    how: Literal["count", "spread", "range", "fewer", "up to", "unknown"]
    count: int = 0
    low: int = 0
    high: int = 0
    tenth: int = 0


def show(probability: float | None, low: float | None, high: float | None, single: bool) -> Shown:
    """How to put a probability with its range (proportions in [0, 1]); ``single`` false shows the range alone."""
    if probability is None and (low is None or high is None):
        return Shown("unknown")
    value = probability if probability is not None else 0.0
    least, most = (low if low is not None else value), (high if high is not None else value)
    if single and probability is not None and WHOLE * value < 1:
        return Shown("fewer", tenth=per_ten_thousand(value))
    lowest, highest, count = per_thousand(least), per_thousand(most), per_thousand(value)
    if single:
        if lowest == highest:
            return Shown("count", count=count, low=count, high=count)
        return Shown("spread", count=count, low=max(lowest, 1), high=highest)
    if WHOLE * most < 1:
        return Shown("fewer", tenth=per_ten_thousand(most))
    if WHOLE * least < 1:
        return Shown("up to", high=highest)
    return Shown("range", low=lowest, high=highest) if lowest != highest else Shown("count", count=count)
