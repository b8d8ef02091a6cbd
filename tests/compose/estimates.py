"""An estimate made up for a test of how figures are told."""

from __future__ import annotations

from consent.risk import Estimate, Range


def invented_estimate(probability: float, low: float, high: float, single: bool, usual: float) -> Estimate:
    """An invented estimate of capsule rupture that rests on no series."""
    return Estimate(
        outcome="capsule_rupture",
        known=True,
        horizon="operation",
        population="invented",
        region="South Asia",
        years="",
        probability=probability,
        interval=Range(low, high, "sensitivity range"),
        usual=usual,
        personal=True,
        single_figure=single,
    )
