"""Probabilities as whole people out of 1,000: nobody is told "0 of 1,000".

A rate that was seen is not nil; what is rarer than one in a thousand is said as "fewer than one". Common practice,
no source; one denominator after Trevena 2013, doi:10.1186/1472-6947-13-S2-S7.
"""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from consent.compose.counts import per_ten_thousand, per_thousand, show

# probability, how it is put, people of 1,000
EDGES = [
    (0.0, "fewer", None),
    (1e-9, "fewer", None),
    (0.0004, "fewer", None),
    (0.0005, "fewer", None),
    (0.00095, "fewer", None),
    (0.000999999, "fewer", None),
    (0.001, "count", 1),
    (0.0014999, "count", 1),
    (0.0015, "count", 2),
    (0.0024, "count", 2),
    (0.0025, "count", 3),
    (0.5, "count", 500),
    (0.9994, "count", 999),
    (0.9995, "count", 1000),
    (1.0, "count", 1000),
]


@pytest.mark.parametrize("single", [True, False])
@pytest.mark.parametrize(("probability", "how", "people"), EDGES)
def test_edges(probability, how, people, single):
    found = show(probability, probability, probability, single)
    assert found.how == how
    if how == "count":
        assert found.count == people


@pytest.mark.parametrize(("probability", "tenth"), [(0.0004, 4), (0.00012, 1), (0.0005, 5), (0.00094, 9)])
def test_rarer_than_one_in_a_thousand_is_told_out_of_ten_thousand(probability, tenth):
    assert show(probability, None, None, single=True).tenth == tenth
    assert per_ten_thousand(probability) == tenth


def test_halves_round_up():
    """Rounding half down would turn 1.5 of 1,000 into 1; the figure is not made smaller by rounding."""
    assert [per_thousand(p) for p in (0.0005, 0.0015, 0.0025, 0.0035)] == [1, 2, 3, 4]


def test_halves_are_those_of_the_printed_decimal():
    """14.5 of 1,000 is 15 and 1.5 of 10,000 is 2, whatever binary number stands for 0.0145 and 0.00015."""
    assert show(0.0145, None, None, single=True).count == 15
    assert show(0.00015, None, None, single=True).tenth == 2


@pytest.mark.parametrize("single", [True, False])
def test_every_half_of_a_thousand_rounds_up(single):
    """1.5, 2.5, ... 999.5 of 1,000, alone and as both ends of a range: 2, 3, ... 1,000."""
    halves = [float(f"{people}.5e-3") for people in range(1, 1000)]
    assert [show(p, p, p, single).count for p in halves] == list(range(2, 1001))


def test_every_half_of_ten_thousand_rounds_up_but_never_to_ten():
    """1.5, ... 8.5 of 10,000 are 2, ... 9. Ten of 10,000 would be one of 1,000, which "fewer than one" denies."""
    assert [per_ten_thousand(float(f"{people}.5e-4")) for people in range(1, 9)] == list(range(2, 10))
    for almost_one in (0.00095, 0.00099, 0.0009999, 0.000999999999):
        assert show(almost_one, None, None, single=True).tenth == 9
        assert show(None, almost_one, almost_one, single=False).tenth == 9
        assert show(None, 0.0, almost_one, single=False).high == 9


def test_a_figure_with_a_range():
    found = show(0.012, 0.004, 0.04, single=True)
    assert (found.how, found.count, found.low, found.high) == ("spread", 12, 4, 40)


def test_a_range_without_a_figure():
    found = show(0.012, 0.0042, 0.04, single=False)
    assert (found.how, found.low, found.high) == ("range", 4, 40)
    found = show(None, 0.024, 0.126, single=False)
    assert (found.how, found.low, found.high) == ("range", 24, 126)


def test_a_range_from_less_than_one():
    found = show(0.002, 0.0004, 0.0061, single=False)
    assert (found.how, found.high) == ("up to", 6)


def test_a_figure_with_a_range_from_less_than_one():
    """2 of 1,000, range 0.4 to 6.1: the lower end is neither nought nor one."""
    found = show(0.002, 0.0004, 0.0061, single=True)
    assert (found.how, found.count, found.high) == ("spread up to", 2, 6)


