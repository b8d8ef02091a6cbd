"""Every sheet of every example in every language: it prints, nothing is cut off, it reads back, and its facts are those
of the English sheet.

Readers: Poppler (pdftotext), PDFium (pypdfium2) and pypdf. Likeness is that of Unicode normal form C without spaces,
by the longest common subsequence (rapidfuzz); the thresholds are the project's own.
"""

from __future__ import annotations

import datetime as dt
import html
import re
import subprocess
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pypdf
import pypdfium2
import pytest
from rapidfuzz import fuzz

from consent.case.plain import ascii_digits
from consent.clinic import Clinic
from consent.compose.frame import PAGE, PAGES
from consent.language import Day, Speaker, bare_runs, direction, languages
from consent.pack import Pack, compose_pack
from tests.conftest import NAMES, Paper, shipped_case
from tests.render.reading import MM, Word, body, outside, overlapping, squeezed
from tests.render.seen import seen

pytestmark = pytest.mark.slow

READ = ("hard", "torn")
"""The examples whose sheets are read with three readers: the most words, and what comes after a torn bag."""
LEAST = 0.99
OF_THE_WORDS = "completeness"
"""The part of the surgeon's sheet that differs by language: how hard its words are, who said them back."""
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


def _source(paper: Paper) -> str:
    return " ".join(seen(paper).body)


def _poppler(paper: Paper) -> list[str]:
    """In the order written; from right to left in Poppler's own order, without which it turns ligatures round."""
    if direction(paper.first) == "ltr":
        return paper.pages
    read = subprocess.run(["pdftotext", str(paper.pdf), "-"], capture_output=True, check=True).stdout.decode()
    return read.split("\f")[:-1]


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
    for paper in spoken(tag, name).papers:
        pages = READERS[reader](paper)
        if direction(tag) == "rtl":
            wanted, missing = _words(_source(paper)), _missing(reader, " ".join(pages), _source(paper))
            allowed = (1 - LEAST) * wanted.total()
            assert missing.total() <= allowed, (paper.name, missing.most_common(12))
        else:
            likeness = fuzz.ratio(squeezed(_source(paper)), _without_heads(paper, pages)) / 100
            assert likeness >= LEAST, (paper.name, likeness)


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
    """Words of one script; Poppler puts no space where the direction changes."""
    return Counter(re.findall(r"[A-Za-z]+|[^\W\d_A-Za-z]+", _bare(text)))


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
    return ascii_digits(unicodedata.normalize("NFC", text))


def _numbers(text: str) -> Counter[str]:
    return Counter(number.replace(",", "").strip(".") for number in NUMBER.findall(_digits(text)))


def _pairs(tag: str, name: str, spoken: Callable[[str, str], Spoken]) -> Iterator[tuple[Paper, Paper]]:
    own, english = spoken(tag, name).papers, spoken("en", name).papers
    assert [paper.document.sheet for paper in own] == [paper.document.sheet for paper in english]
    yield from zip(own, english, strict=True)


@every_example
@every_language
def test_the_facts_are_those_of_the_english_sheet(tag: str, name: str, spoken: Callable[[str, str], Spoken]) -> None:
    """Numbers, sides, dates, times, drugs and telephone numbers, counted on the paper of both languages."""
    for own, english in _pairs(tag, name, spoken):
        found, wanted = (
            _facts(paper, spoken(paper.first, name).pack, direction(tag) == "ltr") for paper in (own, english)
        )
        assert not +found.pop("broken telephones"), own.name
        assert not +wanted.pop("broken telephones"), english.name
        if direction(tag) == "rtl":
            # Readers cut a line into runs of either direction, so that a date comes apart; its numbers are counted.
            # How often the heading of a table is repeated cannot be told either.
            del wanted["dates"]
            for kind, fact in _in_heads(own) | _in_heads(english):
                del found[kind][fact], wanted[kind][fact]
        for kind, facts in wanted.items():
            assert found[kind] == facts, (own.name, kind, found[kind] - facts, facts - found[kind])


