"""A sheet to be read on a screen or by a screen reader: one language, one column, all its words, nothing to fetch."""

from __future__ import annotations

from functools import cache

from consent.compose import Document
from consent.print.described import SILENT
from consent.print.render import environment
from consent.resources import templates


def to_screen(document: Document, place: int = 0) -> str:
    """The HTML of ``document`` in the language at ``place``, with style and pictures inside (WCAG 2.2, A and AA)."""
    one = document.in_language(place)
    return (
        environment()
        .get_template("sheets/screen.html")
        .render(document=one, langs=one.languages, rtl=lambda _: "", style=_style(), wide=_WIDE, **{SILENT: True})
    )


_WIDE = ("bottles", "table")
"""Blocks too wide for a telephone: their section scrolls by itself, also by keyboard."""


@cache
def _style() -> str:
    return "".join((templates() / "styles" / name).read_text(encoding="utf-8") for name in ("fonts.css", "screen.css"))
