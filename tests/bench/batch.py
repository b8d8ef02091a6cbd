"""How fast a whole list is made, where the time goes, and how memory grows: ``python -m tests.bench.batch [COUNT]``.

Prints ratios: they hold on another machine, seconds do not. Packs per second are printed for the machine at hand.
"""

from __future__ import annotations

import datetime as dt
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

from consent.clinic import read_clinic
from consent.pack import compose_pack
from consent.pack.batch import Order, run_batch
from consent.pack.day_sheets import write_day_sheets
from consent.pack.print_file import write_print_files
from consent.print import to_pdf
from tests.pack.invented_list import invented_cases

NOW = dt.datetime(2027, 2, 22, 9, 0, tzinfo=dt.UTC)
SHEETS = ("before-day", "separate-choices", "surgeon-review")


def main(count: int) -> None:
    """Everything, for lists of ``count`` invented patients."""
    shares(min(count, 6))
    stages(min(count, 6))
    whole_list(count)
    print_file_memory(count)


def shares(count: int) -> None:
    """Share of each sheet in the printing of one pack, and of composing in the whole."""
    clinic = read_clinic()
    spent: Counter[str] = Counter()
    for case in invented_cases(count):
        start = time.perf_counter()
        pack = compose_pack(case, clinic)
        spent["composing"] += time.perf_counter() - start  # type: ignore[assignment]
        for document in pack.documents:
            start = time.perf_counter()
            to_pdf(document, clinic.digits)
            spent[document.sheet] += time.perf_counter() - start  # type: ignore[assignment]
    for name, seconds in spent.most_common():
        print(f"{name:20} {seconds / spent.total():6.1%} of a pack")


def stages(count: int) -> None:
    """Share of each stage of a pack: composed, written as HTML, read, styled, made into boxes, laid out, painted."""
    from weasyprint import document as weasy

    from consent.pack import batch_job
    from consent.print import markup, render

    spent: Counter[str] = Counter()

    def timed(owner: Any, name: str, stage: str, whole: Any = lambda result: result) -> None:
        work = getattr(owner, name)

        def measured(*given: Any, **named: Any) -> Any:
            start = time.perf_counter()
            try:
                return whole(work(*given, **named))
            finally:
                spent[stage] += time.perf_counter() - start  # type: ignore[assignment]

        setattr(owner, name, measured)

    timed(batch_job, "compose_pack", "composing")
    timed(render, "to_html", "HTML written")
    timed(markup, "tree_of", "HTML read")
    timed(weasy, "get_all_computed_styles", "styles")
    timed(weasy, "build_formatting_structure", "boxes")
    timed(weasy, "layout_document", "layout", list)
    timed(weasy.Document, "write_pdf", "painted, tagged, written as PDF")
    clinic, start = read_clinic(), time.perf_counter()
    for case in invented_cases(count):
        for document in batch_job.compose_pack(case, clinic).documents:
            to_pdf(document, clinic.digits)
    whole = time.perf_counter() - start
    for name, seconds in spent.most_common():
        print(f"{name:32} {seconds / whole:6.1%} of a pack")
    print(f"{'everything else':32} {1 - spent.total() / whole:6.1%}")


def whole_list(count: int) -> None:
    """One process against all cores, then print files and lists as shares of the whole."""
    clinic, cores, taken = read_clinic(), os.cpu_count() or 1, {}
    for processes in dict.fromkeys((1, cores)):
        with tempfile.TemporaryDirectory() as name:
            start = time.perf_counter()
            batch = run_batch(invented_cases(count), clinic, Path(name), NOW, Order(processes, sheets=SHEETS))
            taken[processes] = time.perf_counter() - start
            print(f"{processes} processes: {count / taken[processes]:.2f} packs of {len(SHEETS)} sheets a second")
            start = time.perf_counter()
            again = run_batch(batch.cases, clinic, Path(name), NOW, Order(processes, sheets=SHEETS))
            print(f"  again, {again.kept} kept: {(time.perf_counter() - start) / taken[processes]:.1%} of the time")
            for stage in (write_print_files, write_day_sheets):
                start = time.perf_counter()
                stage(batch, clinic)  # type: ignore[operator]
                print(f"  {stage.__name__}: {(time.perf_counter() - start) / taken[processes]:.1%} of the time")
    print(f"all cores against one: {taken[1] / taken[cores]:.2f} times as fast on {cores} cores")
    children, own = (resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_CHILDREN, resource.RUSAGE_SELF))
    print(f"largest process of the pool against the one that leads: {children / own:.2f}")


def print_file_memory(count: int) -> None:
    """Peak memory of a print file of ten times as many patients, as a ratio."""
    peaks = [peak_of_print_file(size) for size in (count, 10 * count)]
    print(f"print file of {10 * count} patients against {count}: {peaks[1] / peaks[0]:.2f} times the memory")


def peak_of_print_file(count: int) -> int:
    """Peak memory (ru_maxrss) of a fresh process that puts together the same pack ``count`` times."""
    command = [sys.executable, "-m", "tests.bench.batch_memory", str(count)]
    return int(subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()[-1])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 8)
