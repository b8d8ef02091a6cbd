"""Keeps numbers and Latin fragments the right way round inside right-to-left text (Unicode Bidirectional Algorithm)."""

from __future__ import annotations

import re
import unicodedata
from html import escape

LRI, RLI, FSI, PDI = "\u2066", "\u2067", "\u2068", "\u2069"

# Letters and digits of a run; what may stand between two of them (a sign, a mark or one space); a percent sign alone.
_CORE = r"[A-Za-z\u00c0-\u00d6\u00d8-\u00f6\u00f8-\u024f\u00b5\u03bc\d]"
_SPACE = r"[ \u00a0\u202f]?"
_LINK = rf"(?:{_SPACE}[-–−/×:+=]{_SPACE}|[.,'_@&٫٬]|[ \u00a0\u202f])?"
_RUN = re.compile(rf"[+\-−±~<>≤≥]?{_CORE}(?:{_LINK}{_CORE})*[%‰°]?|[%‰°]")
_GAP = re.compile(rf"{_SPACE}[-–−/×:+=]?{_SPACE}")
_TOKEN = re.compile(
    rf"(?P<open><bdi\b[^>]*>|[{LRI}{RLI}{FSI}])|(?P<close></bdi>|{PDI})|(?P<skip></?[A-Za-z][^>]*>|&#?\w+;)", re.I
)
_CONTROLS = re.compile(r"[\u0000-\u001f\u007f\u2028\u2029]+")
_EMBEDDINGS = re.compile(r"[\u202a-\u202e\u2066-\u2069]")


def split_runs(text: str) -> list[tuple[bool, str]]:
    """The text cut into pieces; True marks a run of digits or Latin letters with what belongs inside it (5–10 mg)."""
    pieces: list[tuple[bool, str]] = []
    end = 0
    for match in _RUN.finditer(text):
        if match.start() > end:
            pieces.append((False, text[end : match.start()]))
        pieces.append((True, match.group()))
        end = match.end()
    if end < len(text):
        pieces.append((False, text[end:]))
    return pieces


def belongs_between(before: str, gap: str, after: str) -> bool:
    """Whether ``gap`` joins two runs into one, as in 5 mg or 5–10; two numbers with only a space between stay two."""
    if not _GAP.fullmatch(gap):
        return False
    return bool(gap.strip()) or not (before[-1:].isdigit() and after[:1].isdigit())


def isolate_html(text: str) -> str:
    """The text escaped and kept left to right as one unit."""
    return f'<bdi dir="ltr">{escape(text)}</bdi>'


def isolate_plain(text: str) -> str:
    """The text kept left to right as one unit in plain text (U+2066, U+2069)."""
    return f"{LRI}{text}{PDI}"


def isolate_runs_html(text: str) -> str:
    """Right-to-left text escaped, with every run of digits or Latin letters isolated."""
    return "".join(isolate_html(piece) if run else escape(piece) for run, piece in split_runs(text))


def isolate_runs_plain(text: str) -> str:
    """Right-to-left text with every run of digits or Latin letters isolated."""
    return "".join(isolate_plain(piece) if run else piece for run, piece in split_runs(text))


def has_rtl(text: str) -> bool:
    """True if any letter of the text is written from the right."""
    return not text.isascii() and any(unicodedata.bidirectional(letter) in ("R", "AL") for letter in text)


def starts_rtl(text: str) -> bool:
    """True if the first letter with a direction is written from the right (UAX 9, rule P2)."""
    for letter in text:
        kind = unicodedata.bidirectional(letter)
        if kind in ("L", "R", "AL"):
            return kind != "L"
    return False


def tame(text: str) -> str:
    """Text from outside without control characters or direction overrides, which could reorder the words around it."""
    return _EMBEDDINGS.sub("", _CONTROLS.sub(" ", text))


def bare_runs(text: str) -> list[str]:
    """Runs of digits or Latin letters in right-to-left text (plain, or an HTML fragment) that nothing isolates."""
    found: list[str] = []
    shields: list[bool] = []
    end = 0
    for token in _TOKEN.finditer(text):
        if not any(shields):
            found += _runs(text[end : token.start()])
        if token["open"]:
            shields.append(token["open"] != RLI and 'dir="rtl"' not in token["open"])
        elif token["close"] and shields:
            shields.pop()
        end = token.end()
    return found if any(shields) else found + _runs(text[end:])


def _runs(text: str) -> list[str]:
    return [piece for run, piece in split_runs(text) if run]
