"""Reads the code of a sealed page off a photograph or a scan of it."""

from __future__ import annotations

import io

from consent.errors import PaperError, Problem

_MARK = "CONSENT:"
_BEGINNINGS = (b"\x89PNG", b"\xff\xd8\xff")
_FLAT = "take it again, flat, near and sharp, or type the two short groups beside the code: consent verify --code"


def is_picture(content: bytes) -> bool:
    """Whether ``content`` begins as PNG (ISO/IEC 15948) or JPEG (ISO/IEC 10918-1) does."""
    return content.startswith(_BEGINNINGS)


def read_page_code(content: bytes, where: str) -> str:
    """The text of the code on the picture ``content``, PNG or JPEG.

    Raises ``PaperError`` where none is seen, where there are several different ones, or where it does not open.
    """
    found = sorted({text for text in _texts(content, where) if text.startswith(_MARK)})
    if not found:
        raise PaperError(Problem("no code of a sealed page is seen in this picture", where, remedy=_FLAT))
    if len(found) > 1:
        why = "which page is meant cannot be told"
        raise PaperError(Problem("there are several pages with different codes in this picture", where, why, _FLAT))
    return found[0]


def _texts(content: bytes, where: str) -> list[str]:
    import zxingcpp
    from PIL import Image

    try:
        with Image.open(io.BytesIO(content), formats=("PNG", "JPEG")) as picture:
            grey = picture.convert("L")
    except Exception as failure:  # Pillow has no family of its own for what a damaged picture makes it stumble over
        raise PaperError(Problem("this picture cannot be opened", where, "it is damaged", _FLAT)) from failure
    return [code.text for code in zxingcpp.read_barcodes(grey)]
