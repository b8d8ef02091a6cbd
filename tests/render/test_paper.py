"""Reads the printed sheets back: what the sheet says is what the paper shows, in both languages."""

from __future__ import annotations

import math
import re
import subprocess
import unicodedata
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import pikepdf
import pypdf
import pytest

from consent.clinic import Clinic
from consent.language import numerals
from consent.pack import compose_pack
from tests.conftest import NAMES, Paper, shipped_case

TAKE_HOME = ("going-home", "drop-calendar")
_VOID = {"meta", "br", "link"}
_SILENT = {"style", "title", "head"}


class _Text(HTMLParser):
    """Text of the body, of the running head and of the running foot."""

    def __init__(self) -> None:
        super().__init__()
        self.body: list[str] = []
        self.head: list[str] = []
        self.foot: list[str] = []
        self._stack: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in _VOID:
            self._stack.append((tag, dict(attrs).get("class") or ""))

    def handle_endtag(self, tag: str) -> None:
        while self._stack and self._stack.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        tags = {tag for tag, _ in self._stack}
        classes = {name for _, name in self._stack}
        if tags & _SILENT or ("h1" in tags and any("landscape" in name for name in classes)):
            return
        part = self.head if "running-head" in classes else self.foot if "running-foot" in classes else self.body
        part.append(data)


def _visible(paper: Paper) -> _Text:
    parser = _Text()
    parser.feed(paper.html)
    return parser


def _numbers(text: str) -> Counter[str]:
    """Runs of digits of any script, as plain digits."""
    runs = re.findall(r"\d+", text)
    return Counter("".join(str(unicodedata.digit(letter)) for letter in run) for run in runs)


def _words(text: str) -> Counter[str]:
    plain = unicodedata.normalize("NFC", text).replace("\u00a0", " ")
    return Counter(re.findall(r"[^\W\d_]+[\w\u0981-\u09fe\u200d]*", plain))


def _printed(paper: Paper) -> str:
    return "\n".join(paper.pages)


def _expected(paper: Paper) -> tuple[str, int]:
    seen = _visible(paper)
    pages = len(paper.pages)
    around = " ".join([*seen.head, *seen.foot])
    return " ".join(seen.body) + " " + " ".join([around] * pages), pages


def test_every_number_of_the_sheet_is_on_the_paper_as_often(papers: list[Paper]) -> None:
    """Source: the composed sheet itself, read back with Poppler's pdftotext; nothing clipped, lost or doubled."""
    for paper in papers:
        text, pages = _expected(paper)
        expected = _numbers(text)
        for page in range(1, pages + 1):
            expected.update([str(page), str(pages)])
        printed = _numbers(_printed(paper))
        assert not expected - printed, (paper.name, expected - printed)
        repeated = printed - expected
        assert repeated.keys() <= _in_heads(paper).keys(), (paper.name, repeated)
        assert not repeated or paper.document.sheet in ("drop-calendar", "consent-form"), (paper.name, repeated)


def _in_heads(paper: Paper) -> Counter[str]:
    """Numbers in the heads of strips of days and tables of chances: what goes over to the next page has them again."""
    heads = re.findall(r"<table class=\"(?:strip|chances).*?</thead>", paper.html, flags=re.DOTALL)
    return _numbers(re.sub(r"<svg.*?</svg>|<[^>]+>", " ", " ".join(heads), flags=re.DOTALL))


def test_every_word_of_the_sheet_is_on_the_paper(papers: list[Paper]) -> None:
    """Source: the composed sheet itself. A word split over two pages or lines would be missing here."""
    for paper in papers:
        text, _ = _expected(paper)
        missing = _words(text) - _words(_printed(paper))
        assert sum(missing.values()) <= 0.01 * sum(_words(text).values()), (paper.name, missing.most_common(20))


