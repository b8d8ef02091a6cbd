"""The drop calendar on paper in every format: A4 and A5, normal and large print, both eyes, three scripts.

Read back with Poppler and pypdf from the printed file. RNIB clear print: 14 points recommended, large
print from 16; 18 points for the number of a bottle and for times: common practice, no source.
"""

from __future__ import annotations

import subprocess
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pypdf
import pytest
from PIL import Image, ImageOps

from consent.compose import Document, Voice, drop_calendar
from consent.compose.document import Columns, Pictures
from consent.compose.drop_wall import MonthGrid
from consent.errors import UsageError
from consent.print import to_pdf
from consent.review import Assessment, assess
from tests.compose.calendars import Calendar
from tests.editing import MakeCase, MakeClinic, case_maker, clinic_maker

MM = 72 / 25.4
SIZE_MM = {"A4": (297.0, 210.0), "A5": (210.0, 148.0)}
TIMOLOL = {"drug": "timolol", "eyes": "each", "times_a_day": 2, "decision": "continue"}
CASES: dict[str, tuple[str, dict[str, Any]]] = {
    "hard": ("hard", {"patient.large_print": "no"}),
    "both-eyes": ("ordinary", {"own_drops": [TIMOLOL]}),
    "second-eye": ("second-eye", {}),
}
PAPERS = (("A4", False), ("A4", True), ("A5", False))
FORMATS = [
    (case, language, paper, large)
    for case in CASES
    for language in ("bn", "en", "hi")
    for paper, large in (PAPERS if case == "hard" else PAPERS[:1])
]


@dataclass(frozen=True)
class Printed:
    """One calendar, printed once for all tests of this file."""

    assessment: Assessment
    document: Document
    pdf: Path
    paper: str


_MAKE_CASE: MakeCase = case_maker()
_MAKE_CLINIC: MakeClinic = clinic_maker()


@pytest.fixture
def make_case() -> MakeCase:
    return _MAKE_CASE


@pytest.fixture
def make_clinic() -> MakeClinic:
    return _MAKE_CLINIC


@pytest.fixture(scope="module", params=FORMATS, ids=lambda f: "-".join([*f[:3], "large" if f[3] else "normal"]))
def printed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Printed:
    case, language, paper, large = request.param
    name, changes = CASES[case]
    assessment = assess(_MAKE_CASE(changes, name), _MAKE_CLINIC())
    document = drop_calendar(assessment, Voice((language,), "locale"), paper, large)
    pdf = tmp_path_factory.mktemp("calendar") / "calendar.pdf"
    pdf.write_bytes(to_pdf(document))
    return Printed(assessment, document, pdf, paper)


def test_pages_have_the_size_asked_for(printed: Printed) -> None:
    """ISO 216: A4 is 210 by 297 mm, A5 148 by 210 mm; the calendar lies on its side.

    Days of both eyes to cross off may stand upright on A4, never the first page.
    """
    boxes = [page.mediabox for page in pypdf.PdfReader(printed.pdf).pages]
    sizes = [(float(box.width) / MM, float(box.height) / MM) for box in boxes]
    lying = pytest.approx(SIZE_MM[printed.paper], abs=0.5)
    assert sizes[0] == lying
    both = len({row.side for row in printed.assessment.drops.rows}) > 1
    upright = pytest.approx(SIZE_MM["A4"][::-1], abs=0.5)
    assert all(size == lying or (both and printed.paper == "A4" and size == upright) for size in sizes), sizes


def test_no_ink_lies_at_the_edge_of_the_paper(printed: Printed) -> None:
    """Drawn by Poppler at 100 dots to the inch; printers leave 3 to 4 mm unprinted: common practice, no source."""
    folder = printed.pdf.parent
    subprocess.run(["pdftoppm", "-gray", "-r", "100", str(printed.pdf), str(folder / "page")], check=True)
    edge = round(4 * 100 / 25.4)
    for path in sorted(folder.glob("page*.pgm")):
        picture = ImageOps.invert(Image.open(path))
        left, top, right, bottom = picture.point(lambda ink: 255 if ink > 40 else 0).getbbox()
        assert min(left, top, picture.width - right, picture.height - bottom) >= edge, path.name


def test_every_page_has_both_telephones_and_the_eye(printed: Printed) -> None:
    phone = printed.assessment.clinic.telephone
    for number in range(1, len(pypdf.PdfReader(printed.pdf).pages) + 1):
        text = " ".join(subprocess_text(printed.pdf, number).replace("\u00a0", " ").split())
        assert phone.day in text, number
        assert phone.night in text, number
        header = unicodedata.normalize("NFC", printed.document.header[0].plain)
        assert header.split("·")[-2].strip() in unicodedata.normalize("NFC", text), number


