"""How each sheet lies on its pages: how many, nothing left over or orphaned, nothing over another or off the paper.

Read back from the printed file with Poppler and pypdf. Budgets and layout: common practice, no source, except where
one is named.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest
from PIL import ImageOps

from consent.compose.document import (
    Blank,
    Chances,
    Choice,
    EyeBox,
    Facts,
    Line,
    Para,
    PicturedTable,
    Signature,
    Table,
    WarningGroup,
)
from consent.language import Said
from tests.conftest import NAMES, Paper
from tests.render.reading import MM, Page, Run, Word, body, draw, outside, overlapping, places, squeezed

# The surgeon's review of the hard example in Bengali may take two: the script needs more room. Common practice.
MOST_PAGES = {
    "consent-form": 4,
    "decision": 2,
    "separate-choices": 1,
    "day-of-surgery": 1,
    "referral-letter": 1,
    "lens-card": 1,
    "surgeon-review": 1,
    "operating-list": 1,
    "missed-visits": 1,
}
TWO_ALLOWED = {"hard.surgeon-review.bn"}
LEAST_REACH = 0.25
"""How far down the paper the text of a page reaches at least, as a share of its height."""
SCRIPTS = {"en": r"[A-Za-z]", "bn": r"[\u0980-\u09ff]", "hi": r"[\u0900-\u097f]"}
EXAMPLES = [*NAMES, "day"]


@pytest.fixture(params=EXAMPLES)
def pack(request: pytest.FixtureRequest, papers: list[Paper], list_papers: list[Paper]) -> list[Paper]:
    """The sheets of one example, or the lists of a day."""
    return [paper for paper in (*papers, *list_papers) if paper.example == request.param]


def _body(paper: Paper, page: Page) -> list[Word]:
    return list(body(page.words, paper.document.header[0].plain))


def test_budgets_of_pages_are_kept(pack: list[Paper]) -> None:
    """A form of many pages is signed unread; what hangs or lies on a wall, in a file or in a wallet is one page."""
    found = {paper.name: len(paper.boxes) for paper in pack if paper.document.sheet in MOST_PAGES}
    assert found
    allowed = {name: 2 if name in TWO_ALLOWED else MOST_PAGES[name.split(".")[1]] for name in found}
    over = {name: count for name, count in found.items() if count > allowed[name]}
    assert not over, over


def test_every_sheet_with_a_budget_is_printed(papers: list[Paper], list_papers: list[Paper]) -> None:
    """A budget of a sheet that no example prints would never be looked at."""
    assert MOST_PAGES.keys() <= {paper.document.sheet for paper in (*papers, *list_papers)}


def test_no_page_is_nearly_empty(pack: list[Paper]) -> None:
    """Three lines left over on a page of their own are overlooked, or the page is lost.

    A second page that a script needs in spite of its budget holds what is left.
    """
    empty = [
        (paper.name, f"page {number} of {len(paper.boxes)}", f"{reach:.2f}")
        for paper in pack
        if paper.name not in TWO_ALLOWED
        for number, page in enumerate(paper.boxes, 1)
        if (reach := max((word.bottom for word in _body(paper, page)), default=0.0) / page.height) < LEAST_REACH
    ]
    assert not empty, empty


def _heads(value: object) -> Iterator[Line]:
    """Lines that mean nothing without what follows: strong lines, heads of tables, what warning signs ask to do."""
    if isinstance(value, Para) and "strong" in value.style:
        yield value.text
    elif isinstance(value, Chances | Table | PicturedTable):
        yield value.head
    elif isinstance(value, WarningGroup):
        yield value.action
    if isinstance(value, tuple):
        for item in value:
            yield from _heads(item)
    elif is_dataclass(value) and not isinstance(value, Said):
        for entry in fields(value):
            yield from _heads(getattr(value, entry.name))


def _plain(value: object) -> str:
    """The first language of a line, or of the lines in a head of a table."""
    if isinstance(value, tuple):
        return _plain(value[0]) if isinstance(value[0], Said) else "".join(_plain(item) for item in value)
    return value.plain if isinstance(value, Said) else ""


def _orphans(paper: Paper) -> Iterator[tuple[str, int, str]]:
    """Headings and heads with nothing below them on their page."""
    pages = [_body(paper, page) for page in paper.boxes]
    landscape = paper.document.layout == "landscape"
    for section in paper.document.sections:
        headings = [section.heading] if section.heading and not landscape else []
        for text in filter(None, map(_plain, [*headings, *_heads(section.blocks)])):
            for number, words in enumerate(pages, 1):
                for start, end in places(words, text):
                    if _is_last(words, start, end):
                        yield paper.name, number, text


def _is_last(words: list[Word], start: int, end: int) -> bool:
    """Whether nothing that is printed after ``words[start:end]`` stands below it on the page."""
    bottom = max(word.bottom for word in words[start:end])
    height = words[start].bottom - words[start].top
    return not any(word.bottom > bottom + height / 3 for word in words[end:])


def test_no_heading_stands_alone_at_the_foot_of_a_page(pack: list[Paper]) -> None:
    orphans = [orphan for paper in pack for orphan in _orphans(paper)]
    assert not orphans, orphans


def test_a_heading_at_the_foot_would_be_found(papers: list[Paper]) -> None:
    """The last heading of a page with what is below it taken off is an orphan; as it is printed it is none."""
    paper = next(paper for paper in papers if paper.document.sheet == "going-home")
    section = next(one for one in paper.document.sections if one.heading)
    words = _body(paper, paper.boxes[0])
    start, end = next(places(words, _plain(section.heading)))
    assert not _is_last(words, start, end)
    assert _is_last(words[:end], start, end)


def test_headings_are_found_on_the_paper(pack: list[Paper]) -> None:
    """Where headings were not found, none could be an orphan. Source: the composed sheet itself."""
    for paper in [paper for paper in pack if paper.document.layout != "landscape"]:
        pages = [_body(paper, page) for page in paper.boxes]
        for section in paper.document.sections:
            if section.heading:
                assert any(list(places(words, section.heading[0].plain)) for words in pages), (paper.name, section.id)


def test_no_word_lies_outside_the_margin_or_the_paper(pack: list[Paper]) -> None:
    """Printers leave 4 to 5 mm unprinted: common practice, no source. Above and below, ink is looked at instead."""
    found = [
        (paper.name, number, [word.text for word in lost])
        for paper in pack
        for number, page in enumerate(paper.boxes, 1)
        if (lost := outside(page, 5 * MM))
    ]
    assert not found, found


def test_no_ink_lies_at_the_edge_of_the_paper(pack: list[Paper], tmp_path: Path) -> None:
    """Drawn by Poppler; printers leave 3 to 4 mm unprinted: common practice, no source."""
    dots = 50
    edge = int(3 * dots / 25.4)
    found = []
    for paper in pack:
        for number, picture in enumerate(draw(paper.pdf, tmp_path, dots), 1):
            ink = ImageOps.invert(picture).point(lambda value: 255 if value > 40 else 0).getbbox()
            assert ink is not None, (paper.name, number)
            left, top, right, bottom = ink
            nearest = min(left, top, picture.width - right, picture.height - bottom)
            if nearest < edge:
                found.append((paper.name, number, f"{nearest * 25.4 / dots:.1f} mm"))
    assert not found, found


def test_no_two_words_lie_over_each_other(pack: list[Paper]) -> None:
    """The words of the running head and foot among them: no text runs into the foot."""
    found = [
        (paper.name, number, pairs[:5])
        for paper in pack
        for number, page in enumerate(paper.boxes, 1)
        if (pairs := overlapping(page))
    ]
    assert not found, found


def test_text_ends_above_the_running_foot(pack: list[Paper]) -> None:
    """Every word of the page has its middle above the first line of the foot or of the page number."""
    for paper in pack:
        for number, page in enumerate(paper.boxes, 1):
            words = _body(paper, page)
            below = [word for word in page.words[len(words) :] if word.top > page.height / 2]
            assert below, (paper.name, number)
            foot = min(word.top for word in below)
            low = [word.text for word in words if (word.top + word.bottom) / 2 > foot]
            assert low == [], (paper.name, number)


@pytest.mark.parametrize(
    ("second", "found"),
    [
        (Word("beside", 60, 10, 90, 26), False),
        (Word("below", 10, 24, 60, 40), False),
        (Word("over", 30, 12, 80, 28), True),
        (Word("half a line lower", 10, 15, 40, 31), True),
    ],
)
def test_words_over_each_other_would_be_found(second: Word, found: bool) -> None:
    """Four places of a second word of 16 points' height, worked out by hand."""
    assert bool(overlapping(Page(595, 842, (Word("first", 10, 10, 60, 26), second)))) is found


