"""Moves a published intercept to another population, or to the centre's own audit, by shrinkage."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from consent.risk.odds import odds

_TINY = 1e-12
_MOST_TERMS = 10_000


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


def shrink_rate(events: int, operations: int, prior_mean: float, prior_size: float) -> float:
    """A crude rate, shrunk: posterior mean when events ~ Binomial(operations, rate), rate ~ Beta.

    The prior has mean ``prior_mean`` (a proportion) and weighs as much as ``prior_size`` operations.
    """
    return (events + prior_mean * prior_size) / (operations + prior_size)


def shrink_rate_interval(
    events: int, operations: int, prior_mean: float, prior_size: float, level: float = 0.95
) -> tuple[float, float]:
    """Equal-tailed posterior interval of the same rate (Beta quantiles), as proportions."""
    a = events + prior_mean * prior_size
    b = operations - events + (1 - prior_mean) * prior_size
    tail = (1 - level) / 2
    return beta_quantile(tail, a, b), beta_quantile(1 - tail, a, b)


def strength_by_moments(audits: Sequence[tuple[int, float]], most: float) -> float:
    """Prior strength in events from (observed, expected) of several surgeons, by the method of moments.

    After scaling so that all expected add up to all observed, the variance of lambda between surgeons is
    V = (sum (O - E)^2 - sum E) / sum E^2 and the strength is 1 / V; where V is not positive, ``most``.
    Raises ``ValueError`` where nothing was expected.
    """
    observed, expected = sum(o for o, _ in audits), sum(e for _, e in audits)
    if expected <= 0:
        raise ValueError("no events were expected")
    scaled = [(o, e * observed / expected) for o, e in audits]
    squares = sum(e * e for _, e in scaled)
    if squares == 0:
        return most
    variance = (sum((o - e) ** 2 for o, e in scaled) - sum(e for _, e in scaled)) / squares
    return min(most, 1 / variance) if variance > 0 else most


def gamma_quantile(level: float, shape: float) -> float:
    """Quantile of the Gamma distribution with rate 1, by bisection on the regularised incomplete gamma function."""
    high = max(1.0, shape)
    while _gamma_cdf(high, shape) < level:
        high *= 2
    return _bisect(lambda x: _gamma_cdf(x, shape), level, high)


def beta_quantile(level: float, a: float, b: float) -> float:
    """Quantile of the Beta distribution, by bisection on the regularised incomplete beta function."""
    return _bisect(lambda x: _beta_cdf(x, a, b), level, 1.0)


def _bisect(cdf: Callable[[float], float], level: float, high: float) -> float:
    low = 0.0
    while high - low > _TINY * max(1.0, high):
        middle = (low + high) / 2
        low, high = (middle, high) if cdf(middle) < level else (low, middle)
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


def _beta_cdf(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta I_x(a, b) by its continued fraction (NIST DLMF 8.17.22)."""
    if x <= 0:
        return 0.0
    if x >= 1:
        return 1.0
    if x > (a + 1) / (a + b + 2):
        return 1.0 - _beta_cdf(1 - x, b, a)
    front = math.exp(a * math.log(x) + b * math.log1p(-x) + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b))
    return front * _beta_fraction(x, a, b) / a


def _beta_fraction(x: float, a: float, b: float) -> float:
    """The continued fraction of DLMF 8.17.22, evaluated forwards by the modified Lentz method."""
    above = 1.0
    below = 1.0 / (1.0 - (a + b) * x / (a + 1))
    value = below
    for m in range(1, _MOST_TERMS):
        even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        for term in (even, odd):
            below, above = 1.0 / (1.0 + term * below), 1.0 + term / above
            value *= above * below
        if abs(above * below - 1) < _TINY:
            return value
    raise ArithmeticError(f"the incomplete beta function of {a} and {b} did not settle")
