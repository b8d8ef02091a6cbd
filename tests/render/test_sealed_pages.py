"""Sealed pages beside drafts of them: the body stands where it stood, the head is whole, the code lies free.

The narrowest heads of each kind: two languages on the form, the small ones of the card and of A5, the dense review
sheet, and names as long as they come.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from pathlib import Path

import pytest
import zxingcpp

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Document
from consent.compose.page_code import CodeParts, page_code, with_code
from consent.pack import compose_pack
from consent.review import SignOff
from tests.conftest import Paper, shipped_case
from tests.render.reading import MM, body, draw, outside, overlapping, places
from tests.render.test_long import SURGEON, _case, _clinic

AT = dt.datetime(2027, 2, 22, 6, 0, tzinfo=dt.UTC)
DIGEST = hashlib.sha256(b"any data").hexdigest()
EDGE = 3
"""Millimetres that printers leave unprinted: 3 to 4, common practice, no source."""
QUIET = 4
"""Modules of white that ISO/IEC 18004 asks for around a code."""


@dataclass(frozen=True)
class Kind:
    example: str
    sheet: str
    tags: tuple[str, ...]
    paper: str = "A4"
    long: bool = False

    def __str__(self) -> str:
        return f"{self.example}-{self.sheet}-{self.tags[0]}-{self.paper}{'-long' if self.long else ''}"

    @property
    def source(self) -> tuple[Case, Clinic | None, str]:
        """The case, the clinic where it is not the usual one, and who signs off."""
        if self.long:
            return _case(self.example, {}), _clinic(), SURGEON
        return shipped_case(self.example), None, "Dr Asha Invented"


KINDS = (
    Kind("hard", "consent-form", ("bn", "en")),
    Kind("ordinary", "consent-form", ("hi", "en"), long=True),
    Kind("ordinary", "drop-calendar", ("bn",), paper="A5"),
    Kind("torn", "lens-card", ("bn", "en")),
    Kind("ordinary", "surgeon-review", ("en",), long=True),
)


def _document(kind: Kind, clinic: Clinic, signed: bool) -> tuple[Case, Document]:
    case, own, by = kind.source
    signed_off = SignOff(by, "INVENTED-0002", AT) if signed else None
    pack = compose_pack(case, own or clinic, kind.tags, (kind.sheet,), kind.paper, signed_off=signed_off)  # type: ignore[arg-type]
    (document,) = pack.documents
    return case, document


@pytest.fixture(scope="module", params=KINDS, ids=str)
def both(request: pytest.FixtureRequest, clinic: Clinic, paper_folder: Path) -> tuple[Paper, Paper]:
    """The sheet as a draft and as it is sealed."""
    kind: Kind = request.param
    case, draft = _document(kind, clinic, signed=False)
    _, reviewed = _document(kind, clinic, signed=True)
    code = page_code(CodeParts(case.patient.record_number, case.version, DIGEST))
    return (
        Paper(case, draft, paper_folder, f"draft.{kind}"),
        Paper(case, with_code(reviewed, code), paper_folder, f"sealed.{kind}"),
    )


def test_every_word_of_the_body_stands_where_it_stood(both: tuple[Paper, Paper]) -> None:
    """Word for word, page for page, to a tenth of a point."""
    draft, sealed = both
    assert len(draft.boxes) == len(sealed.boxes)
    for one, other in zip(draft.boxes, sealed.boxes, strict=True):
        bodies = [body(page.words, paper.document.header[0].plain) for page, paper in ((one, draft), (other, sealed))]
        stood, stands = ([(word.text, round(word.left, 1), round(word.top, 1)) for word in words] for words in bodies)
        assert stood
        assert stood == stands


def test_the_head_is_whole_and_nothing_lies_over_anything(both: tuple[Paper, Paper]) -> None:
    _, sealed = both
    header = sealed.document.header[0].plain
    for number, page in enumerate(sealed.boxes, 1):
        assert not outside(page, 5 * MM), number
        assert not overlapping(page), number
        start, end = list(places(page.words, header))[-1]
        for word in page.words[start:end]:
            assert (word.top + 0.2 * (word.bottom - word.top)) / MM >= EDGE, (number, word.text)


def test_the_code_lies_free_in_the_corner_of_every_page(both: tuple[Paper, Paper], tmp_path: Path) -> None:
    """Drawn by Poppler: white around it, four modules wide; two and a half below, where the body may begin; and above
    it what a printer leaves."""
    _, sealed = both
    dots = 300
    per_mm = dots / 25.4
    for number, page in enumerate(draw(sealed.pdf, tmp_path, dots), 1):
        (code,) = [one for one in zxingcpp.read_barcodes(page) if one.text == sealed.document.code.text]  # type: ignore[union-attr]
        left, top = code.position.top_left.x, code.position.top_left.y
        right, bottom = code.position.bottom_right.x, code.position.bottom_right.y
        assert abs((right - left) - (bottom - top)) <= 3, f"{number}: it is square"
        assert top >= EDGE * per_mm, (number, top / per_mm)
        module = (right - left) / 29
        assert module / per_mm >= 0.30, "four dots of a printer of 300 to the inch are 0.34 mm; measured, 0.30 is read"
        quiet, below = round(QUIET * module), round(2.5 * module)
        ink = page.point(lambda grey: 255 if grey < 128 else 0)
        ink.paste(0, (left - 2, top - 2, right + 2, bottom + 2))  # the decoder rounds
        around = (left - quiet + 2, max(0, top - quiet + 2), right + quiet - 2, bottom + below - 2)
        assert ink.crop(around).getbbox() is None, number
