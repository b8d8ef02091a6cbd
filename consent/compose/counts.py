"""Turns a probability into counts of people: whole numbers out of 1,000, never a false zero."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

WHOLE = 1000
TEN_WHOLE = 10_000


def _rounded(probability: float, whole: int) -> int:
    """People out of ``whole``: halves rounded up, on the decimal that is printed, not on its binary neighbour."""
    return int((Decimal(repr(probability)) * whole).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def per_thousand(probability: float) -> int:
    """People out of 1,000, halves rounded up."""
    return _rounded(probability, WHOLE)


def per_ten_thousand(probability: float) -> int:
    """People out of 10,000 for what is less than one of 1,000: 1 to 9, never a false zero and never a full ten."""
    return min(9, max(1, _rounded(probability, TEN_WHOLE)))


@dataclass(frozen=True)
class Shown:
    """How one probability is put to a patient.

    "count": ``count`` people of 1,000. "spread": that with its range; "spread up to": a range that begins below one.
    "range": no single figure, between ``low`` and ``high``. "fewer": fewer than one of 1,000, about ``tenth`` of
    10,000; "fewer range": no single figure, between ``low`` and ``high`` of 10,000. "up to": from fewer than one to
    ``high``. "unknown": not known.
    """

    how: Literal["count", "spread", "spread up to", "range", "fewer", "fewer range", "up to", "unknown"]
    count: int = 0
    low: int = 0
    high: int = 0
    tenth: int = 0


def show(probability: float | None, low: float | None, high: float | None, single: bool) -> Shown:
    """How to put a probability with its range (proportions in [0, 1]); ``single`` false shows the range alone."""
    if single and probability is not None:
        return _single(probability, low, high)
    if low is None or high is None:
        return Shown("unknown") if probability is None else _single(probability, low, high)
    if high < 1 / WHOLE:
        least, most = per_ten_thousand(low), per_ten_thousand(high)
        return Shown("fewer range", low=least, high=most) if least != most else Shown("fewer", tenth=most)
    lowest, highest = per_thousand(low), per_thousand(high)
    if low < 1 / WHOLE:
        return Shown("up to", high=highest)
    return Shown("range", low=lowest, high=highest) if lowest != highest else Shown("count", count=lowest)


def _single(value: float, low: float | None, high: float | None) -> Shown:
    if value < 1 / WHOLE and high is not None and high >= 1 / WHOLE:
        return Shown("up to", high=per_thousand(high))
    if value < 1 / WHOLE:
        return Shown("fewer", tenth=per_ten_thousand(value))
    least, most = (low if low is not None else value), (high if high is not None else value)
    count, lowest, highest = per_thousand(value), per_thousand(least), per_thousand(most)
    if lowest == highest:
        return Shown("count", count=count)
    if least < 1 / WHOLE:
        return Shown("spread up to", count=count, high=highest)
    return Shown("spread", count=count, low=lowest, high=highest)
