"""Reads printed sheets back: boxes of words by Poppler, pieces of text with their sizes by pypdf, ink by Poppler.

All positions are in points from the top left corner of the page.
"""

from __future__ import annotations

import html
import math
import re
import subprocess
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import pypdf
from PIL import Image

MM = 72 / 25.4
_NUMBER = re.compile(r'(\w+)="(-?[\d.]+)"')


@dataclass(frozen=True)
class Word:
    """One word and its box, which reaches from the ascent to the descent of its font."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True)
class Page:
    width: float
    height: float
    words: tuple[Word, ...]


@dataclass(frozen=True)
class Run:
    """One piece of text on one line: its size, where it starts, and its baseline."""

    text: str
    size: float
    left: float
    baseline: float
    height: float
    """Height of its page."""


Piece = TypeVar("Piece", Run, Word)


def squeezed(text: str) -> str:
    """``text`` as it is compared: composed letters, no space, no hidden sign."""
    plain = unicodedata.normalize("NFC", text)
    return "".join(letter for letter in plain if not letter.isspace() and unicodedata.category(letter) != "Cf")


def read_boxes(pdf: Path) -> list[Page]:
    """Every page with the boxes of its words, in the order in which they were printed, by Poppler."""
    done = subprocess.run(["pdftotext", "-raw", "-bbox", str(pdf), "-"], capture_output=True, check=True)
    found: list[tuple[float, float, list[Word]]] = []
    for line in done.stdout.decode().splitlines():
        tag = line.lstrip()
        if tag.startswith("<page"):
            at = {name: float(value) for name, value in _NUMBER.findall(tag)}
            found.append((at["width"], at["height"], []))
        elif tag.startswith("<word"):
            at = {name: float(value) for name, value in _NUMBER.findall(tag.split(">", 1)[0])}
            text = html.unescape(tag.split(">", 1)[1].removesuffix("</word>"))
            found[-1][2].append(Word(text, at["xMin"], at["yMin"], at["xMax"], at["yMax"]))
    return [Page(width, height, tuple(words)) for width, height, words in found]


def read_runs(pdf: Path) -> list[list[Run]]:
    """Page by page, the pieces of text in the order in which they were printed, by pypdf."""
    return [_runs(page) for page in pypdf.PdfReader(pdf).pages]


def _runs(page: pypdf.PageObject) -> list[Run]:
    height = float(page.mediabox.height)
    found: list[Run] = []

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        if text.strip():
            scale = math.hypot(tm[0], tm[1]) * math.hypot(cm[0], cm[1])
            left = tm[4] * cm[0] + tm[5] * cm[2] + cm[4]
            up = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            found.append(Run(text.strip(), size * scale, left, height - up, height))

    page.extract_text(visitor_text=visit)
    return found


def places(runs: Sequence[Run | Word], text: str) -> Iterator[tuple[int, int]]:
    """Where ``text`` stands in a page's words or pieces: index of the first and of the one after the last."""
    wanted = squeezed(text)
    for start in range(len(runs)):
        sofar = ""
        for end in range(start, len(runs)):
            sofar += squeezed(runs[end].text)
            if sofar.startswith(wanted):
                yield start, end + 1
                break
            if not wanted.startswith(sofar):
                break


def body(runs: Sequence[Piece], header: str) -> Sequence[Piece]:
    """The words or pieces between running head and foot: both are printed after the page, the head first."""
    starts = [start for start, _ in places(runs, header)]
    if not starts:
        raise ValueError(f"the running head is not on the page: {header}")
    return runs[: starts[-1]]


def draw(pdf: Path, folder: Path, dots: int, first: int = 1, last: int = 999) -> list[Image.Image]:
    """Pages in greys at ``dots`` to the inch, by Poppler."""
    stem = folder / f"{pdf.stem}-{dots}"
    span = ["-f", str(first), "-l", str(last)]
    subprocess.run(["pdftoppm", "-gray", "-r", str(dots), *span, str(pdf), str(stem)], capture_output=True, check=True)
    found = []
    for path in sorted(folder.glob(f"{stem.name}-*.pgm")):
        with Image.open(path) as picture:
            found.append(picture.copy())
        path.unlink()
    return found


INSIDE = 0.3
"""Share of a word's box left out above and below: fonts of Indic scripts keep much room there that holds no ink."""
ASIDE = 0.75
"""Points left out at either side of a word: letters lean out of their boxes."""


def overlapping(page: Page) -> list[tuple[str, str]]:
    """Pairs of words printed over each other: the middles of their boxes meet."""
    middles = sorted(
        (
            word.top + INSIDE * (word.bottom - word.top),
            word.bottom - INSIDE * (word.bottom - word.top),
            word.left + ASIDE,
            word.right - ASIDE,
            word.text,
        )
        for word in page.words
    )
    found = []
    for place, (_, bottom, left, right, text) in enumerate(middles):
        for top_b, _, left_b, right_b, text_b in middles[place + 1 :]:
            if top_b >= bottom:
                break
            if left < right_b and left_b < right:
                found.append((text, text_b))
    return found


def outside(page: Page, margin: float) -> list[Word]:
    """Words nearer than ``margin`` to the left or right edge of the paper, or cut by its upper or lower edge."""
    return [
        word
        for word in page.words
        if word.left < margin - 1 or word.right > page.width - margin + 1 or word.bottom > page.height or word.top < 0
    ]
