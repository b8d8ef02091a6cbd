"""What stands for a picture where it cannot be seen: the words that the sheet prints beside it."""

from __future__ import annotations

from typing import Any

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup

from consent.compose.pictures import titled

SILENT = "pictures_are_silent"
"""Set by a template whose reader hears the words beside each picture: then the picture adds nothing to them."""


@pass_context
def described(context: Context, svg: str, words: Any) -> Markup:
    """``svg`` with ``words``, a line or a tuple of texts, as its alternative; hidden from readers where SILENT."""
    if context.get(SILENT):
        return Markup(svg.replace("<svg ", '<svg aria-hidden="true" ', 1))  # noqa: S704  drawn by code
    text = words[0].plain if hasattr(words[0], "plain") else " ".join(words)
    return Markup(titled(svg, text))  # noqa: S704  drawn by code, words escaped