@pytest.mark.parametrize(
    ("word", "found"),
    [
        (Word("inside", 20, 20, 60, 36), False),
        (Word("left", 5, 20, 60, 36), True),
        (Word("right", 560, 20, 590, 36), True),
        (Word("at the foot", 20, 820, 60, 838), False),
        (Word("cut off below", 20, 830, 60, 846), True),
        (Word("cut off above", 20, -2, 60, 14), True),
    ],
)
def test_a_word_outside_the_margin_would_be_found(word: Word, found: bool) -> None:
    """Six places on A4 with a margin of 5 mm, 14.2 points, worked out by hand."""
    assert bool(outside(Page(595, 842, (word,)), 5 * MM)) is found


# Sizes in the first language. Sheets that staff read and sign may be smaller, and so may what is named here.
FOR_PATIENTS = ("consent-form", "decision", "risk-sheet", "separate-choices", "before-day", "going-home", "not-to-plan")


def _small(value: object) -> Iterator[Line]:
    """Lines that may be smaller: labels, captions, heads of columns, boxes to tick, where people sign, sources."""
    if isinstance(value, EyeBox):
        yield from (value.caption, value.telephone)
    elif isinstance(value, Facts):
        yield from (label for label, _ in value.rows)
    elif isinstance(value, Chances | Table | PicturedTable):
        yield from value.head
    elif isinstance(value, Choice):
        yield from (value.accept, value.refuse)
    elif isinstance(value, Blank):
        yield value.label
    elif isinstance(value, Signature):
        filled = [line for line in value.filled if line]
        yield from (value.role, value.meaning, *value.labels, *filled)
        yield from (line for line in (value.name, value.thumb) if line)
    elif isinstance(value, Para) and "sources" in value.style:
        yield value.text
    elif type(value).__name__ == "Array":
        yield value.caption
    if isinstance(value, tuple):
        for item in value:
            yield from _small(item)
    elif is_dataclass(value) and not isinstance(value, Said):
        for entry in fields(value):
            yield from _small(getattr(value, entry.name))


