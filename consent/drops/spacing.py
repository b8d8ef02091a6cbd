"""Even clock times within the waking hours, and fewer of them where several drugs share a day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise

from consent.errors import DropsError, Problem

_HOUR = 60


@dataclass(frozen=True)
class Waking:
    """The hours the patient is awake, and how finely clock times are given."""

    first: dt.time
    last: dt.time
    round_to_minutes: int

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
def aligned_times(times_a_day: int, sessions: int, waking: Waking) -> tuple[dt.time, ...]:
    """Return ``times_a_day`` of the ``sessions`` even times of the day, so that no session is added.

    The choice lies nearest to the drug's own even times, the earlier one on a tie, among those whose longest gap
    is at most twice the shortest. Consecutive sessions always satisfy that, so there is always a choice.
    """
    own = [minute_of(clock) for clock in even_times(times_a_day, waking)]
    grid = [minute_of(clock) for clock in even_times(sessions, waking)]
    choices = (choice for choice in combinations(grid, times_a_day) if _even_enough(choice))
    best = min(choices, key=lambda choice: (sum(abs(a - b) for a, b in zip(choice, own, strict=True)), choice))
    return tuple(clock_of(minute) for minute in best)


def _even_enough(minutes: tuple[int, ...]) -> bool:
    gaps = [after - before for before, after in pairwise(minutes)]
    return len(gaps) < 2 or max(gaps) <= 2 * min(gaps)
