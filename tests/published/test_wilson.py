"""Wilson score interval. Wilson EB. Probable inference, the law of succession, and statistical inference. J Am Stat
Assoc 1927;22:209-212. Reference library: scipy.stats.binomtest.
"""

from __future__ import annotations

import math

import pytest
from scipy.stats import binomtest, norm

from consent.evidence import wilson

PAIRS = [(0, 1), (1, 1), (0, 20), (1, 20), (10, 20), (19, 20), (20, 20), (4, 500), (35, 388), (9730, 961_208)]


@pytest.mark.parametrize(("events", "eyes"), PAIRS)
@pytest.mark.parametrize("level", [0.80, 0.90, 0.95, 0.99])
def test_it_agrees_with_scipy(events: int, eyes: int, level: float) -> None:
    expected = binomtest(events, eyes).proportion_ci(confidence_level=level, method="wilson")
    assert wilson(events, eyes, level) == pytest.approx((expected.low, expected.high), rel=1e-9, abs=1e-12)


def test_its_usual_level_is_95_percent() -> None:
    expected = binomtest(35, 388).proportion_ci(confidence_level=0.95, method="wilson")
    assert wilson(35, 388) == pytest.approx((expected.low, expected.high), rel=1e-9)


@pytest.mark.parametrize(
    ("events", "eyes", "low", "high"),
    [
        # Newcombe RG. Two-sided confidence intervals for the single proportion. Stat Med 1998;17:857-872, table I,
        # method 3 (score, without continuity correction), as printed to four digits.
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0000, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_it_agrees_with_newcombes_table(events: int, eyes: int, low: float, high: float) -> None:
    assert wilson(events, eyes) == pytest.approx((low, high), abs=0.00005)


@pytest.mark.parametrize(("events", "eyes"), [(1, 20), (35, 388), (9, 4293)])
def test_each_limit_solves_the_score_equation(events: int, eyes: int) -> None:
    # Wilson 1927: the limits are the p at which |events/eyes - p| is 1.96 standard errors of p.
    for limit in wilson(events, eyes):
        score = abs(events / eyes - limit) / math.sqrt(limit * (1 - limit) / eyes)
        assert score == pytest.approx(norm.ppf(0.975), rel=1e-9)


@pytest.mark.parametrize(("events", "eyes"), [(-1, 10), (11, 10), (0, 0), (1, 0)])
def test_what_is_no_proportion_is_refused(events: int, eyes: int) -> None:
    with pytest.raises(ValueError, match="is not a proportion"):
        wilson(events, eyes)


def test_it_stays_between_0_and_1() -> None:
    # Agresti and Coull 1998, Am Stat 52:119-126: unlike Wald's, the score interval never leaves [0, 1].
    for eyes in range(1, 60):
        for events in (0, 1, eyes - 1, eyes):
            low, high = wilson(events, eyes)
            assert 0 <= low <= events / eyes + 1e-15
            assert events / eyes - 1e-15 <= high <= 1
