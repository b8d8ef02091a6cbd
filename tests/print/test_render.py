"""Fails closed: a missing glyph, an outside address or a missing value stops the render."""

from __future__ import annotations

from dataclasses import replace

import jinja2
import pytest

from consent.compose import Document
from consent.compose.document import Para, Section
from consent.errors import PrintError
from consent.language import Said
from consent.pack import Pack
from consent.print import to_html, to_pdf
from consent.print.render import page_counter


@pytest.fixture(scope="module")
def small(packs: dict[str, Pack]) -> Document:
    """A going-home sheet cut down to one paragraph."""
    document = next(d for d in packs["ordinary"].documents if d.sheet == "going-home" and d.languages[0][0] == "en")
    return replace(document, sections=(Section("only", None, (Para((Said("Words.", "Words."),)),)),))


def _saying(document: Document, html: str) -> Document:
    return replace(document, sections=(Section("only", None, (Para((Said(html, html),)),)),))


def test_a_glyph_that_no_font_has_stops_the_render(small: Document) -> None:
    """U+10FFFD is a private-use character that no font of the machine covers."""
    with pytest.raises(PrintError) as caught:
        to_pdf(_saying(small, "before \U0010fffd after"))
    problem = caught.value.problems[0]
    assert "10FFFD" in problem.what
    assert problem.where == "going-home"


def test_a_picture_from_outside_stops_the_render(small: Document) -> None:
    with pytest.raises(PrintError) as caught:
        to_pdf(_saying(small, '<img src="http://example.org/eye.png" alt="">'))
    assert "example.org" in str(caught.value)


def test_a_render_after_a_failed_one_is_clean(small: Document) -> None:
    with pytest.raises(PrintError):
        to_pdf(_saying(small, "\U0010fffd"))
    assert to_pdf(small).startswith(b"%PDF-")


def test_a_value_the_template_does_not_have_stops_it(small: Document) -> None:
    class Strange(Para):
        """A block no macro draws."""

    with pytest.raises(jinja2.exceptions.UndefinedError):
        to_html(replace(small, sections=(Section("only", None, (Strange((Said("x", "x"),)),)),)))


def test_same_sheet_prints_the_same_bytes(small: Document) -> None:
    """The unsigned revision repeats in one environment."""
    assert to_pdf(small) == to_pdf(small)


def test_page_number_stands_where_the_words_put_it(packs: dict[str, Pack]) -> None:
    """CSS Generated Content 3: counter(page), counter(pages); CSS Counter Styles 3: "bengali"."""
    by_tag = {d.languages[0][0]: d for d in packs["hard"].documents if d.sheet == "going-home"}
    assert page_counter(by_tag["en"], "locale") == '"Page " counter(page) " of " counter(pages) ""'
    assert "counter(page, bengali)" in page_counter(by_tag["bn"], "locale")
    assert "bengali" not in page_counter(by_tag["bn"], "latin")
