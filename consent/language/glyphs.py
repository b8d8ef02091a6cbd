"""Finds, by shaping, the letters a font cannot draw. A missing glyph prints as an empty box and nothing complains."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

from consent.errors import MachineError, Problem
from consent.language.tags import script_of

_FOLDER = Path("/usr/share/fonts/truetype/noto")
_PACKAGE = "fonts-noto-core"
_FAMILIES = {
    "Arab": "Noto Naskh Arabic",
    "Beng": "Noto Sans Bengali",
    "Deva": "Noto Sans Devanagari",
    "Latn": "Noto Sans",
    "Orya": "Lohit Odia",  # Noto Sans Oriya 20201225 sets signs beside letters: see DEVELOPERS.md
    "Taml": "Noto Sans Tamil",
    "Telu": "Noto Sans Telugu",
}
_ELSEWHERE = {
    "Lohit Odia": (Path("/usr/share/fonts/truetype/lohit-oriya/Lohit-Odia.ttf"), "fonts-lohit-orya"),
}
"""Faces of one weight outside the Noto family: the file, and the Debian package it comes with."""
_DOTTED_CIRCLE = "\u25cc"
_BIDI_CONTROLS = re.compile(r"[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_JOINERS = frozenset("\u200c\u200d")
# One script at a time: HarfBuzz shapes a whole buffer by the script of its first letter.
_STRETCH = re.compile(r"[A-Za-z\u00c0-\u024f]+|[^A-Za-z\u00c0-\u024f\s]+")


def uncovered(text: str, font_path: Path) -> list[str]:
    """Letters or clusters the font has no glyph for, or can only draw with a dotted circle, each once, in order."""
    stretches = _STRETCH.findall(_BIDI_CONTROLS.sub("", text))
    return list(dict.fromkeys(cluster for stretch in stretches for cluster in _uncovered(stretch, font_path)))


def uncovered_by_all(text: str, font_paths: Sequence[Path]) -> list[str]:
    """Letters or clusters that none of the fonts can draw, trying them in order as a page's font list does."""
    left = [text]
    for font_path in font_paths:
        left = uncovered("\n".join(left), font_path)
    return left


@cache
def font_for(script: str, weight: str = "Regular") -> Path:
    """The font file for a script (ISO 15924 code); MachineError naming the Debian package if it is not installed.

    A face that has one weight only is the answer for every weight.
    """
    family = _FAMILIES.get(script)
    if family is None:
        raise MachineError(Problem(what=f"no font is chosen for the script {script}", where="fonts"))
    usual, package = _FOLDER / f"{family.replace(' ', '')}-{weight}.ttf", _PACKAGE
    if family in _ELSEWHERE:
        (usual, package), weight = _ELSEWHERE[family], "Regular"
    path = usual if usual.exists() else _asked_of_fontconfig(family, weight)
    if path is None:
        raise MachineError(
            Problem(
                what=f"the font {family} {weight} is not installed",
                where=str(usual),
                why="letters would print as empty boxes",
                remedy=f"sudo apt-get install {package}",
            )
        )
    return path


def fonts_for(tag: str, weight: str = "Regular") -> tuple[Path, ...]:
    """Fonts of a language in order: its script's own, then Noto Sans for Latin letters and punctuation."""
    return tuple(dict.fromkeys([font_for(script_of(tag), weight), font_for("Latn", weight)]))


def _asked_of_fontconfig(family: str, weight: str) -> Path | None:
    command = ["fc-match", "--format", "%{family}\n%{file}", f"{family}:style={weight}"]
    try:
        answer = subprocess.run(command, capture_output=True, text=True, check=True, timeout=30).stdout
    except (OSError, subprocess.SubprocessError):
        return None
    families, _, file = answer.partition("\n")
    return Path(file) if family in families.split(",") else None


@cache
def _font(path: Path) -> Any:
    import uharfbuzz

    if not path.exists():
        raise MachineError(
            Problem(what="the font file is missing", where=str(path), remedy=f"sudo apt-get install {_PACKAGE}")
        )
    return uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob.from_file_path(str(path))))


@cache
def _uncovered(stretch: str, font_path: Path) -> tuple[str, ...]:
    """The same for text in one script without spaces; remembered, for words repeat."""
    font = _font(font_path)
    circle = font.get_nominal_glyph(ord(_DOTTED_CIRCLE))
    glyphs = _shaped(stretch, font)
    ends = dict(zip(starts := sorted({start for start, _ in glyphs}), [*starts[1:], len(stretch)], strict=False))
    faults: dict[str, None] = {}
    for start, glyph in sorted(glyphs):
        cluster = stretch[start : ends[start]]
        broken = circle is not None and glyph == circle and _DOTTED_CIRCLE not in cluster
        if broken or (glyph == 0 and not set(cluster) <= _JOINERS):
            faults[cluster] = None
    return tuple(faults)


def _shaped(stretch: str, font: Any) -> list[tuple[int, int]]:
    """Start of the cluster and glyph number of every glyph, as HarfBuzz shapes the text."""
    import uharfbuzz

    buffer = uharfbuzz.Buffer()
    buffer.add_str(stretch)
    buffer.guess_segment_properties()
    uharfbuzz.shape(font, buffer)
    return [(info.cluster, info.codepoint) for info in buffer.glyph_infos]
