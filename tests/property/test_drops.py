"""The parts of the drop engine by themselves: times of a day, bottles opened one after the other.

Whole plans are in ``test_drop_invariants_*.py``; which invariant is tested where, in ``test_drop_invariants_table.py``.
"""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from consent.drops import Waking, even_times
from consent.drops.bottles import greedy
from consent.drops.spacing import own_times, shared_times
from tests.drops.slow_engine import is_even_enough, minutes, own_minutes, shared_minutes

windows = st.tuples(
    st.times(dt.time(4, 30), dt.time(8, 0)).map(lambda clock: clock.replace(second=0, microsecond=0)),
    st.times(dt.time(19, 0), dt.time(22, 45)).map(lambda clock: clock.replace(second=0, microsecond=0)),
)
marks = st.lists(st.integers(5 * 60, 22 * 60), max_size=6, unique=True).map(sorted).map(tuple)


def in_minutes(clocks: tuple[dt.time, ...]) -> tuple[int, ...]:
    """Minutes of the day."""
    return tuple(map(minutes, clocks))


@given(st.integers(1, 16), windows)
@settings(max_examples=200, deadline=None)
def test_own_times_are_even(times_a_day: int, window: tuple[dt.time, dt.time]) -> None:
    """Longest gap - shortest gap is at most the rounding; times are whole quarters inside the window."""
    clocks = in_minutes(even_times(times_a_day, Waking(*window, 15)))
    gaps = [after - before for before, after in pairwise(clocks)]
    assert len(clocks) == times_a_day
    assert all(clock % 15 == 0 for clock in clocks)
    assert minutes(window[0]) <= clocks[0]
    assert clocks[-1] <= minutes(window[1])
    assert not gaps or (max(gaps) - min(gaps) <= 15 and min(gaps) > 0)


@given(st.integers(1, 10), windows, marks, st.booleans())
@settings(max_examples=200, deadline=None)
def test_own_times_against_every_choice(
    times_a_day: int, window: tuple[dt.time, dt.time], landmarks: tuple[int, ...], at_bedtime: bool
) -> None:
    """On any landmarks, at bedtime or not, the times are those found by trying every choice."""
    waking = Waking(*window, 15)
    ends = waking.first_minute, waking.last_minute
    inner = tuple(mark for mark in landmarks if ends[0] < mark < ends[1])
    found = own_times(times_a_day, Waking(*window, 15, (ends[0], *inner, ends[1])), at_bedtime)
    assert in_minutes(found) == own_minutes(times_a_day, (*ends, inner), at_bedtime)


@given(st.integers(1, 10), st.integers(0, 6), windows)
@settings(max_examples=150, deadline=None)
def test_aligned_times_are_even_enough(doses: int, more: int, window: tuple[dt.time, dt.time]) -> None:
    """Aligned times are among the day's times and the longest gap is at most twice the shortest."""
    waking = Waking(*window, 15)
    grid = even_times(doses + more, waking)
    clocks = shared_times(even_times(doses, waking), grid)
    assert len(set(clocks)) == doses
    assert set(clocks) <= set(grid)
    assert is_even_enough(in_minutes(clocks))


clock_lists = st.lists(st.integers(18, 92), min_size=1, max_size=9, unique=True).map(
    lambda quarters: tuple(dt.time(*divmod(quarter * 15, 60)) for quarter in sorted(quarters))
)


@given(clock_lists, clock_lists)
@settings(max_examples=300, deadline=None)
def test_aligned_times_against_every_choice(own: tuple[dt.time, ...], grid: tuple[dt.time, ...]) -> None:
    """On any grid, even one that holds no even enough choice, the times are those found by trying every choice."""
    found = in_minutes(shared_times(own, grid))
    assert found == shared_minutes(in_minutes(own), in_minutes(grid))
    assert found == in_minutes(own) or (set(found) <= set(in_minutes(grid)) and is_even_enough(found))


def simulate(use: list[tuple[int, int]], capacity: int, life: int) -> list[list[int]]:
    """The slow way: every drop on its own, every bottle a list of the days it was used on."""
    bottles: list[list[int]] = []
    for day in [day for day, drops in use for _ in range(drops)]:
        usable = bottles and len(bottles[-1]) < capacity and day - bottles[-1][0] < life
        if not usable:
            bottles.append([])
        bottles[-1].append(day)
    return bottles


uses = st.lists(st.integers(0, 9), min_size=1, max_size=90).map(lambda drops: list(enumerate(drops, start=1)))


@given(uses, st.integers(1, 200), st.integers(1, 60))
@settings(max_examples=200, deadline=None)
def test_bottles_drop_by_drop(use: list[tuple[int, int]], capacity: int, life: int) -> None:
    """The fast count is the slow one; enough drops; none after day d + life - 1; never fewer than the volume says."""
    bottles = greedy(use, capacity, life)
    slow = simulate(use, capacity, life)
    needed = sum(drops for _, drops in use)
    assert bottles == [(days[0], len(days)) for days in slow]
    assert all(days[-1] <= days[0] + life - 1 for days in slow)
    assert sum(taken for _, taken in bottles) == needed <= capacity * len(bottles)
    assert len(bottles) >= -(-needed // capacity)


@given(uses, st.integers(1, 200), st.integers(1, 60), st.integers(0, 50), st.integers(0, 30))
@settings(max_examples=200, deadline=None)
def test_more_room_never_costs_a_bottle(
    use: list[tuple[int, int]], capacity: int, life: int, room: int, days: int
) -> None:
    """A bigger bottle or a longer life never adds a bottle."""
    assert len(greedy(use, capacity + room, life + days)) <= len(greedy(use, capacity, life))
