"""What the tags of every printed sheet say: headings, tables, pictures, order of reading (ISO 32000-1, 14.7 and 14.8).

Read back with pikepdf; no validator of PDF/A or PDF/UA is to be had here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pikepdf

from tests.conftest import Paper


def elements(pdf: pikepdf.Pdf) -> Iterator[Any]:
    """Every element of the structure tree, in its order."""

    def walk(element: Any) -> Iterator[Any]:
        yield element
        kids = element.get("/K", [])
        for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
            if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
                yield from walk(kid)

    for kid in pdf.Root.StructTreeRoot.K:
        yield from walk(kid)


def kinds(element: Any) -> list[str]:
    """The kinds of the elements right below."""
    return [str(kid.S) for kid in element.get("/K", []) if isinstance(kid, pikepdf.Dictionary) and "/S" in kid]


def test_headings_are_those_of_the_sheet(papers: list[Paper]) -> None:
    """One title, then a heading for each section that has one."""
    for paper in papers:
        with pikepdf.open(paper.pdf) as pdf:
            found = [str(element.S) for element in elements(pdf) if re.fullmatch(r"/H[1-6]", str(element.S))]
        sections = [section for section in paper.document.sections if section.heading]
        titled = paper.document.layout != "landscape" and paper.document.sheet != "lens-card"
        assert found == (["/H1", *["/H2"] * len(sections)] if titled else ["/H1"] * len(sections)), paper.name


def test_every_picture_has_words_that_stand_for_it(papers: list[Paper]) -> None:
    """ISO 14289-1, 7.3: a figure has an alternative."""
    figures = 0
    for paper in papers:
        with pikepdf.open(paper.pdf) as pdf:
            for element in elements(pdf):
                if str(element.S) == "/Figure":
                    figures += 1
                    assert str(element.get("/Alt", "")).strip(), paper.name
    assert figures > 500


def test_a_table_has_headings_with_their_scope_or_is_none(papers: list[Paper]) -> None:
    """ISO 14289-1, 7.5: headings of a table, each of its column or its row; cells lie in rows, rows in tables."""
    tables = 0
    for paper in papers:
        with pikepdf.open(paper.pdf) as pdf:
            for element in elements(pdf):
                kind = str(element.S)
                if kind == "/TH":
                    assert str(element.A.Scope) in ("/Column", "/Row"), paper.name
                if kind in ("/THead", "/TBody"):
                    assert set(kinds(element)) == {"/TR"}, paper.name
                if kind == "/TR":
                    assert set(kinds(element)) <= {"/TH", "/TD"}, paper.name
                if kind == "/Table":
                    tables += 1
                    assert any(str(below.S) == "/TH" for below in _below(element)), paper.name
    assert tables > 50


def _below(element: Any) -> Iterator[Any]:
    for kid in element.get("/K", []):
        if isinstance(kid, pikepdf.Dictionary) and "/S" in kid:
            yield kid
            yield from _below(kid)


def test_it_is_read_in_the_order_in_which_it_is_printed(papers: list[Paper]) -> None:
    """Along the structure, the pieces of text of a page come in the order in which they stand in the page's content.

    That this is the order of the words of the sheet is shown in tests/render/test_languages.py; pictures are painted
    after the text of their page.
    """
    for paper in papers:
        with pikepdf.open(paper.pdf) as pdf:
            pages = {page.objgen: place for place, page in enumerate(pdf.pages)}
            order = [
                (pages[element.Pg.objgen], kid)
                for element in elements(pdf)
                if str(element.S) != "/Figure"
                for kid in element.get("/K", [])
                if isinstance(kid, int)
            ]
        assert order == sorted(order), paper.name
        assert len(order) > 20, paper.name
