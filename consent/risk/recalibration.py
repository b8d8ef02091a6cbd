"""Moves a published intercept to another population, or to the centre's own audit, by shrinkage."""

from __future__ import annotations

import math

from consent.risk.odds import odds

_TINY = 1e-12


def mean_composite(overall: float, reference: float) -> float:
    """Ratio of the overall odds to the reference odds of a model's own series: its average composite odds ratio."""
    return odds(overall) / odds(reference)


def population_odds(overall: float, composite: float) -> float:
    """Reference odds in a population with this ``overall`` rate and the same mix of eyes as the model's series."""
    return odds(overall) / composite


def shrink(events: int, expected: float, prior_mean: float, strength: float) -> float:
    """Ratio of observed to expected, shrunk: posterior mean of lambda when events ~ Poisson(lambda x expected).

    Gamma prior with mean ``prior_mean`` and ``strength`` events. Updating the intercept alone: Steyerberg 2004,
    Stat Med 23:2567-2586; shrinkage of a provider's rate: Dimick 2010, Health Serv Res 45:1614-1629.
    """
    return (events + strength) / (expected + strength / prior_mean)


def shrink_interval(
    events: int, expected: float, prior_mean: float, strength: float, level: float = 0.95
) -> tuple[float, float]:
    """Equal-tailed posterior interval of the same ratio (Gamma quantiles)."""
    shape, rate = events + strength, expected + strength / prior_mean
    tail = (1 - level) / 2
    return gamma_quantile(tail, shape) / rate, gamma_quantile(1 - tail, shape) / rate


def gamma_quantile(level: float, shape: float) -> float:
    """Quantile of the Gamma distribution with rate 1, by bisection on the regularised incomplete gamma function."""
    low, high = 0.0, max(1.0, shape)
    while _gamma_cdf(high, shape) < level:
        high *= 2
    while high - low > _TINY * max(1.0, high):
        middle = (low + high) / 2
        low, high = (middle, high) if _gamma_cdf(middle, shape) < level else (low, middle)
    return (low + high) / 2


def _gamma_cdf(x: float, shape: float) -> float:
    """Regularised lower incomplete gamma P(shape, x) by its power series (NIST DLMF 8.7.1)."""
    if x <= 0:
        return 0.0
    term = total = 1.0 / shape
    n = shape
    while abs(term) > abs(total) * _TINY:
        n += 1
        term *= x / n
        total += term
    return min(1.0, total * math.exp(-x + shape * math.log(x) - math.lgamma(shape)))
