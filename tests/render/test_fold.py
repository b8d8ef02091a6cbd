"""What can be read without unfolding: the upper 99 mm of page one, a third of A4, of every paper for the patient.

A folded paper is read as far as the fold: which eye, whom to call, what to do first. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

import pytest
from babel.messages.pofile import read_po

from consent.resources import locales
from tests.conftest import Paper
from tests.render.reading import MM, Word, places, squeezed

FOLD = 99 * MM
SHEETS = (
    "consent-form",
    "risk-sheet",
    "separate-choices",
    "going-home",
    "drop-calendar",
    "before-day",
    "not-to-plan",
)
EYE = {
    "en": {"right": "RIGHT eye", "left": "LEFT eye"},
    "bn": {"right": "ডান চোখ", "left": "বাঁ চোখ"},
    "hi": {"right": "दाहिनी आँख", "left": "बाईं आँख"},
}
# What is done first, by its English words on that sheet. Other languages say it in the message of the same id.
FIRST = {
    "consent-form": "First ask whatever you want to know",
    "going-home": "First learn the warning signs",
    "not-to-plan": "You are sent on to",
    "before-day": "Be there at",
}
DAY_TELEPHONE = re.compile("0{5}1{5}")


def _above(paper: Paper) -> list[Word]:
    """The words of page one that are wholly above the fold, in the order in which they were printed."""
    return [word for word in paper.boxes[0].words if word.bottom <= FOLD]


def _of(papers: list[Paper], sheet: str) -> Iterator[tuple[Paper, list[Word]]]:
    found = [paper for paper in papers if paper.document.sheet == sheet]
    assert found, sheet
    return ((paper, _above(paper)) for paper in found)


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_eye_in_words_is_above_the_fold(papers: list[Paper], sheet: str) -> None:
    for paper, words in _of(papers, sheet):
        assert any(places(words, EYE[paper.first][paper.case.eye.side.value])), paper.name


@pytest.mark.parametrize("sheet", SHEETS)
def test_the_telephone_by_day_is_above_the_fold(papers: list[Paper], sheet: str) -> None:
    """The invented clinic's number by day is 00000 11111, in ``consent/clinic/demo.toml``."""
    for paper, words in _of(papers, sheet):
        found = DAY_TELEPHONE.search(squeezed("".join(word.text for word in words)))
        assert found, paper.name


@cache
def _catalogue(tag: str) -> dict[str, str]:
    with (locales() / tag / "LC_MESSAGES" / "consent.po").open("rb") as file:
        return {str(message.id): str(message.string) for message in read_po(file) if message.id}


def _said_first(sheet: str, tag: str) -> list[str]:
    """The longest piece without a slot of each message whose English begins as in ``FIRST``."""
    ids = [name for name, text in _catalogue("en").items() if text.startswith(FIRST[sheet])]
    assert ids, FIRST[sheet]
    return [max(re.split(r"\{\w+\}|\*\*", _catalogue(tag)[name]), key=len) for name in ids]


@pytest.mark.parametrize("sheet", FIRST)
def test_what_to_do_first_is_above_the_fold(papers: list[Paper], sheet: str) -> None:
    for paper, words in _of(papers, sheet):
        text = squeezed("".join(word.text for word in words))
        assert any(squeezed(piece) in text for piece in _said_first(sheet, paper.first)), paper.name


def test_a_sheet_that_begins_lower_would_be_found(papers: list[Paper]) -> None:
    """What stands at the foot of page one of the form, its page number, is not above the fold."""
    for paper, words in _of(papers, "consent-form"):
        last = paper.boxes[0].words[-1]
        assert last.bottom > FOLD
        assert last not in words
