"""Every sheet of every example in every language: it prints, nothing is cut off, it reads back, and its facts are those
of the English sheet.

Readers: Poppler (pdftotext), PDFium (pypdfium2) and pypdf. Likeness is that of Unicode normal form C without spaces,
by the longest common subsequence (rapidfuzz); the thresholds are the project's own.
"""

from __future__ import annotations

import datetime as dt
import html
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pypdfium2
import pytest
from rapidfuzz import fuzz

from consent.clinic import Clinic
from consent.compose.frame import PAGE, PAGES
from consent.language import Day, Speaker, bare_runs, direction, languages
from consent.pack import Pack, compose_pack
from tests.conftest import NAMES, Paper, shipped_case
from tests.render.reading import MM, body, outside, overlapping, squeezed

pytestmark = pytest.mark.slow

READ = ("hard", "torn")
"""The examples whose sheets are read with three readers: the most words, and what comes after a torn bag."""
LEAST = 0.99
LEAST_BY_PYPDF = {"or": 0.95}
"""pypdf takes a mark that is moved for a gap; in Odia most are."""
OF_THE_WORDS = "completeness"
"""The part of the surgeon's sheet that differs by language: how hard its words are, who said them back."""
LEAST_OF_WORDS = {"poppler": 0.95, "pdfium": 0.99, "pypdf": 0.99}
"""Of right-to-left words. Poppler turns the letters of lam and alef round, which are one glyph."""
NUMBER = re.compile(r"\d+(?:[.,:/]\d+)*")
STYLES = ("full", "long", "brief")
"""Not the shortest: in the month, the number of a day and the name of a month stand beside each other by chance."""


@dataclass(frozen=True)
class Spoken:
    """The sheets of one example in one language alone."""

    tag: str
    name: str
    pack: Pack
    papers: tuple[Paper, ...]


@pytest.fixture(scope="module")
def spoken(clinic: Clinic, paper_folder: Path) -> Callable[[str, str], Spoken]:
    """Composed and printed when first asked for."""

    @cache
    def made(tag: str, name: str) -> Spoken:
        pack = compose_pack(shipped_case(name), clinic, (tag,))
        case = pack.assessment.case
        return Spoken(tag, name, pack, tuple(Paper(case, one, paper_folder, name) for one in pack.documents))

    return made


every_language = pytest.mark.parametrize("tag", languages())
every_example = pytest.mark.parametrize("name", NAMES)


@every_example
@every_language
def test_it_prints_and_nothing_lies_outside_or_over_another(
    tag: str, name: str, spoken: Callable[[str, str], Spoken]
) -> None:
    """Any warning of the printer is an error there; boxes of words by Poppler."""
    for paper in spoken(tag, name).papers:
        for number, page in enumerate(paper.boxes, 1):
            assert [word.text for word in outside(page, 4 * MM)] == [], (paper.name, number)
            pairs = [pair for pair in overlapping(page) if not any(map(_is_a_mark, pair))]
            assert pairs[:4] == [], (paper.name, number)


def _is_a_mark(word: str) -> bool:
    """A vowel sign over a letter, which Poppler may take for a word of its own."""
    return all(unicodedata.category(c) == "Mn" for c in word)


class _Words(HTMLParser):
    """What a page says in the order of its HTML, without running head and foot, and without a title not printed."""

    def __init__(self, skipped: tuple[str, ...]) -> None:
        super().__init__()
        self.words: list[str] = []
        self.never = skipped
        self.within: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        del attrs
        if tag in self.never:
            self.within.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.within and self.within[-1] == tag:
            self.within.pop()

    def handle_data(self, data: str) -> None:
        if not self.within:
            self.words.append(data)


def _source(paper: Paper) -> str:
    untitled = ("h1",) if paper.document.layout == "landscape" or paper.document.sheet == "lens-card" else ()
    reader = _Words(("header", "footer", "head", "title", *untitled))
    reader.feed(paper.html)
    return " ".join(reader.words)


def _poppler(paper: Paper) -> list[str]:
    return paper.pages


def _pdfium(paper: Paper) -> list[str]:
    with pypdfium2.PdfDocument(paper.pdf) as opened:
        return [page.get_textpage().get_text_range() for page in opened]


def _pypdf(paper: Paper) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(paper.pdf).pages]


READERS: dict[str, Callable[[Paper], list[str]]] = {"poppler": _poppler, "pdfium": _pdfium, "pypdf": _pypdf}