def test_every_page_says_whose_it_is_and_what_it_is_not(papers: list[Paper]) -> None:
    """Record number, eye in words, version, page n of N and the draft mark: a loose page can be traced."""
    draft = {"en": "DRAFT for review by the licensed clinician", "bn": "খসড়া"}
    eye = {"en": {"right": "RIGHT eye", "left": "LEFT eye"}, "bn": {"right": "ডান চোখ", "left": "বাঁ চোখ"}}
    for paper in papers:
        first = paper.document.languages[0][0]
        side = paper.case.eye.side.value
        for number, page in enumerate(paper.pages, start=1):
            flat = unicodedata.normalize("NFC", " ".join(page.split()))
            assert paper.case.patient.record_number in flat, (paper.name, number)
            assert unicodedata.normalize("NFC", eye[first][side]) in flat, (paper.name, number)
            for tag, _ in paper.document.languages:
                assert unicodedata.normalize("NFC", draft[tag]) in flat, (paper.name, number, tag)
            shown = numerals(first, "locale").integer
            label = {
                "en": f"Page {number} of {len(paper.pages)}",
                "bn": f"{shown(number)}, মোট {shown(len(paper.pages))}",
            }
            assert unicodedata.normalize("NFC", label[first]) in flat, (paper.name, number)


def test_every_page_that_goes_home_has_both_telephones(papers: list[Paper]) -> None:
    for paper in [paper for paper in papers if paper.document.sheet in TAKE_HOME]:
        for page in paper.pages:
            flat = " ".join(page.replace("\u00a0", " ").split())
            assert "00000 11111" in flat
            assert "00000 22222" in flat


def test_patient_sheets_in_unreleased_words_are_practice_copies(papers: list[Paper]) -> None:
    for paper in [paper for paper in papers if paper.document.sheet != "surgeon-review"]:
        mark = {"en": "PRACTICE COPY", "bn": "অভ্যাসের কপি"}[paper.document.languages[0][0]]
        for page in paper.pages:
            assert unicodedata.normalize("NFC", mark) in unicodedata.normalize("NFC", page), paper.name


@pytest.mark.parametrize("name", [*NAMES, "second-eye"])
def test_consent_form_is_at_most_four_pages(name: str, clinic: Clinic, tmp_path: Path) -> None:
    """Each shipped example in the patient's language and the clinic's: a form of many pages is signed unread.

    Four pages: the project's own limit, no source.
    """
    pack = compose_pack(shipped_case(name), clinic, (), ("consent-form",))
    (form,) = pack.documents
    assert len(form.languages) == 2
    assert len(Paper(pack.assessment.case, form, tmp_path).pages) <= 4


def test_review_sheet_is_one_page(papers: list[Paper]) -> None:
    for paper in [p for p in papers if p.document.sheet == "surgeon-review" and p.document.languages[0][0] == "en"]:
        assert len(paper.pages) == 1, paper.name