@pytest.mark.parametrize("probability", [None, 0.0101, 0.0142])
def test_a_range_whose_ends_print_alike_is_that_number(probability):
    """14.1 to 14.4 of 1,000 is 14: not nought where there is no figure, and not a figure from outside the range."""
    found = show(probability, 0.0141, 0.0144, single=False)
    assert (found.how, found.count) == ("count", 14)


def test_a_figure_below_one_whose_range_reaches_one():
    """0.4 of 1,000 with a range up to 2: "fewer than 4 of 10,000" would hide the 2."""
    found = show(0.0004, 0.0001, 0.002, single=True)
    assert (found.how, found.high) == ("up to", 2)


def test_a_range_that_stays_below_one():
    """2 to 8 of 10,000 with no single figure: "about 8" would make the upper end the figure."""
    found = show(0.0004, 0.0002, 0.0008, single=False)
    assert (found.how, found.low, found.high) == ("fewer range", 2, 8)
    found = show(None, 0.00075, 0.0008, single=False)
    assert (found.how, found.tenth) == ("fewer", 8)


@pytest.mark.parametrize("limits", [(None, None), (0.001, None), (None, 0.001)])
@pytest.mark.parametrize("single", [True, False])
def test_nothing_known_is_unknown(limits, single):
    """A missing figure is never taken for nought."""
    assert show(None, *limits, single).how == "unknown"


def test_a_figure_without_limits_stands_alone():
    assert show(0.07, None, None, single=True).how == "count"


proportions = st.floats(0, 1) | st.floats(0, 0.003)
triples = st.lists(proportions, min_size=3, max_size=3).map(sorted)


def rounded(probability: float, whole: int) -> int:
    """People out of ``whole``, halves up, worked out in exact fractions of the decimal as printed."""
    return math.floor(Fraction(repr(probability)) * whole + Fraction(1, 2))


@given(triples, st.booleans())
def test_never_nought_and_never_out_of_order(three, single):
    low, probability, high = three
    found = show(probability, low, high, single)
    match found.how:
        case "count":
            assert 1 <= found.count <= 1000
            assert {rounded(low, 1000), rounded(high, 1000)} == {found.count}
        case "spread":
            assert 1 <= found.low <= found.count <= found.high <= 1000
            assert [found.low, found.count, found.high] == [rounded(p, 1000) for p in three]
        case "spread up to":
            assert 1 <= found.count <= found.high <= 1000
            assert [found.count, found.high] == [rounded(probability, 1000), rounded(high, 1000)]
            assert 1000 * low < 1
        case "range":
            assert 1 <= found.low < found.high <= 1000
            assert [found.low, found.high] == [rounded(low, 1000), rounded(high, 1000)]
        case "up to":
            assert 1 <= found.high <= 1000
            assert found.high == rounded(high, 1000)
            assert 1000 * low < 1
        case "fewer":
            rare = probability if single else high
            assert found.tenth == min(max(rounded(rare, 10_000), 1), 9)
            assert 1000 * rare < 1
            assert single or min(max(rounded(low, 10_000), 1), 9) == found.tenth
        case "fewer range":
            assert not single
            assert [found.low, found.high] == [min(max(rounded(p, 10_000), 1), 9) for p in (low, high)]
            assert 1 <= found.low < found.high <= 9
            assert 1000 * high < 1
        case _:
            raise AssertionError(found)


@given(st.floats(0, 1), st.none() | proportions, st.none() | proportions, st.booleans())
def test_never_nought_whichever_limit_is_missing(probability, low, high, single):
    """A figure with one limit or none is still told; only what is told at all is never nought."""
    ends = sorted(p for p in (low, high) if p is not None)
    low = low if low is None else min(ends[0], probability)
    high = high if high is None else max(ends[-1], probability)
    found = show(probability, low, high, single)
    shown = {
        "count": [found.count],
        "spread": [found.count, found.low, found.high],
        "spread up to": [found.count, found.high],
        "range": [found.low, found.high],
        "up to": [found.high],
        "fewer": [found.tenth],
        "fewer range": [found.low, found.high],
    }[found.how]
    assert all(1 <= number <= 1000 for number in shown)
    if found.how.startswith("fewer"):
        assert max(found.tenth, found.high) <= 9


@given(st.floats(0, 1))
def test_one_figure_alone_is_a_count_or_fewer_than_one(probability):
    assert show(probability, probability, probability, single=True).how in ("count", "fewer")
