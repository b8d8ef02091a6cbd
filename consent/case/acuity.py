"""Visual acuity as people write it down: Snellen in metres or feet, decimal, logMAR, or CF / HM / PL / NPL."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum

_SNELLEN = re.compile(r"^([1-6]|20)/(\d{1,4}(?:\.\d)?)$")
_DECIMAL = re.compile(r"^decimal (\d(?:\.\d{1,3})?)$", re.IGNORECASE)
_FINGERS = re.compile(r"^CF (?:at )?\d(?:\.\d)? ?m$", re.IGNORECASE)
_LOGMAR = re.compile(r"^(-?\d(?:\.\d{1,2})?) logmar$", re.IGNORECASE)
_BEST, _POOREST = -0.31, 2.01
"""Limits of what a chart can show, as logMAR: decimal 2.0 to 0.01, with room for rounding."""
_WORDS = {"CF": 0, "HM": 1, "PL": 2, "NPL": 3}
_ACCEPTED = '"6/60", "20/200", "decimal 0.1", "1.00 logMAR", "CF", "CF 1 m", "HM", "PL" or "NPL"'


class AcuityWord(StrEnum):
    """Acuity too poor for a chart: counting fingers, hand movements, light, no light."""

    COUNTING_FINGERS = "CF"
    HAND_MOVEMENTS = "HM"
    LIGHT = "PL"
    NO_LIGHT = "NPL"


@dataclass(frozen=True)
class Acuity:
    """An acuity as written, and the same as logMAR where a chart could be read.

    ``logmar`` is the base-10 logarithm of the minimum angle of resolution in minutes of arc
    (ISO 8596: decimal acuity is the reciprocal of that angle), ``None`` below chart acuity.
    """

    written: str
    logmar: float | None
    word: AcuityWord | None = None

    def is_worse_than(self, other: Acuity) -> bool:
        """Whether this acuity is poorer: chart acuities by angle, then CF, HM, PL, NPL."""
        return self._rank > other._rank

    @property
    def _rank(self) -> tuple[int, float]:
        if self.word is not None:
            return (1, float(_WORDS[self.word.value]))
        return (0, self.logmar if self.logmar is not None else 0.0)


def parse_acuity(text: str) -> Acuity:
    """Return the acuity written in ``text``.

    Raises ``ValueError`` naming the accepted notations; a bare number is refused because 0.1 is
    poor sight as a decimal and good sight as logMAR.
    """
    written = " ".join(text.split())
    if written.upper() in _WORDS:
        return Acuity(written.upper(), None, AcuityWord(written.upper()))
    if _FINGERS.match(written):
        return Acuity(written, None, AcuityWord.COUNTING_FINGERS)
    if match := _SNELLEN.match(written):
        distance, letter = float(match[1]), float(match[2])
        if letter > 0 and _BEST <= math.log10(letter / distance) <= _POOREST:
            return Acuity(written, round(math.log10(letter / distance), 4))
    if (match := _DECIMAL.match(written)) and 10**-_POOREST <= float(match[1]) <= 10**-_BEST:
        return Acuity(written, round(-math.log10(float(match[1])), 4))
    if (match := _LOGMAR.match(written)) and _BEST <= float(match[1]) <= _POOREST:
        return Acuity(written, float(match[1]))
    raise ValueError(f'"{text}" is not an acuity; write {_ACCEPTED}')