def test_calendar_is_no_longer_than_wall_pictures_bottles_and_a_page_for_two_weeks(papers: list[Paper]) -> None:
    """The ordinary patient takes 28 days of drops; the hard one 42, in large print as asked: at most a page a week."""
    pages = {p.name: len(p.pages) for p in papers if p.document.sheet == "drop-calendar"}
    for name, count in pages.items():
        assert count <= (3 + 28 // 14 if name.startswith("DEMO-0001") else 5 + 42 // 7), name


def _sizes(paper: Paper) -> list[tuple[str, float]]:
    """Each piece of text between the running head and foot, with its size in points on paper."""
    found: list[tuple[str, float]] = []
    for page in pypdf.PdfReader(paper.pdf).pages:
        top = float(page.mediabox.height) - 52
        foot = 58.0 if page.mediabox.height > page.mediabox.width else 46.0

        def visit(
            text: str,
            cm: list[float],
            tm: list[float],
            font: object,
            size: float,
            top: float = top,
            foot: float = foot,
        ) -> None:
            height = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
            if text.strip() and foot < height < top:
                scale = math.hypot(tm[0], tm[1]) * math.hypot(cm[0], cm[1])
                found.append((text.strip(), size * scale))

        page.extract_text(visitor_text=visit)
    return found


def test_clock_times_on_the_calendar_are_at_least_18_points(papers: list[Paper]) -> None:
    """Eye, drug number and time are what a blurred eye must still read."""
    clock = re.compile(r"^\d\d:\d\d")
    for paper in [paper for paper in papers if paper.document.sheet == "drop-calendar"]:
        sizes = [size for text, size in _sizes(paper) if clock.match(text)]
        assert len(sizes) >= 20
        assert min(sizes) >= 17.9, paper.name


def test_bottle_numbers_on_the_calendar_are_at_least_18_points(papers: list[Paper]) -> None:
    for paper in [paper for paper in papers if paper.document.sheet == "drop-calendar"]:
        bold = [size for text, size in _sizes(paper) if re.fullmatch(r"[1-4১-৪]", text)]
        large = [size for size in bold if size >= 17.9]
        marks = {"DEMO-0001": 98, "DEMO-0002": 266}[paper.case.patient.record_number]
        assert len(large) >= marks, paper.name


def test_sentences_for_patients_are_at_least_14_points(papers: list[Paper]) -> None:
    """RNIB clear print recommends 14 points.

    Smaller are only heads of columns, names as on the bottle, labels beside lines to write on, and what staff
    fill in on the day.
    """
    least = {"going-home": 0.97, "drop-calendar": 0.75, "consent-form": 0.80, "risk-sheet": 0.80}
    for paper in [p for p in papers if p.document.sheet in least]:
        first = paper.document.languages[0][0]
        script = {"en": r"[A-Za-z]", "bn": r"[\u0980-\u09ff]"}[first]
        letters = [(len(re.findall(script, text)), size) for text, size in _sizes(paper)]
        share = sum(n for n, size in letters if size >= 13.9) / sum(n for n, _ in letters)
        assert share >= least[paper.document.sheet], (paper.name, round(share, 3))


def test_sheets_are_tagged_and_say_their_language(papers: list[Paper]) -> None:
    """ISO 32000-1, 14.7 and 14.9: structure tree, mark information and natural language of the document."""
    for paper in papers:
        with pikepdf.open(paper.pdf) as pdf:
            assert "/StructTreeRoot" in pdf.Root
            assert bool(pdf.Root.MarkInfo.Marked)
            assert str(pdf.Root.Lang) == paper.document.languages[0][0]


@pytest.mark.parametrize("language", ["bn", "en"])
def test_every_language_prints_every_sheet(papers: list[Paper], language: str) -> None:
    found = {paper.document.sheet for paper in papers if language in [tag for tag, _ in paper.document.languages]}
    assert found == {
        "consent-form",
        "risk-sheet",
        "separate-choices",
        "counsellor-guide",
        "before-day",
        "going-home",
        "drop-calendar",
        "day-of-surgery",
        "surgeon-review",
    }


def test_no_word_is_printed_outside_the_paper_or_its_margin(papers: list[Paper]) -> None:
    """Source: Poppler's word boxes (pdftotext -bbox), in points; printers leave about 5 mm unprinted."""
    margin = 5 * 72 / 25.4
    for paper in papers:
        done = subprocess.run(["pdftotext", "-bbox", str(paper.pdf), "-"], capture_output=True, check=True)
        width = height = 0.0
        for line in done.stdout.decode().splitlines():
            numbers = {name: float(value) for name, value in re.findall(r'(\w+)="([\d.]+)"', line)}
            if line.lstrip().startswith("<page"):
                width, height = numbers["width"], numbers["height"]
            elif line.lstrip().startswith("<word"):
                assert numbers["xMin"] >= margin - 1, (paper.name, line)
                assert numbers["xMax"] <= width - margin + 1, (paper.name, line)
                assert numbers["yMax"] <= height - margin + 1, (paper.name, line)


def test_no_page_holds_one_line_left_over(papers: list[Paper]) -> None:
    """A page holds more than its head and foot, or its one line is overlooked: common practice, no source."""
    for paper in papers:
        for number, page in enumerate(paper.pages, 1):
            lines = [line for line in page.splitlines() if line.strip()]
            assert len(lines) >= 10, (paper.name, number, lines)
