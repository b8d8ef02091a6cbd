"""Prints what one pack costs in each language beside English: composed and printed, in one process, warm.

The hard example, every sheet in that language alone; the text layer of each script is made as it is in use. Turns of
the languages alternate, so that a busy machine is busy for all; then the median of five. What counts are the ratios of
one run. Not a test: nothing is asserted.
"""

from __future__ import annotations

import statistics
import time
from io import BytesIO

import pypdf

from consent.case import read_case
from consent.clinic import read_clinic
from consent.language import languages
from consent.pack import compose_pack
from consent.print import to_pdf
from consent.resources import package_data

ROUNDS = 5
BESIDE = "en"


def turn(tag: str) -> tuple[float, float, int, int]:
    """Seconds to compose and to print, pages, and letters printed."""
    case, clinic = read_case(package_data("case", "examples", "hard.toml")), read_clinic()
    start = time.perf_counter()
    documents = compose_pack(case, clinic, (tag,)).documents
    composed = time.perf_counter()
    papers = [to_pdf(document) for document in documents]
    printed = time.perf_counter()
    pages = sum(len(pypdf.PdfReader(BytesIO(paper)).pages) for paper in papers)
    letters = sum(len(text) for document in documents for text in document.texts())
    return composed - start, printed - composed, pages, letters


def report() -> None:
    """One line a language."""
    tags = languages()
    for tag in tags:
        turn(tag)
    turns = {tag: [] for tag in tags}
    for _ in range(ROUNDS):
        for tag in tags:
            turns[tag].append(turn(tag))
    whole = {tag: statistics.median(composed + printed for composed, printed, *_ in turns[tag]) for tag in tags}
    print(f"one pack of the hard example, beside {BESIDE} ({whole[BESIDE]:.2f} s)")
    for tag in sorted(tags, key=lambda tag: whole[tag]):
        composed, printed = (statistics.median(one[place] for one in turns[tag]) for place in (0, 1))
        _, _, pages, letters = turns[tag][0]
        print(
            f"  {tag:3} {whole[tag] / whole[BESIDE]:5.2f} times  {pages:3} pages, "
            f"{1000 * printed / pages:4.0f} ms a page, {letters:6} letters, composing {composed / whole[tag]:4.0%}"
        )


if __name__ == "__main__":
    report()
