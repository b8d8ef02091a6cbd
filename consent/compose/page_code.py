"""The code in the head of every sealed page: which record, which version, and the digest of the data that was signed.

The text holds only the letters of a QR code's alphanumeric mode (ISO/IEC 18004, table 5), which makes it small. A
record number is written in capitals: ``*`` turns small letters on and off, ``+`` stands for ``_``.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

from consent.compose.document import Document, PageCode
from consent.compose.phone import phone_limits
from consent.errors import PaperError, Problem

_MARK, _CASE, _LINE = "CONSENT", "*", "+"
_DIGEST_LETTERS, _SHORT_LETTERS = 52, 8
"""SHA-256 in base32 (RFC 4648, section 6) without padding; of it, what is read aloud."""
_TEXT = re.compile(rf"{_MARK}:([A-Z0-9*][A-Z0-9 ./+*-]*):([1-9][0-9]{{0,8}}):([A-Z2-7]{{{_DIGEST_LETTERS}}})")
_SHORT = re.compile(rf"[A-Z2-7]{{{_SHORT_LETTERS}}}")


@dataclass(frozen=True)
class CodeParts:
    """What a code says: record number, version on paper, and the SHA-256 of the signed data, hexadecimal."""

    record_number: str
    version: int
    digest: str


def code_text(parts: CodeParts) -> str:
    """The text of the code, such as ``CONSENT:DEMO-0001:1:`` and 52 letters."""
    return f"{_MARK}:{_in_capitals(parts.record_number)}:{parts.version}:{_base32(parts.digest)}"


def parse_code(text: str) -> CodeParts:
    """What the code ``text`` says, scanned or typed. Raises ``PaperError`` for anything that is not exactly one."""
    typed = text.strip().upper()
    found = _TEXT.fullmatch(typed)
    if found is not None:
        record, version, letters = found.groups()
        padding = "=" * (-len(letters) % 8)
        digest = base64.b32decode(letters + padding).hex()
        parts = CodeParts(_as_written(record), int(version), digest)
        if code_text(parts) == typed:
            return parts
    raise PaperError(
        Problem(
            "this is not a code of signed paper",
            f'"{_shown(text)}"',
            "nothing can be looked up by it",
            f"scan it again, or type the whole text: {_MARK}, record number, version and {_DIGEST_LETTERS} letters and "
            "digits from 2 to 7, with : between",
        )
    )


def short_code(digest: str) -> tuple[str, str]:
    """The first letters of the digest in two groups, to find a page by when its code cannot be scanned."""
    letters = _base32(digest)[:_SHORT_LETTERS]
    return letters[: _SHORT_LETTERS // 2], letters[_SHORT_LETTERS // 2 :]


def parse_short(text: str) -> str:
    """The beginning of the digest, 10 hexadecimal digits, that the short code ``text`` stands for.

    Raises ``PaperError`` where it is not two groups of four letters and digits from 2 to 7.
    """
    letters = re.sub(r"[\s-]", "", text).upper()
    if _SHORT.fullmatch(letters) is None:
        raise PaperError(
            Problem(
                "this is not the short code of a page",
                f'"{_shown(text)}"',
                "nothing can be looked up by it",
                "type the two groups of four beside the code: letters, and digits from 2 to 7",
            )
        )
    return base64.b32decode(letters).hex()


def page_code(parts: CodeParts) -> PageCode:
    """The code as it is printed: an SVG of one path with class "pagecode", its quiet zone in it."""
    import segno

    text = code_text(parts)
    drawn = segno.make_qr(text, error="l", boost_error=True)
    quiet = phone_limits().quiet_modules.value
    svg = drawn.svg_inline(border=quiet, svgclass="pagecode", lineclass=None, omitsize=True)
    return PageCode(text, short_code(parts.digest), svg)


def with_code(document: Document, code: PageCode) -> Document:
    """``document`` with ``code`` in the head of each page."""
    return replace(document, code=code)


def _base32(digest: str) -> str:
    return base64.b32encode(bytes.fromhex(digest)).decode().rstrip("=")


def _in_capitals(record_number: str) -> str:
    return "".join(_shifted(record_number)).replace("_", _LINE)


def _shifted(record_number: str) -> Iterator[str]:
    small = False
    for letter in record_number:
        if letter.isalpha() and letter.islower() != small:
            small = not small
            yield _CASE
        yield letter.upper()


def _as_written(capitals: str) -> str:
    runs = capitals.replace(_LINE, "_").split(_CASE)
    return "".join(run.lower() if place % 2 else run for place, run in enumerate(runs))


def _shown(text: str) -> str:
    most = 120
    return text if len(text) <= most else f"{text[:most]}..."