def _without_heads(paper: Paper, pages: list[str]) -> str:
    """What was read, without what the paper repeats: running head and foot, which are printed after each page, the
    head first; headings of tables that go on over a page; bullets, which are no words of the sheet."""
    header = squeezed(paper.document.header[0].plain)
    found = []
    for page in pages:
        text = squeezed(page).replace("•", "")
        found.append(text[: text.rfind(header)] if header in text else text)
    read, source = "".join(found), squeezed(_source(paper))
    for head in _table_heads(paper):
        for _ in range(read.count(head) - source.count(head)):
            place = read.rfind(head)
            read = read[:place] + read[place + len(head) :]
    return read


def _table_heads(paper: Paper) -> set[str]:
    heads = re.findall(r"<thead>(.*?)</thead>", re.sub(r"<svg\b.*?</svg>", "", paper.html, flags=re.S), re.S)
    return {text for head in heads if (text := squeezed(html.unescape(re.sub(r"<[^>]+>", "", head))))}


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("name", READ)
@every_language
def test_the_hidden_text_is_that_of_the_sheet(
    tag: str, name: str, reader: str, spoken: Callable[[str, str], Spoken]
) -> None:
    """In order; right-to-left lines, which readers turn in ways of their own, as a multiset of words."""
    least = LEAST_BY_PYPDF.get(tag, LEAST) if reader == "pypdf" else LEAST
    for paper in spoken(tag, name).papers:
        pages = READERS[reader](paper)
        if direction(tag) == "rtl":
            wanted, missing = _words(_source(paper)), _missing(reader, " ".join(pages), _source(paper))
            allowed = (1 - LEAST_OF_WORDS[reader]) * wanted.total()
            assert missing.total() <= allowed, (paper.name, missing.most_common(12))
        else:
            likeness = fuzz.ratio(squeezed(_source(paper)), _without_heads(paper, pages)) / 100
            assert likeness >= least, (paper.name, likeness)


def _missing(reader: str, read: str, source: str) -> Counter[str]:
    """Words of right-to-left text that a reader does not give back, or not as often.

    pypdf puts no space between what stands in neighbouring cells: there each word is looked for in the whole text.
    """
    if reader != "pypdf":
        return _words(source) - _words(read)
    whole = "".join(_bare(read).split())
    return Counter(word for word in _words(source) if word not in whole)


def _bare(text: str) -> str:
    """Without vowel signs, which readers move, and hidden signs."""
    return "".join(c for c in unicodedata.normalize("NFD", text) if unicodedata.category(c) not in ("Cf", "Mn"))


def _words(text: str) -> Counter[str]:
    return Counter(re.findall(r"[^\W\d_]+", _bare(text)))


@every_language
def test_no_number_or_latin_word_is_bare_in_a_right_to_left_sheet(
    tag: str, spoken: Callable[[str, str], Spoken]
) -> None:
    """Unicode Standard Annex 9: "5-10 mg" without isolation is printed as "10-5 mg"."""
    if direction(tag) == "ltr":
        return
    for name in NAMES:
        for paper in spoken(tag, name).papers:
            page = re.sub(r"<!doctype html>|<(head|style|svg)\b.*?</\1>", "", paper.html, flags=re.S)
            inside = re.sub(r'<(\w+)[^>]*\blang="en"[^>]*>.*?</\1>', "", page, flags=re.S)
            assert bare_runs(inside)[:5] == [], paper.name


def test_bare_digits_would_be_found() -> None:
    assert bare_runs("<p>دن میں 4 بار</p>") == ["4"]


def _digits(text: str) -> str:
    """``text`` with every digit as 0 to 9, and the sign between hours and minutes alike."""
    return "".join(str(unicodedata.digit(c)) if c.isdigit() else c for c in unicodedata.normalize("NFC", text))


def _read(paper: Paper) -> str:
    """What Poppler reads, for counting: without hidden signs and without the sign of a mark or a bullet."""
    text = "\n".join(paper.pages)
    return "".join(c for c in text if unicodedata.category(c) != "Cf")


def _numbers(text: str) -> Counter[str]:
    return Counter(number.replace(",", "").strip(".") for number in NUMBER.findall(_digits(text)))


def _pairs(tag: str, name: str, spoken: Callable[[str, str], Spoken]) -> Iterator[tuple[Paper, Paper]]:
    own, english = spoken(tag, name).papers, spoken("en", name).papers
    assert [paper.document.sheet for paper in own] == [paper.document.sheet for paper in english]
    yield from zip(own, english, strict=True)


