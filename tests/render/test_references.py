"""Pages against kept pictures of them: what moves, goes or comes on a page is looked at by a person before it stays.

The pictures are made anew by ``python -m tests.render.references``, after the change was looked at. How much may differ
was measured; the numbers stand beside ``MOST_DIFFERENCE``.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from consent.compose.document import EyeBox
from tests.conftest import Paper
from tests.render.references import FOLDER, MOST_DIFFERENCE, PAGES, UPRIGHT_A4, difference, path, picture

PER_MM = UPRIGHT_A4 / 210


def _kept(page: tuple[str, str, tuple[str, ...], int]) -> Image.Image:
    with Image.open(path(*page)) as kept:
        return kept.convert("L")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: path(*page).stem)
def test_the_page_is_as_it_was_kept(
    papers: list[Paper], page: tuple[str, str, tuple[str, ...], int], tmp_path: Path
) -> None:
    example, sheet, tags, number = page
    (paper,) = [one for one in papers if (one.example, one.document.sheet, one.tags) == (example, sheet, tags)]
    found = difference(_kept(page), picture(paper.pdf, number, tmp_path))
    told = f"{path(*page).name}: {found:.1f}; look at the page, then python -m tests.render.references"
    assert found <= MOST_DIFFERENCE, told


def test_what_is_kept_is_what_is_compared_and_small() -> None:
    """400 kB for all: common practice, no source; a repository keeps every version for ever."""
    files = sorted(FOLDER.glob("*.png"))
    assert files == sorted(path(*page) for page in PAGES)
    assert sum(file.stat().st_size for file in files) < 400_000


@pytest.mark.parametrize("page", PAGES, ids=lambda page: path(*page).stem)
def test_a_block_moved_by_two_millimetres_is_caught(page: tuple[str, str, tuple[str, ...], int]) -> None:
    kept = _kept(page)
    moved = kept.copy()
    top, bottom = kept.height // 3, 2 * kept.height // 3
    moved.paste(kept.crop((0, top, kept.width, bottom)), (0, top + round(2 * PER_MM)))
    assert difference(kept, moved) > MOST_DIFFERENCE


@pytest.mark.parametrize("sheet", ["lens-card", "before-day"])
def test_a_picture_left_out_is_caught(papers: list[Paper], sheet: str, tmp_path: Path) -> None:
    """The sheet printed anew with the drawn eye empty, against the sheet as it is."""
    paper = next(one for one in papers if one.document.sheet == sheet)
    empty = '<svg xmlns="http://www.w3.org/2000/svg" class="face" viewBox="0 0 120 130"></svg>'
    section = next(one for one in paper.document.sections if any(isinstance(block, EyeBox) for block in one.blocks))
    blocks = tuple(replace(block, picture=empty) if isinstance(block, EyeBox) else block for block in section.blocks)
    sections = tuple(replace(one, blocks=blocks) if one is section else one for one in paper.document.sections)
    lacking = Paper(paper.case, replace(paper.document, sections=sections), tmp_path, "lacking")
    whole = picture(paper.pdf, 1, tmp_path)
    assert difference(whole, picture(lacking.pdf, 1, tmp_path)) > MOST_DIFFERENCE
    assert difference(whole, picture(paper.pdf, 1, tmp_path, 150)) <= MOST_DIFFERENCE, "drawn finer is the same page"
