"""How a composed sheet becomes paper: WeasyPrint with only our own bundle, and every warning an error."""

from __future__ import annotations

import gc
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import TYPE_CHECKING, Any

from consent.compose import Document
from consent.compose.frame import PAGE, PAGES
from consent.errors import PrintError, Problem
from consent.language import direction, numerals
from consent.print.archive import Archive, finisher, left_open, stamp_dates
from consent.print.structure import mend_tags
from consent.resources import templates

if TYPE_CHECKING:
    from jinja2 import Environment

_COUNTERS = {
    "arabext": "persian",
    "beng": "bengali",
    "deva": "devanagari",
    "orya": "oriya",
    "tamldec": "tamil",
    "telu": "telugu",
}
"""Digits of CLDR as the counter styles of CSS Counter Styles 3 name them; those it does not name are 0 to 9."""


def to_html(document: Document, digits: str = "locale") -> str:
    """The HTML of a sheet. Words arrive said; the template only places them."""
    return (
        environment()
        .get_template("sheets/sheet.html")
        .render(
            document=document,
            langs=document.languages,
            rtl=lambda index: _dir(document, index),
            page_counter=page_counter(document, digits),
        )
    )


def to_pdf(document: Document, digits: str = "locale", archive: Archive | None = None) -> bytes:
    """The PDF of a sheet, tagged; with ``archive`` in the archival format, with its files and its date.

    Raises ``PrintError`` for a missing glyph or picture, or any other warning.
    """
    from consent.print import reuse, text_layer

    text_layer.install()
    reuse.install()
    with _warnings_are_errors(document.sheet), _no_collecting():
        return _printed(to_html(document, digits), archive)


def _printed(html: str, archive: Archive | None) -> bytes:
    """By itself, so that its boxes are garbage when it returns."""
    from consent.print.markup import Sheet

    sheet = Sheet(html, _no_fetching())
    pages = sheet.render(stylesheets=[_style().of(sheet)], font_config=_fonts())
    if archive is None:
        pdf = pages.write_pdf(
            pdf_variant="pdf/ua-1", optimize_images=False, finisher=lambda _, written: mend_tags(written)
        )
    else:
        stamp_dates(pages.metadata, archive)
        with left_open():
            pdf = pages.write_pdf(pdf_variant="pdf/a-3a", optimize_images=False, finisher=finisher(archive))
    if not isinstance(pdf, bytes):
        raise TypeError("WeasyPrint gave no bytes")
    return pdf


def warm_up() -> None:
    """Read what every sheet needs, in a process that is to print many; none of it is looked at for garbage."""
    from consent.print import reuse, text_layer

    text_layer.install()
    reuse.install()
    environment()
    _style()
    gc.collect()
    gc.freeze()


def page_counter(document: Document, digits: str) -> str:
    """CSS ``content`` of the page number: the sheet's words with counters where the page numbers stand."""
    tag, said = document.languages[0][0], document.page_label[0].plain
    counter = _COUNTERS.get(numerals(tag, "latin" if digits == "latin" else "locale").system)
    style = f", {counter}" if counter else ""
    before, _, rest = said.partition(PAGE)
    between, _, after = rest.partition(PAGES)
    pieces = (_css(before), f"counter(page{style})", _css(between), f"counter(pages{style})", _css(after))
    return " ".join(pieces)


def _css(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _dir(document: Document, index: int) -> Any:
    from markupsafe import Markup

    tag = document.languages[index][0]
    page = document.languages[0][1]
    return Markup(f' dir="{direction(tag)}"') if direction(tag) != page else ""  # noqa: S704  fixed words only


@cache
def environment() -> Environment:
    """Jinja2 over our own templates: sandboxed, autoescaping, a missing value is an error."""
    from jinja2 import FileSystemLoader, StrictUndefined
    from jinja2.sandbox import SandboxedEnvironment

    from consent.print.described import described

    made = SandboxedEnvironment(
        loader=FileSystemLoader(templates()),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["alt"] = described
    return made


@cache
def _style() -> Any:
    from consent.print.markup import Style

    return Style(templates() / "styles" / "sheet.css", _fonts())


@cache
def _fonts() -> Any:
    from weasyprint.text.fonts import FontConfiguration

    return FontConfiguration()


@cache
def _no_fetching() -> Any:
    from weasyprint.urls import URLFetcher

    class NoFetching(URLFetcher):  # type: ignore[misc]
        """A sheet holds all it needs; whatever it asks for beyond is a mistake."""

        def fetch(self, url: str, headers: object = None) -> Any:
            del headers
            raise PrintError(Problem(f"the sheet asks for {url}", "template", "sheets are complete in themselves"))

    return NoFetching()


@contextmanager
def _no_collecting() -> Iterator[None]:
    """Layout makes a million objects: garbage is looked for once, at the end, and only among them."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        gc.collect(0)
        if was_on:
            gc.enable()


class _Collector(logging.Handler):
    """Keeps what WeasyPrint would only log."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.messages: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.messages.append(record.getMessage())


@contextmanager
def _warnings_are_errors(sheet: str) -> Iterator[None]:
    logger = logging.getLogger("weasyprint")
    collector = _Collector()
    before, level = logger.handlers[:], logger.level
    logger.handlers, logger.propagate = [collector], False
    logger.setLevel(logging.WARNING)
    try:
        yield
    finally:
        logger.handlers, logger.propagate = before, True
        logger.setLevel(level)
    if collector.messages:
        raise PrintError(
            Problem(
                what=message,
                where=sheet,
                why="the paper would show a hole or a wrong sign",
                remedy="consent check tells which fonts are missing; otherwise mend the template",
            )
            for message in dict.fromkeys(collector.messages)
        )