@every_example
@every_language
def test_the_facts_are_those_of_the_english_sheet(tag: str, name: str, spoken: Callable[[str, str], Spoken]) -> None:
    """Numbers, sides, dates, drugs and telephone numbers, counted on the paper of both languages."""
    for own, english in _pairs(tag, name, spoken):
        found, wanted = _facts(own, tag, spoken(tag, name).pack), _facts(english, "en", spoken("en", name).pack)
        assert not +found.pop("broken telephones"), own.name
        assert not +wanted.pop("broken telephones"), english.name
        for kind, facts in wanted.items():
            assert found[kind] == facts, (own.name, kind, found[kind] - facts, facts - found[kind])


def _facts(paper: Paper, tag: str, pack: Pack) -> dict[str, Counter[str]]:
    text = _digits(_without_heads(paper, paper.pages))
    spaced = _digits(" ".join(" ".join(paper.pages).split()))
    show = Speaker(tag).show
    call, plan = pack.assessment.clinic.telephone, pack.assessment.drops
    told = " ".join(line[0].plain for where, line in paper.document.lines() if where == OF_THE_WORDS)
    own = _numbers(told)
    sides = {side: _side(tag, side, other) for side, other in (("right", "left"), ("left", "right"))}
    drugs = {row.drug.name for row in plan.rows}
    return {
        # The length of the talk is worked out from the words of each language, so the guide's numbers differ.
        "numbers": Counter()
        if paper.document.sheet == "counsellor-guide"
        else _numbers(_squeezed_words(paper)) - own - _repeated(paper),
        "sides": Counter({side: text.count(words) for side, words in sides.items()}),
        "drugs": Counter({drug: text.count(squeezed(drug)) for drug in drugs}),
        "telephones": Counter({number: text.count(squeezed(number)) for number in (call.day, call.night)}),
        "broken telephones": Counter(
            {
                number: _joined(paper).count(squeezed(number)) - _on_one_line(paper, number)
                for number in (call.day, call.night)
            }
        ),
        "dates": Counter({str(day): _dates(spaced, day, show) for day in _days(pack)}),
    }


def _side(tag: str, side: str, other: str) -> str:
    """The words for an eye; from right to left the word for its side alone, for the two may come apart at a line's end."""
    words, others = (Speaker(tag).say(f"eye.{one}").plain.split() for one in (side, other))
    return squeezed("".join(words if direction(tag) == "ltr" else (word for word in words if word not in others)))


def _repeated(paper: Paper) -> Counter[str]:
    """Numbers of running head, foot and page number of a right-to-left sheet, on all its pages."""
    found: Counter[str] = Counter()
    pages = len(paper.boxes) if direction(paper.first) == "rtl" else 0
    for page in range(1, pages + 1):
        label = paper.document.page_label[0].plain.replace(PAGE, str(page)).replace(PAGES, str(pages))
        lines = [paper.document.header, *([paper.document.footer] if paper.document.footer else [])]
        found += _numbers(" ".join([label, *(line[0].plain for line in lines)]))
    for head in _table_heads(paper):
        found += Counter({number: pages for number in _numbers(head)})
    return found


def _joined(paper: Paper) -> str:
    return squeezed(_digits("".join(paper.pages)))


def _on_one_line(paper: Paper, number: str) -> int:
    """How often a telephone number stands whole on a line."""
    return sum(squeezed(line).count(squeezed(number)) for page in paper.pages for line in _digits(page).splitlines())


def _squeezed_words(paper: Paper) -> str:
    """The words of all pages with one space between them, without heads that are repeated."""
    header = paper.document.header[0].plain
    if direction(paper.first) == "rtl":  # what repeats is found by its baseline only, so it is counted with its page
        return " ".join(word.text for page in paper.boxes for word in page.words)
    text = " ".join(word.text for page in paper.boxes for word in body(page.words, header))
    source = squeezed(_source(paper))
    for head in _table_heads(paper):
        parts = [re.escape(letter) for letter in head]
        for found in list(re.finditer(r"\s*".join(parts), text))[source.count(head) :]:
            text = text.replace(found.group(), " ", 1)
    return text


def _days(pack: Pack) -> set[dt.date]:
    case = pack.assessment.case
    return {case.plan.date, *(visit.date for visit in case.all_visits)}


def _dates(text: str, day: dt.date, show: Callable[..., object]) -> int:
    written = {_digits(show(Day(day, style)).plain) for style in STYLES}  # type: ignore[attr-defined,arg-type]
    longest_first = "|".join(map(re.escape, sorted(written, key=len, reverse=True)))
    return len(re.findall(rf"(?<!\d)(?:{longest_first})(?!\d)", text))
