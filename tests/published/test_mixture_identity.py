"""Outcomes mixed over capsule rupture: the law of total probability must give each source its own overall rate back.

Haripriya A, Chang DF, Ravindran RD. Ophthalmology 2017;124:768-775, doi 10.1016/j.ophtha.2017.01.026.
Day AC et al. Ophthalmology 2016;123:1711-1715, PMID 27342788.
Chu CJ et al. Ophthalmology 2016;123:316-323, doi 10.1016/j.ophtha.2015.10.001.
Interval of a weighted sum: Zou GY, Donner A. Stat Med 2008;27:1693-1702 (variance recovered from each arm's limits).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from consent.evidence import library, wilson
from consent.risk.mixture import Arm, mix, mix_interval

# Ruptured and intact eyes with their events, from the abstracts; intact = all less ruptured.
HARIPRIYA_GIVEN = ((9, 4293), (55, 310_345))  # of 64 in 314 638
HARIPRIYA_NONE = ((20, 4186), (194, 298_629))  # of 214 in 302 815
DAY = ((36, 1101), (95, 60_806))  # of 131 in 61 907
PAIRS = {"given": HARIPRIYA_GIVEN, "none": HARIPRIYA_NONE, "day": DAY}


def arm(reference: str) -> Arm:
    """An arm as the shipped library holds it."""
    figure = library().cited(reference).figure
    low, high = figure.limits or (figure.probability, figure.probability)
    return Arm(figure.probability, low, high)


def counted(events: int, eyes: int) -> Arm:
    return Arm(events / eyes, *wilson(events, eyes))


@pytest.mark.parametrize(
    ("ruptured", "intact", "share", "overall"),
    [
        # The share of ruptured eyes in the source, and the overall rate the source prints as counts.
        (
            "haripriya-2017/endophthalmitis-given-ruptured",
            "haripriya-2017/endophthalmitis-given-intact",
            4293 / 314_638,
            64 / 314_638,
        ),
        (
            "haripriya-2017/endophthalmitis-none-ruptured",
            "haripriya-2017/endophthalmitis-none-intact",
            4186 / 302_815,
            214 / 302_815,
        ),
        ("day-2016/detachment-ruptured", "day-2016/detachment-intact", 1101 / 61_907, 131 / 61_907),
    ],
)
def test_the_sources_own_share_gives_its_own_rate(ruptured: str, intact: str, share: float, overall: float) -> None:
    assert mix(share, arm(ruptured).value, arm(intact).value) == pytest.approx(overall, rel=1e-12)


@pytest.mark.parametrize(
    ("ruptured", "intact", "printed", "digit"),
    [
        # By hand, for p = 2 percent:
        # 0.02 x 3.2698 + 0.98 x 0.15623 = 0.219 percent (Day 2016)
        ("day-2016/detachment-ruptured", "day-2016/detachment-intact", 0.219, 0.001),
        # 0.02 x 0.20964 + 0.98 x 0.017722 = 0.0216 percent (Haripriya 2017, moxifloxacin)
        (
            "haripriya-2017/endophthalmitis-given-ruptured",
            "haripriya-2017/endophthalmitis-given-intact",
            0.0216,
            0.0001,
        ),
        # 0.02 x 0.47778 + 0.98 x 0.064964 = 0.0732 percent (Haripriya 2017, none)
        (
            "haripriya-2017/endophthalmitis-none-ruptured",
            "haripriya-2017/endophthalmitis-none-intact",
            0.0732,
            0.0001,
        ),
    ],
)
def test_worked_example_at_two_percent(ruptured: str, intact: str, printed: float, digit: float) -> None:
    assert 100 * mix(0.02, arm(ruptured).value, arm(intact).value) == pytest.approx(printed, abs=digit / 2)


def test_worked_example_of_a_ratio() -> None:
    # Chu 2016: 1.17 percent, RR 2.61; by hand 1.17 x (1 + 0.02 x 1.61) = 1.21 percent.
    base = library().cited("chu-2016/macular-oedema-healthy").figure.probability
    ratio = library().cited("chu-2016/rupture-ratio").figure.value
    assert ratio is not None
    assert 100 * mix(0.02, base * ratio, base) == pytest.approx(1.21, abs=0.005)


@pytest.mark.parametrize("pair", PAIRS)
def test_the_ends_are_the_arms(pair: str) -> None:
    (a, n), (b, m) = PAIRS[pair]
    assert mix(1.0, a / n, b / m) == a / n
    assert mix(0.0, a / n, b / m) == b / m


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize(("p", "tolerance"), [(0.005, 0.02), (0.02, 0.02), (0.05, 0.04), (0.2, 0.07), (0.5, 0.08)])
def test_the_interval_agrees_with_drawing_both_arms(pair: str, p: float, tolerance: float) -> None:
    # The slow independent way at fixed p: 200,000 draws of each arm from Beta(events + 1/2, non-events + 1/2)
    # (Jeffreys; Brown, Cai, DasGupta 2001, Stat Sci 16:101-133), 2.5 and 97.5 centiles of the mixture. Wilson and
    # Jeffreys limits differ by a few percent with 9 events, so the tolerance is relative to the value: 2 percent of it
    # up to p = 2 percent, 8 where the smaller arm has half the weight.
    ruptured, intact = PAIRS[pair]
    draws = np.random.default_rng(20170124)
    r1, r0 = (draws.beta(events + 0.5, eyes - events + 0.5, 200_000) for events, eyes in (ruptured, intact))
    low, high = np.quantile(p * r1 + (1 - p) * r0, [0.025, 0.975])
    value = mix(p, ruptured[0] / ruptured[1], intact[0] / intact[1])
    found = mix_interval((p, p, p), counted(*ruptured), counted(*intact))
    assert found == pytest.approx((low, high), abs=tolerance * value)
    assert found[1] - found[0] == pytest.approx(high - low, rel=0.12)


def test_the_interval_of_a_ratio_agrees_with_drawing_it() -> None:
    # Chu 2016: RR 2.61 (1.57-4.34), log-normal with the printed limits (Katz et al 1978, Biometrics 34:469-474). Only
    # the ratio varies, so the limits of the mixture are those of the ratio; draws agree within 0.5 percent.
    base, spread = 0.0117, math.log(4.34 / 1.57) / (2 * norm.ppf(0.975))
    ratios = np.random.default_rng(2016).lognormal(math.log(2.61), spread, 200_000)
    low, high = np.quantile(base * (0.02 * ratios + 0.98), [0.025, 0.975])
    ruptured = Arm(base * 2.61, base * 1.57, base * 4.34)
    assert mix_interval((0.02, 0.02, 0.02), ruptured, Arm(base, base, base)) == pytest.approx((low, high), rel=0.005)


@pytest.mark.parametrize("pair", PAIRS)
def test_one_arm_alone_has_its_own_interval(pair: str) -> None:
    # Zou and Donner 2008 with all the weight on one arm gives that arm's limits back.
    (a, n), (b, m) = PAIRS[pair]
    assert mix_interval((1, 1, 1), counted(a, n), counted(b, m)) == pytest.approx(wilson(a, n))
    assert mix_interval((0, 0, 0), counted(a, n), counted(b, m)) == pytest.approx(wilson(b, m))


@pytest.mark.parametrize("pair", PAIRS)
def test_the_range_of_p_is_carried(pair: str) -> None:
    # What is uncertain in p widens the mixture: it holds the interval at each p of the range.
    ruptured, intact = (counted(*group) for group in PAIRS[pair])
    low, high = mix_interval((0.02, 0.005, 0.15), ruptured, intact)
    for p in np.linspace(0.005, 0.15, 30):
        inner = mix_interval((p, p, p), ruptured, intact)
        assert low <= inner[0] * (1 + 1e-12)
        assert inner[1] <= high * (1 + 1e-12)
