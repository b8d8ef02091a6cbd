"""Sheets for a screen: all the words of the paper in one language, readable by a screen reader and on a small phone."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from consent.language import direction
from consent.pack.compose import FOR_PATIENTS
from consent.print import to_screen
from tests.chromium import PROGRAM
from tests.conftest import Paper
from tests.render.reading import squeezed

PHONE = 320
"""CSS pixels at which WCAG 2.2, 1.4.10, asks that nothing runs off to the side."""


def _for_patients(papers: list[Paper]) -> Iterator[tuple[Paper, int, str]]:
    for paper in papers:
        if paper.document.sheet in FOR_PATIENTS:
            yield from ((paper, place, to_screen(paper.document, place)) for place in range(len(paper.tags)))


def _words(page: str) -> str:
    body = re.sub(r"<(head|svg)\b.*?</\1>", " ", page, flags=re.S)
    return squeezed(html.unescape(re.sub(r"<[^>]+>", "", body)))


def test_every_word_of_the_sheet_is_there_in_its_language(papers: list[Paper]) -> None:
    for paper, place, page in _for_patients(papers):
        words, tag = _words(page), paper.tags[place]
        missing = [text for text in paper.document.texts_by_language()[tag] if squeezed(text) not in words]
        assert missing == [], (paper.name, tag)


def test_it_says_its_language_and_direction_and_holds_no_other(papers: list[Paper]) -> None:
    for paper, place, page in _for_patients(papers):
        tag = paper.tags[place]
        assert f'<html lang="{tag}" dir="{direction(tag)}"' in page
        spoken = set(re.findall(r'\blang="([^"]+)"', page))
        assert spoken <= {tag, "en"}, paper.name  # drug names are English in every language


def test_pictures_that_have_their_words_beside_them_are_silent(papers: list[Paper]) -> None:
    """WCAG 2.2, 1.1.1: what is told in words beside a picture is not told twice; a sign alone has words of its own."""
    drawn = 0
    for paper, _, page in _for_patients(papers):
        for picture in re.findall(r"<svg\b.*?</svg>", page, re.S):
            drawn += 1
            assert 'aria-hidden="true"' in picture or "<title>" in picture, paper.name
    assert drawn > 500


def test_it_asks_for_nothing(papers: list[Paper]) -> None:
    for _, _, page in _for_patients(papers):
        assert "default-src 'none'" in page
        assert re.findall(r'(?:src|href)="([^"]*)"', page) == []


@pytest.fixture(scope="module")
def pages(papers: list[Paper], tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The sheets of the hard case and of the torn bag as files."""
    folder, found = tmp_path_factory.mktemp("screen"), []
    for paper, place, page in _for_patients(papers):
        if paper.example in ("hard", "torn"):
            path = folder / f"{paper.example}.{paper.document.sheet}.{paper.tags[place]}.html"
            path.write_text(page, encoding="utf-8")
            found.append(path)
    return found


@pytest.mark.slow
@pytest.mark.skipif(PROGRAM is None, reason="there is no chromium on this machine")
def test_axe_finds_nothing_serious_and_nothing_runs_off_a_phone(pages: list[Path], chromium: Any) -> None:
    """axe-core (Deque), rules for WCAG 2.0 to 2.2, A and AA; a wide table scrolls by itself (1.4.10 allows tables)."""
    from tests.browser.looking import serious

    found: dict[str, Any] = {}
    with chromium.new_context(viewport={"width": PHONE, "height": 700}, bypass_csp=True) as context:
        for path in pages:
            page = context.new_page()
            page.goto(path.as_uri())
            width = page.evaluate("document.documentElement.scrollWidth")
            if width > PHONE or (problems := serious(page)):
                found[path.name] = (width, problems if width <= PHONE else None)
            page.close()
    assert found == {}
