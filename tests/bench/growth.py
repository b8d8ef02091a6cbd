"""Whether a list's cost stays linear and its memory flat: ``python -m tests.bench.growth [COUNT ...]``.

Lists of one small sheet a patient, so that the number of patients counts and not the printing; each in a process of its
own. What counts are the ratios. Nothing is asserted.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from consent.clinic import read_clinic
from consent.pack.batch import Order, run_batch
from tests.bench.against_chromium import peak
from tests.bench.batch import NOW
from tests.pack.invented_list import invented_cases

SHEETS = ("separate-choices",)
COUNTS = (10, 100, 500, 2000)


def one(count: int) -> None:
    """Print seconds and peak memory of a list of ``count``."""
    cases, clinic = invented_cases(count), read_clinic()
    with tempfile.TemporaryDirectory() as name, peak() as memory:
        start = time.perf_counter()
        run_batch(cases, clinic, Path(name), NOW, Order(os.cpu_count() or 1, sheets=SHEETS))
        taken = time.perf_counter() - start
    print(taken, memory.megabytes)


def main(counts: tuple[int, ...]) -> None:
    """Each count beside the first but one, which has paid for its start."""
    found = {}
    for count in counts:
        done = subprocess.run(
            [sys.executable, "-m", "tests.bench.growth", "one", str(count)], capture_output=True, text=True, check=True
        )
        found[count] = tuple(map(float, done.stdout.split()))
    beside = counts[min(1, len(counts) - 1)]
    for count, (taken, memory) in found.items():
        by_patient = taken / count / (found[beside][0] / beside)
        print(f"{count:5} patients: {taken:6.1f} s, {by_patient:.2f} times the seconds a patient of {beside}; ", end="")
        print(f"{memory:.0f} MB, {memory / found[beside][1]:.2f} times its memory")


if __name__ == "__main__":
    if sys.argv[1:2] == ["one"]:
        one(int(sys.argv[2]))
    else:
        main(tuple(map(int, sys.argv[1:])) or COUNTS)
