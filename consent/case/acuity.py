"""Visual acuity as people write it down: Snellen in metres or feet, decimal, logMAR, or CF / HM / PL / NPL."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum

_SNELLEN = re.compile(r"^(6|20|3|5|4)/(\d{1,4}(?:\.\d)?)$")
_DECIMAL = re.compile(r"^decimal (\d(?:\.\d{1,2})?)$", re.IGNORECASE)
_LOGMAR = re.compile(r"^(-?\d(?:\.\d{1,2})?) logmar$", re.IGNORECASE)
_WORDS = {"CF": 0, "HM": 1, "PL": 2, "NPL": 3}
_ACCEPTED = '"6/60", "20/200", "decimal 0.1", "1.00 logMAR", "CF", "HM", "PL" or "NPL"'


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
    if match := _SNELLEN.match(written):
        distance, letter = float(match[1]), float(match[2])
        if letter > 0:
            return Acuity(written, round(math.log10(letter / distance), 4))
    if (match := _DECIMAL.match(written)) and 0.01 <= float(match[1]) <= 2.0:
        return Acuity(written, round(-math.log10(float(match[1])), 4))
    if (match := _LOGMAR.match(written)) and -0.3 <= float(match[1]) <= 2.0:
        return Acuity(written, float(match[1]))
    raise ValueError(f'"{text}" is not an acuity; write {_ACCEPTED}')