def subprocess_text(pdf: Path, page: int) -> str:
    """Text of one page by Poppler."""
    command = ["pdftotext", "-f", str(page), "-l", str(page), str(pdf), "-"]
    return subprocess.run(command, capture_output=True, check=True).stdout.decode()


def test_clock_times_are_printed_at_18_points(printed: Printed) -> None:
    """Every clock time on the pictures and strips, measured on the paper."""
    shown = {
        time[0].plain
        for section in printed.document.sections
        for block in section.blocks
        for _, time in getattr(block, "times", ())
    }
    assert shown
    sizes: dict[str, float] = {}
    tag = printed.document.languages[0][0]

    def visit(text: str, cm: list[float], tm: list[float], font: object, size: float) -> None:
        del font
        if text.strip() in shown:
            height = size * (tm[0] ** 2 + tm[1] ** 2) ** 0.5 * (cm[0] ** 2 + cm[1] ** 2) ** 0.5
            sizes[text.strip()] = min(height, sizes.get(text.strip(), 99.0))

    for page in pypdf.PdfReader(printed.pdf).pages:
        page.extract_text(visitor_text=visit)
    assert sizes.keys() == shown, (tag, shown - sizes.keys())
    assert min(sizes.values()) >= 17.9


def test_no_page_is_empty(printed: Printed) -> None:
    """A page holds more than its head and foot: no legend or heading is left over by itself."""
    for number in range(1, len(pypdf.PdfReader(printed.pdf).pages) + 1):
        lines = [line for line in subprocess_text(printed.pdf, number).splitlines() if line.strip()]
        assert len(lines) >= 10, (number, lines)


def test_the_month_stands_on_one_page_with_what_its_signs_mean(printed: Printed) -> None:
    """A page for the wall is one page: its signs are not explained on another. Common practice, no source."""
    outer = [block for section in printed.document.sections for block in section.blocks]
    columns = [block for block in outer if isinstance(block, Columns)]
    blocks = [*outer, *(block for pair in columns for block in (*pair.left, *pair.right))]
    (month,) = [block for block in blocks if isinstance(block, MonthGrid)]
    (legend,) = [block for block in blocks if isinstance(block, Pictures) and block.style == "legend"]
    page = plain(subprocess_text(printed.pdf, 1))
    words = [line[0].plain for line in month.heads] + [line[0].plain for _, line in legend.items]
    missing = [text for text in words if not all(word in page for word in plain(text).split())]
    assert not missing, missing


def test_large_print_on_small_paper_is_refused(make_case: MakeCase, make_clinic: MakeClinic) -> None:
    """Eight times a day at 22 points do not stand beside each other on 196 mm: an error, not a muddle."""
    for changes, large in (({}, True), ({"patient.large_print": "yes"}, False)):
        with pytest.raises(UsageError, match="large print does not fit A5"):
            drop_calendar(assess(make_case(changes), make_clinic()), Voice(("en",), "latin"), "A5", large)


def plain(text: str) -> str:
    """``text`` as it is compared: composed letters, single ordinary spaces."""
    return " ".join(unicodedata.normalize("NFC", text).replace("\u00a0", " ").split())


def in_print_order(pdf: Path) -> str:
    """The whole text by Poppler, in the order in which it was printed."""
    done = subprocess.run(["pdftotext", "-raw", str(pdf), "-"], capture_output=True, check=True)
    return plain(done.stdout.decode())


def test_every_word_reads_back_from_the_paper(printed: Printed) -> None:
    """Source: the composed sheet itself, against Poppler's pdftotext; conjuncts of Bengali and Hindi as typed."""

    def words(text: str) -> set[str]:
        return {word.strip(".,:;()“”।|•") for word in plain(text).split()}

    paper = words(in_print_order(printed.pdf))
    said = {word for text in printed.document.texts() for word in words(text) if len(word) > 1}
    said -= {word for word in said if "@" in word}
    missing = {word for word in said if word not in paper}
    assert len(missing) <= 0.02 * len(said), sorted(missing)[:20]


def test_steps_are_pictured_in_the_order_of_their_dates(printed: Printed) -> None:
    """A step that finds no room on its page does not let the step beside it go before it."""
    paper = in_print_order(printed.pdf)
    headings = {section.id: plain(section.heading[0].plain) for section in printed.document.sections if section.heading}
    pictured = paper[paper.index(headings["pictures"]) : paper.index(headings["bottles"])]
    steps = Calendar(printed.assessment, printed.document).pictured
    found = [pictured.index(plain(step.when[0].plain)) for step in steps]
    assert len(found) > 1
    assert found == sorted(found)
