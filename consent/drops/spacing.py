"""Clock times of a day: spread evenly over the waking hours, or put on the day's landmarks, or shared with others."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise

from consent.drops.limits import read_limits
from consent.errors import DropsError, Problem

_HOUR = 60


@dataclass(frozen=True)
class Waking:
    """The hours the patient is awake, and how finely clock times are given.

    ``marks`` are minutes of the day of landmarks between waking and bed; with any, times are put on them.
    """

    first: dt.time
    last: dt.time
    round_to_minutes: int
    marks: tuple[int, ...] = ()

    @property
    def first_minute(self) -> int:
        """First usable minute of the day, rounded inwards."""
        minute = minute_of(self.first)
        return minute + -minute % self.round_to_minutes

    @property
    def last_minute(self) -> int:
        """Last usable minute of the day, rounded inwards."""
        minute = minute_of(self.last)
        return minute - minute % self.round_to_minutes

    def __str__(self) -> str:
        return f"{self.first:%H:%M}-{self.last:%H:%M}"


def minute_of(clock: dt.time) -> int:
    """Minutes since midnight; seconds are dropped."""
    return clock.hour * _HOUR + clock.minute


def clock_of(minute: int) -> dt.time:
    """Clock time ``minute`` minutes after midnight."""
    return dt.time(*divmod(minute, _HOUR))


@lru_cache(maxsize=4096)
def even_times(times_a_day: int, waking: Waking) -> tuple[dt.time, ...]:
    """Return ``times_a_day`` clock times spread evenly from waking to bed.

    Dose i of n is at W + (B - W) * i / (n - 1), rounded to ``waking.round_to_minutes`` (halves up); a single dose
    is at W. All lie within the waking hours and gaps differ by at most one rounding step.
    Raises ``DropsError`` where so many doses do not fit.
    """
    step, first = waking.round_to_minutes, waking.first_minute
    span = waking.last_minute - first
    gaps = times_a_day - 1
    if span < gaps * step or span < 0:
        raise DropsError(
            Problem(
                f"{times_a_day} times a day does not fit between {waking}",
                "patient.waking_from, patient.waking_to",
                remedy="correct the waking hours, or choose another regimen",
            )
        )
    if gaps == 0:
        return (clock_of(first),)
    return tuple(clock_of(first + (2 * span * i + gaps * step) // (2 * gaps * step) * step) for i in range(times_a_day))


@lru_cache(maxsize=4096)
def own_times(times_a_day: int, waking: Waking, at_bedtime: bool = False) -> tuple[dt.time, ...]:
    """Return the times of a drug by itself: on the landmarks of ``waking`` where it has any, else even.

    On landmarks the first dose is at waking and the last at bedtime, and of all choices whose longest gap is at most
    twice the shortest the most even one is taken; where there is none, times are even. A single dose is at waking,
    or with ``at_bedtime`` at bedtime. Raises ``DropsError`` where so many doses do not fit.
    """
    even = even_times(times_a_day, waking)
    if times_a_day == 1:
        return (clock_of(waking.last_minute),) if at_bedtime else even
    return _on_landmarks(times_a_day, waking) or even


def _on_landmarks(times_a_day: int, waking: Waking) -> tuple[dt.time, ...]:
    ends = (waking.first_minute, waking.last_minute)
    between = [mark for mark in waking.marks if ends[0] < mark < ends[1]]
    if not waking.marks or times_a_day < len(ends):
        return ()
    choices = (
        (ends[0], *inner, ends[1])
        for inner in combinations(between, times_a_day - len(ends))
        if _even_enough((ends[0], *inner, ends[1]))
    )
    best = min(choices, key=lambda choice: (_spread(choice), choice), default=())
    return tuple(clock_of(minute) for minute in best)


def shared_times(own: Sequence[dt.time], grid: Sequence[dt.time]) -> tuple[dt.time, ...]:
    """Return as many times of ``grid`` as ``own`` has, so that no sitting is added to those of the day.

    The choice lies nearest to the drug's ``own`` times, the earlier one on a tie, among those whose longest gap is at
    most twice the shortest. ``own`` itself is returned where the grid holds no such choice.
    """
    return _shared(tuple(map(minute_of, own)), tuple(map(minute_of, grid)))


@lru_cache(maxsize=4096)
def _shared(own: tuple[int, ...], grid: tuple[int, ...]) -> tuple[dt.time, ...]:
    choices = (choice for choice in combinations(grid, len(own)) if _even_enough(choice))
    best = min(choices, key=lambda choice: (_distance(choice, own), choice), default=own)
    return tuple(clock_of(minute) for minute in best)


def _distance(choice: tuple[int, ...], own: tuple[int, ...]) -> int:
    return sum(abs(a - b) for a, b in zip(choice, own, strict=True))


def _spread(minutes: tuple[int, ...]) -> int:
    gaps = [after - before for before, after in pairwise(minutes)]
    return max(gaps) - min(gaps)


def _even_enough(minutes: tuple[int, ...]) -> bool:
    gaps = [after - before for before, after in pairwise(minutes)]
    return len(gaps) < 2 or max(gaps) <= read_limits().longest_gap_times_shortest.value * min(gaps)
