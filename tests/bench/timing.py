"""How the benchmarks take time: the median of several turns, warm, in one process."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

ROUNDS = 7


def seconds(work: Callable[[], Any], rounds: int = ROUNDS) -> float:
    """Median seconds of ``work``, after one turn that is not counted."""
    work()
    taken = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)