def _facts(paper: Paper, pack: Pack, whole_names: bool) -> dict[str, Counter[str]]:
    tag = paper.first
    rtl = direction(tag) == "rtl"
    pages = _pdfium(paper) if rtl else paper.pages
    text = _digits(squeezed("".join(pages)) if rtl else _without_heads(paper, pages))
    spaced = _digits(_plain(" ".join(pages))) if rtl else _spaced(paper, pages)
    show = Speaker(tag).show
    call, plan = pack.assessment.clinic.telephone, pack.assessment.drops
    told = " ".join(line[0].plain for where, line in paper.document.lines() if where == OF_THE_WORDS)
    sides = {side: _side(tag, side, other) for side, other in (("right", "left"), ("left", "right"))}
    again = squeezed(_on_every_page(paper)) if rtl else ""
    guide = paper.document.sheet == "counsellor-guide"

    def counted(words: str) -> int:
        return text.count(words) - again.count(words)

    def by_word(word: str) -> int:
        return _words(" ".join(pages))[_bare(word)] - _words(_on_every_page(paper))[_bare(word)]

    return {
        # The length of the talk is worked out from the words of each language, so the guide's numbers differ.
        "numbers": Counter() if guide else _numbers(spaced) - _numbers(_plain(told)) - _numbers(_on_every_page(paper)),
        "sides": Counter({side: by_word(words) if rtl else counted(words) for side, words in sides.items()}),
        "drugs": Counter(
            {name: counted(squeezed(name)) for name in _names({row.drug.name for row in plan.rows}, whole_names)}
        ),
        "telephones": Counter({number: counted(squeezed(number)) for number in (call.day, call.night)}),
        "broken telephones": Counter({number: _broken(pages, number) for number in (call.day, call.night)}),
        "dates": Counter({str(day): _dates(spaced, day, show) for day in _days(pack)}),
    }


def _in_heads(paper: Paper) -> set[tuple[str, str]]:
    """Numbers and eyes in headings of tables, which are printed again on each page that the table takes."""
    heads = re.findall(r"<thead>(.*?)</thead>", paper.html, re.S)
    text = _digits(_plain(html.unescape(re.sub(r"<[^>]+>", " ", " ".join(heads)))))
    sides = {side: _side(paper.first, side, other) for side, other in (("right", "left"), ("left", "right"))}
    found = {("numbers", number) for number in _numbers(text)}
    return found | {("sides", side) for side, word in sides.items() if word in squeezed(text)}


def _names(drugs: set[str], whole: bool) -> set[str]:
    """Whole names, which are counted without spaces; from right to left, where one of two lines cannot be put together
    again, the first words."""
    return drugs if whole else {drug.split()[0] for drug in drugs}


def _on_every_page(paper: Paper) -> str:
    """What a right-to-left sheet says on each page besides its body; it cannot be cut off as that of others is."""
    if direction(paper.first) == "ltr":
        return ""
    pages, found = len(paper.boxes), ""
    for page in range(1, pages + 1):
        label = paper.document.page_label[0].plain.replace(PAGE, str(page)).replace(PAGES, str(pages))
        lines = [paper.document.header, *([paper.document.footer] if paper.document.footer else [])]
        found += " ".join([label, *(line[0].plain for line in lines), ""])
    return _digits(_plain(found))


def _plain(text: str) -> str:
    return "".join(c for c in text if unicodedata.category(c) != "Cf")


def _spaced(paper: Paper, pages: list[str]) -> str:
    """The words of all pages with one space between them, without heads that are repeated."""
    words = [[Word(word, 0, 0, 0, 0) for word in _plain(page).split()] for page in pages]
    text = " ".join(word.text for page in words for word in body(page, paper.document.header[0].plain))
    source = squeezed(_source(paper))
    for head in _table_heads(paper):
        parts = [re.escape(letter) for letter in head]
        for found in list(re.finditer(r"\s*".join(parts), text))[source.count(head) :]:
            text = text.replace(found.group(), " ", 1)
    return _digits(text)


def _side(tag: str, side: str, other: str) -> str:
    """The words for an eye; from right to left the word for its side alone: the two may stand on two lines."""
    words, others = (Speaker(tag).say(f"eye.{one}").plain.split() for one in (side, other))
    return squeezed("".join(words if direction(tag) == "ltr" else (word for word in words if word not in others)))


def _broken(pages: list[str], number: str) -> int:
    """How often a telephone number does not stand whole on a line."""
    wanted = squeezed(number)
    whole = sum(squeezed(line).count(wanted) for page in pages for line in _digits(page).splitlines())
    return squeezed(_digits("".join(pages))).count(wanted) - whole


def _days(pack: Pack) -> set[dt.date]:
    case = pack.assessment.case
    return {case.plan.date, *(visit.date for visit in case.all_visits)}


def _dates(text: str, day: dt.date, show: Callable[..., object]) -> int:
    written = {_digits(_plain(show(Day(day, style)).plain)) for style in STYLES}  # type: ignore[attr-defined,arg-type]
    longest_first = "|".join(map(re.escape, sorted(written, key=len, reverse=True)))
    joined = re.sub(r"\s+,", ",", text)  # Poppler sets a comma of another face apart
    return len(re.findall(rf"(?<!\d)(?:{longest_first})(?!\d)", joined))