def _patient_runs(paper: Paper) -> list[Run]:
    return [run for runs in paper.runs for run in body(runs, paper.document.header[0].plain)]


def test_what_patients_read_is_at_least_14_points(pack: list[Paper]) -> None:
    """RNIB clear print recommends 14 points. Every piece of text in the first language that is not listed above."""
    small = []
    for paper in [paper for paper in pack if paper.document.sheet in FOR_PATIENTS]:
        letters = re.compile(SCRIPTS[paper.first])
        allowed = [squeezed(_plain(line)) for line in _small(paper.document.sections)]
        headings = [section.heading for section in paper.document.sections if section.heading]
        allowed += [squeezed(_plain(line)) for line in headings]
        beside = [squeezed(line[1].plain) for _, line in paper.document.lines() if len(line) > 1]
        for run in _patient_runs(paper):
            text = squeezed(run.text)
            if run.size < 13.9 and letters.search(text) and not any(text in line for line in [*allowed, *beside]):
                small.append((paper.name, round(run.size, 1), run.text))
    assert not small, small


def test_headings_for_patients_are_at_least_13_points(pack: list[Paper]) -> None:
    """Bold and underlined, a point smaller than the text: common practice, no source."""
    for paper in [paper for paper in pack if paper.document.sheet in FOR_PATIENTS]:
        runs = _patient_runs(paper)
        for section in paper.document.sections:
            if section.heading:
                sizes = [runs[start].size for start, _ in places(runs, section.heading[0].plain)]
                assert max(sizes) >= 12.9, (paper.name, section.id)


# Shares measured in 2026, a little less: the rest are labels, heads of columns and what people sign.
SHARES = {
    "consent-form": 0.75,
    "decision": 0.5,
    "risk-sheet": 0.8,
    "separate-choices": 0.5,
    "before-day": 0.75,
    "going-home": 0.9,
    "not-to-plan": 0.8,
    "drop-calendar": 0.75,
}


def test_most_of_what_patients_read_is_found_at_14_points(pack: list[Paper]) -> None:
    """Or the sizes were not read back: letters of the first language at 14 points or more, of all its letters."""
    low = {}
    for paper in [paper for paper in pack if paper.document.sheet in SHARES]:
        letters = [(len(re.findall(SCRIPTS[paper.first], run.text)), run.size) for run in _patient_runs(paper)]
        share = sum(n for n, size in letters if size >= 13.9) / sum(n for n, _ in letters)
        if share < SHARES[paper.document.sheet]:
            low[paper.name] = round(share, 3)
    assert not low, low


EYE = {
    "en": {"right": "RIGHT eye", "left": "LEFT eye"},
    "bn": {"right": "ডান চোখ", "left": "বাঁ চোখ"},
    "hi": {"right": "दाहिनी आँख", "left": "बाईं आँख"},
}


def test_the_eye_in_words_is_at_least_18_points_on_page_one(pack: list[Paper]) -> None:
    """The eye is what a blurred eye must still read: 18 points, common practice, no source."""
    small = []
    for paper in [p for p in pack if p.document.sheet in (*FOR_PATIENTS, "drop-calendar", "lens-card")]:
        eye = squeezed(EYE[paper.first][paper.case.eye.side.value])
        runs = body(paper.runs[0], paper.document.header[0].plain)
        largest = max((run.size for run in runs if eye in squeezed(run.text)), default=0.0)
        if largest < 17.9:
            small.append((paper.name, round(largest, 1)))
    assert not small, small


def test_the_time_to_come_is_at_least_18_points(papers: list[Paper]) -> None:
    """The times of the sheet for the day before, as those of the calendar: 18 points, common practice, no source."""
    clock = re.compile(r"\d\d:\d\d$")
    found = {
        paper.name: [round(run.size, 1) for run in paper.runs[0] if clock.match(run.text)]
        for paper in papers
        if paper.document.sheet == "before-day"
    }
    assert found
    assert all(found.values())
    small = {name: sizes for name, sizes in found.items() if max(sizes) < 17.9}
    assert not small, small
