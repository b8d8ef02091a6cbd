"""What is kept between sheets changes no paper: WeasyPrint as it comes, and a parser of HTML, are the references."""

from __future__ import annotations

import hashlib
import io
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator

import pytest
import tinyhtml5

from consent.errors import MachineError
from consent.print import markup, pinned, reuse
from consent.print.markup import tree_of
from consent.print.reuse import Kept
from tests.conftest import Paper

EXAMPLE = "hard"
_PLAIN = """
import hashlib
import pydyf
from weasyprint import CSS, HTML
from consent.clinic import read_clinic
from consent.pack import compose_pack
from consent.print import markup, render, reuse, to_pdf
from consent.resources import templates
from tests.conftest import LANGUAGES, shipped_case

class Plain(HTML):
    def __init__(self, html, fetcher):
        super().__init__(string=html, base_url="bundle:/", url_fetcher=fetcher)

class Whole(CSS):
    def of(self, sheet):
        return self

pydyf.zlib = reuse._Compressing
reuse.install, markup.Sheet = lambda: None, Plain
render._style = lambda style=Whole(filename=templates() / "styles" / "sheet.css", font_config=render._fonts()): style
if __name__ == "__main__":
    for document in compose_pack(shipped_case(EXAMPLE), read_clinic(), LANGUAGES[EXAMPLE]).documents:
        print(hashlib.sha256(to_pdf(document)).hexdigest())
"""


def test_papers_are_those_of_weasyprint_byte_for_byte(papers: list[Paper]) -> None:
    """Those here were printed one after the other in one process, so that later ones use what earlier ones left."""
    program = _PLAIN.replace("EXAMPLE", repr(EXAMPLE))
    plain = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout.split()
    ours = {hashlib.sha256(paper.pdf.read_bytes()).hexdigest() for paper in papers if paper.example == EXAMPLE}
    assert len(plain) > 10
    assert set(plain) <= ours


def _flat(element: ET.Element, depth: int = 0) -> Iterator[tuple[object, ...]]:
    """Elements in order. Parsers keep a namespace as an attribute; the space behind the last element has no box."""
    attributes = {name: value for name, value in element.attrib.items() if "xmlns" not in name}
    yield (
        depth,
        element.tag,
        attributes,
        element.text or "",
        (element.tail or "").strip() if depth < 3 else element.tail or "",
    )
    for child in element:
        yield from _flat(child, depth + 1)


def test_markup_is_read_as_an_html_parser_reads_it(papers: list[Paper]) -> None:
    """tinyhtml5, a parser of the HTML standard, is what WeasyPrint uses otherwise."""
    for paper in papers:
        wanted = tinyhtml5.parse(io.BytesIO(paper.html.encode()), namespace_html_elements=False)
        assert list(_flat(tree_of(paper.html))) == list(_flat(wanted)), paper.name


def test_markup_that_is_not_ours_is_refused() -> None:
    with pytest.raises(ET.ParseError):
        tree_of("<!doctype html>\n<html><p>not closed</html>")


@pytest.mark.parametrize(("known", "name"), [(one, name) for one in (reuse._KNOWN, markup._KNOWN) for name in one])
def test_a_changed_function_is_refused(known: dict[str, str], name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(known, name, "0" * 32)
    with pytest.raises(MachineError, match=re.escape(name)):
        pinned.need(known, "reuse")


def test_what_is_kept_is_bounded_and_what_is_used_stays() -> None:
    kept: Kept[int] = Kept(10)
    for number in range(100):
        kept.keep(number, number)
        assert kept.get("always") == (None if number == 0 else 1)
        kept.keep("always", 1)
    found = [number for number in range(100) if kept.get(number) is not None]
    assert len(found) <= 20
    assert kept.get("always") == 1
