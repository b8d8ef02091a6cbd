"""Probabilities as whole people out of 1,000: nobody is told "0 of 1,000".

A rate that was seen is not nil; what is rarer than one in a thousand is said as "fewer than one". Common practice,
no source; one denominator after Trevena 2013, doi:10.1186/1472-6947-13-S2-S7.
"""

from __future__ import annotations

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


def test_a_range_that_stays_below_one():
    found = show(0.0004, 0.0002, 0.0008, single=False)
    assert (found.how, found.tenth) == ("fewer", 8)


@pytest.mark.parametrize("limits", [(None, None), (0.001, None), (None, 0.001)])
@pytest.mark.parametrize("single", [True, False])
def test_nothing_known_is_unknown(limits, single):
    """A missing figure is never taken for nought."""
    assert show(None, *limits, single).how == "unknown"


def test_a_figure_without_limits_stands_alone():
    assert show(0.07, None, None, single=True).how == "count"


proportions = st.floats(0, 1) | st.floats(0, 0.003)


@given(st.lists(proportions, min_size=3, max_size=3).map(sorted), st.booleans())
def test_never_nought_and_never_out_of_order(three, single):
    low, probability, high = three
    found = show(probability, low, high, single)
    match found.how:
        case "count":
            assert 1 <= found.count <= 1000
            assert abs(found.count - 1000 * probability) <= 0.5 + 1e-9 or not single
        case "spread":
            assert 1 <= found.low <= found.count <= found.high <= 1000
            assert abs(found.count - 1000 * probability) <= 0.5 + 1e-9
        case "range":
            assert 1 <= found.low < found.high <= 1000
        case "up to":
            assert 1 <= found.high <= 1000
        case "fewer":
            assert found.tenth >= 1
            assert 1000 * (probability if single else high) < 1
        case _:
            raise AssertionError(found)


@given(st.floats(0, 1))
def test_one_figure_alone_is_a_count_or_fewer_than_one(probability):
    assert show(probability, probability, probability, single=True).how in ("count", "fewer")
