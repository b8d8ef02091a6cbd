"""A list of mixed patients, printed here and by a warm headless Chromium with two tabs: packs a second and memory.

``python -m tests.bench.against_chromium [COUNT]``. Both print the same HTML in the same faces on the same cores, in one
run, one after the other. Ours composes the sheets, lays them out, mends the text layer and tags, and writes the files;
Chromium is given the HTML ready composed and prints it, tagged. What counts are the ratios. Nothing is asserted.
"""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
import os
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from consent.case import Case
from consent.clinic import Clinic, read_clinic
from consent.pack import compose_pack
from consent.print import to_html, to_pdf, warm_up
from consent.resources import templates
from tests.chromium import FLAGS, PROGRAM
from tests.pack.invented_list import invented_cases

TABS = 2
WARM = 4
"""Packs printed before the clock starts, on either side."""


@dataclass
class Peak:
    """Most memory that this process and all below it had together, PSS in MB (proc(5), smaps_rollup)."""

    megabytes: float = 0.0
    over: threading.Event = field(default_factory=threading.Event)

    def watch(self) -> None:
        while not self.over.wait(0.5):
            self.megabytes = max(self.megabytes, sum(map(_pss, _family(os.getpid()))))


@contextmanager
def peak() -> Iterator[Peak]:
    """Watches while the block runs."""
    found = Peak()
    watcher = threading.Thread(target=found.watch, daemon=True)
    watcher.start()
    yield found
    found.over.set()
    watcher.join()


def _family(pid: int) -> list[int]:
    found = [pid]
    try:
        for thread in Path(f"/proc/{pid}/task").iterdir():
            for child in (thread / "children").read_text().split():
                found += _family(int(child))
    except OSError:
        pass
    return found


def _pss(pid: int) -> float:
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("Pss:"))


def get_ready() -> None:
    """As a process of the pool of a list."""
    warm_up()
    gc.disable()


def print_ours(case: Case, clinic: Clinic, folder: Path) -> int:
    """Compose and print every sheet of a pack into ``folder``; how many sheets."""
    folder.mkdir()
    documents = compose_pack(case, clinic).documents
    for number, document in enumerate(documents):
        (folder / f"{number}.pdf").write_bytes(to_pdf(document, clinic.digits))
    return len(documents)


def ours(cases: Sequence[Case], clinic: Clinic, folder: Path, processes: int) -> tuple[float, float]:
    """Packs a second, and the peak of memory."""
    context = multiprocessing.get_context("spawn")
    with peak() as memory, ProcessPoolExecutor(processes, context, get_ready) as pool:
        places = [folder / f"warm-{number}" for number in range(WARM)]
        list(pool.map(print_ours, cases[:WARM], [clinic] * WARM, places))
        start = time.perf_counter()
        places = [folder / f"{number}" for number in range(len(cases))]
        sheets = sum(pool.map(print_ours, cases, [clinic] * len(cases), places))
        taken = time.perf_counter() - start
    print(f"ours: {sheets} sheets of {len(cases)} packs by {processes} processes in {taken:.1f} s")
    return len(cases) / taken, memory.megabytes


def as_html(cases: Sequence[Case], clinic: Clinic, folder: Path) -> list[list[Path]]:
    """The sheets of each pack as files with their style inside."""
    style = (templates() / "styles" / "sheet.css").read_text(encoding="utf-8")
    packs = []
    for number, case in enumerate(cases):
        paths = []
        for place, document in enumerate(compose_pack(case, clinic).documents):
            path = folder / f"{number}-{place}.html"
            html = to_html(document, clinic.digits).replace("</head>", f"<style>{style}</style></head>")
            path.write_text(html, encoding="utf-8")
            paths.append(path)
        packs.append(paths)
    return packs


async def theirs(packs: Sequence[Sequence[Path]], folder: Path) -> tuple[float, float]:
    """Packs a second of a Chromium that is open already, two tabs at work, and the peak of memory."""
    from playwright.async_api import async_playwright

    async with async_playwright() as driver:
        browser = await driver.chromium.launch(executable_path=PROGRAM, args=list(FLAGS))
        tabs = [await browser.new_page() for _ in range(TABS)]
        with peak() as memory:
            await _print_all(tabs, packs[:WARM], folder)
            start = time.perf_counter()
            await _print_all(tabs, packs, folder)
            taken = time.perf_counter() - start
        await browser.close()
    print(f"Chromium: {sum(map(len, packs))} sheets of {len(packs)} packs by {TABS} tabs in {taken:.1f} s")
    return len(packs) / taken, memory.megabytes


async def _print_all(tabs: Sequence[object], packs: Sequence[Sequence[Path]], folder: Path) -> None:
    waiting = [path for pack in reversed(packs) for path in reversed(pack)]

    async def work(tab: object) -> None:
        while waiting:
            path = waiting.pop()
            await tab.goto(path.as_uri())  # type: ignore[attr-defined]
            to = str(folder / f"{path.stem}.pdf")
            await tab.pdf(path=to, prefer_css_page_size=True, print_background=True, tagged=True)  # type: ignore[attr-defined]

    await asyncio.gather(*(work(tab) for tab in tabs))


def main(count: int) -> None:
    """Measure and print."""
    if PROGRAM is None:
        sys.exit("Chromium is not installed (apt-get install chromium)")
    cases, clinic = invented_cases(max(count, WARM)), read_clinic()
    with tempfile.TemporaryDirectory() as name:
        folders = [Path(name) / part for part in ("ours", "html", "theirs")]
        for folder in folders:
            folder.mkdir()
        own, own_memory = ours(cases, clinic, folders[0], os.cpu_count() or 1)
        packs = as_html(cases, clinic, folders[1])
        other, other_memory = asyncio.run(theirs(packs, folders[2]))
    print(f"packs a second: {own:.2f} against {other:.2f}; ratio {own / other:.2f}")
    print(f"peak memory, MB: {own_memory:.0f} against {other_memory:.0f}; ratio {own_memory / other_memory:.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
