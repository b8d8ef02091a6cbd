"""Every small picture and every drawing of the eye, drawn: each has ink, and no two look alike.

The sheet of all of them is written as PNG into pytest's own folder and, where the environment variable
``CONSENT_ARTEFACTS`` names a folder, into that one too. Two are compared as blurred by 0.3 mm on the paper: common
practice, no source.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFilter
from weasyprint import HTML

from consent.compose.pictures import diagram, diagram_names, pictogram, pictogram_names
from tests.render.reading import draw

SIDE = 144
"""Points of a page, and pixels of a drawing."""
LEAST_INK, MOST_INK = 0.01, 0.6
"""Share of a drawing that is black: less is a hairline or nothing, more a blot."""
KINDS = {"small": (12.0, 0.12), "eye": (40.0, 0.06)}
"""Of small pictures and of drawings of the eye: the width on paper in mm, and the least difference of two.

The difference is the ink that is not in the same place, as a share of the ink of both: 0 alike, 1 nothing shared. The
drawings of the eye are the same eye, so they share most of their ink. Measured in 2026: a stop and a pause 0.15; two
drawings of the eye that differ in one line 0.04, in their lens 0.08.
"""
ACROSS = 8


@pytest.fixture(scope="module")
def drawings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Image.Image]:
    """Each drawing by its name, in greys, on a square; written as one sheet."""
    drawn = {name: pictogram(name) for name in pictogram_names()}
    drawn |= {f"eye: {name}": diagram(name) for name in diagram_names()}
    shape = f"display: block; width: {SIDE}pt; height: {SIDE}pt"
    style = f"@page {{ size: {SIDE}pt; margin: 0 }} body {{ margin: 0 }} svg {{ {shape} }}"
    pages = "".join(f"<div style='break-after: page'>{svg}</div>" for svg in drawn.values())
    folder = tmp_path_factory.mktemp("drawings")
    pdf = folder / "drawings.pdf"
    HTML(string=f"<style>{style}</style>{pages}").write_pdf(pdf)
    found = dict(zip(drawn, draw(pdf, folder, 72, last=len(drawn)), strict=True))
    sheet = contact_sheet(found)
    for target in (folder, os.environ.get("CONSENT_ARTEFACTS")):
        if target:
            Path(target).mkdir(parents=True, exist_ok=True)
            sheet.save(Path(target) / "contact-sheet.png", optimize=True)
    return found


def contact_sheet(found: Mapping[str, Image.Image]) -> Image.Image:
    """All drawings on one sheet, each with its name under it."""
    rows = -(-len(found) // ACROSS)
    sheet = Image.new("L", (ACROSS * (SIDE + 16), rows * (SIDE + 32)), 255)
    pen = ImageDraw.Draw(sheet)
    for place, (name, picture) in enumerate(found.items()):
        left, top = place % ACROSS * (SIDE + 16) + 8, place // ACROSS * (SIDE + 32) + 4
        sheet.paste(picture, (left, top))
        pen.text((left, top + SIDE + 4), name, fill=0)
    return sheet


def ink(picture: Image.Image, printed_mm: float) -> np.ndarray:
    """Ink from 0 to 1, blurred by 0.3 mm on the paper where the drawing is ``printed_mm`` wide."""
    blurred = picture.filter(ImageFilter.GaussianBlur(0.3 * SIDE / printed_mm))
    return 1 - np.asarray(blurred, dtype=float) / 255


def difference(one: Image.Image, other: Image.Image, printed_mm: float) -> float:
    """Ink that is not in the same place, as a share of the ink of both."""
    first, second = ink(one, printed_mm), ink(other, printed_mm)
    return float(np.abs(first - second).sum() / (first.sum() + second.sum()))


def test_every_drawing_has_ink(drawings: dict[str, Image.Image]) -> None:
    shares = {name: float((np.asarray(picture) < 128).mean()) for name, picture in drawings.items()}
    wrong = {name: round(share, 3) for name, share in shares.items() if not LEAST_INK < share < MOST_INK}
    assert not wrong, wrong


@pytest.mark.parametrize("kind", KINDS)
def test_no_two_drawings_look_alike(drawings: dict[str, Image.Image], kind: str) -> None:
    printed_mm, least = KINDS[kind]
    names = [name for name in drawings if name.startswith("eye: ") == (kind == "eye")]
    assert len(names) > 10
    alike = [
        (one, other, round(apart, 3))
        for one, other in combinations(names, 2)
        if (apart := difference(drawings[one], drawings[other], printed_mm)) < least
    ]
    assert not alike, alike


def test_a_drawing_a_little_moved_would_be_found_alike(drawings: dict[str, Image.Image]) -> None:
    """The threshold is above what moving a picture by a 144th of its side makes, and below nothing shared."""
    printed_mm, least = KINDS["small"]
    picture = drawings["shake"]
    moved = Image.new("L", picture.size, 255)
    moved.paste(picture, (1, 0))
    assert 0 < difference(picture, moved, printed_mm) < least
    upper, lower = Image.new("L", picture.size, 255), Image.new("L", picture.size, 255)
    upper.paste(0, (20, 10, 120, 40))
    lower.paste(0, (20, 100, 120, 130))
    assert difference(upper, lower, printed_mm) == pytest.approx(1, abs=0.02)


def test_the_sheet_shows_every_drawing(drawings: dict[str, Image.Image]) -> None:
    """Each square of the sheet has the drawing's ink. Source: the drawings themselves."""
    sheet = contact_sheet(drawings)
    for place, picture in enumerate(drawings.values()):
        left, top = place % ACROSS * (SIDE + 16) + 8, place // ACROSS * (SIDE + 32) + 4
        assert list(sheet.crop((left, top, left + SIDE, top + SIDE)).tobytes()) == list(picture.tobytes())
