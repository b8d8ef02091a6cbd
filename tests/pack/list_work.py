"""Jobs of a list that go wrong, for processes of a pool, and a list run in a process of its own, to be killed."""

from __future__ import annotations

import datetime as dt
import os
import signal
import sys
from pathlib import Path
from typing import Any

from consent.clinic import Clinic, read_clinic
from consent.errors import LanguageError, Problem
from consent.pack import batch_job
from consent.pack.batch import Batch, Order, run_batch
from consent.pack.batch_job import Finished, Job, Wanted, make
from consent.pack.print_file import write_print_files
from tests.pack.invented_list import invented_cases

NOW = dt.datetime(2027, 2, 22, 9, 0, tzinfo=dt.UTC)
DIES, NO_WORDS, FAULT, QUIET = "INV-0002", "INV-0003", "INV-0004", "INV-0005"
"""Record numbers of those whose job goes wrong in ``go_wrong``."""


def go_wrong(job: Job, clinic: Clinic, wanted: Wanted, root: Path) -> Finished:
    """Some jobs kill their process, some raise; every other one is made."""
    number = job.case["patient"]["record_number"]
    if number == DIES:
        os.kill(os.getpid(), signal.SIGKILL)
    if number in (NO_WORDS, FAULT):
        batch_job.compose_pack = _no_words if number == NO_WORDS else _fault
        try:
            return make(job, clinic, wanted, root)
        finally:
            from consent.pack.compose import compose_pack

            batch_job.compose_pack = compose_pack
    return make(job, clinic, wanted, root)


def _no_words(*_: object, **__: object) -> Any:
    raise LanguageError(Problem("a word is missing", "bn"))


def _fault(*_: object, **__: object) -> Any:
    raise ZeroDivisionError("Shanti Example, 67")


def work(root: Path, count: int, sheets: tuple[str, ...], processes: int = 2) -> Batch:
    """The list of ``count`` invented patients with its print files; the program counts as the same while it runs."""
    batch_job.program_digest = lambda: "the same program"  # type: ignore[assignment]
    clinic = read_clinic()
    return run_batch(
        invented_cases(count),
        clinic,
        root,
        NOW,
        Order(processes, sheets=sheets),
        told=lambda finished, *_: print(finished.name if finished else "", flush=True),
        after=lambda batch: print(*write_print_files(batch, clinic), flush=True),
    )


if __name__ == "__main__":
    work(Path(sys.argv[1]), int(sys.argv[2]), tuple(sys.argv[3].split(",")))
