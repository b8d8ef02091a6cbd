"""Eyes that bring out every way a figure can be put, and readers of how the form and the risk sheet put it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import pytest

from consent.compose import Document
from consent.compose.document import Chances, Risk
from consent.language import load_catalogue

# Example, changes of the case, changes of the clinic
EYES: dict[str, tuple[str, dict, dict]] = {
    "ordinary": ("ordinary", {}, {}),
    "hard": ("hard", {}, {}),
    "hard, one figure": ("hard", {"eye.pseudoexfoliation": "no"}, {}),
    "exfoliation": ("hard", {"eye.pseudoexfoliation": "yes"}, {}),
    "guttata": ("ordinary", {"eye.guttata": "yes"}, {}),
    "glaucoma": ("ordinary", {"eye.glaucoma": "open angle"}, {}),
    "posterior polar": ("ordinary", {"eye.posterior_polar": "yes"}, {}),
    "brunescent, by hand": ("hard", {"plan.operation": "manual small-incision"}, {}),
    "with drainage": ("ordinary", {"plan.operation": "phacoemulsification with trabeculectomy"}, {}),
    "diabetes, macula ill": ("ordinary", {"health.diabetes": "yes", "eye.other_macular_disease": "yes"}, {}),
    "no antibiotic, general": ("ordinary", {"plan.injected_antibiotic": "no", "plan.anaesthesia": "general"}, {}),
    "nothing looked for": (
        "ordinary",
        {"eye.pseudoexfoliation": "unknown", "eye.pupil_grade": "unknown", "eye.nucleus": {}, "eye.white": "unknown"},
        {},
    ),
    "United Kingdom": ("hard", {}, {"population": "uk"}),
    "audited": (
        "hard",
        {},
        {"audit": {"operations": 1000, "events": 12, "expected_events": 15.0, "years": "2024-2025"}},
    ),
}
every_eye = pytest.mark.parametrize("eye", EYES)

WAYS = ("count", "spread", "spread-up-to", "range", "fewer", "fewer-range", "up-to", "unknown")
"""How a figure may be put, as the risk sheet says it whole and the form's table short."""
NOT_APART, NOT_YET = "chance.not-apart", "chance.not-yet"


def texts(document: Document) -> list[str]:
    return list(document.texts())


def risks(document: Document) -> list[Risk]:
    """The outcomes of a risk sheet, in order."""
    return [block for section in document.sections for block in section.blocks if isinstance(block, Risk)]


def rows(document: Document) -> list[list[str]]:
    """The cells of the form's tables of chances in its first language, the benefit first."""
    tables = [block for section in document.sections for block in section.blocks if isinstance(block, Chances)]
    return [[cell[0].plain for cell in row] for table in tables for row in table.rows]


def figures(document: Document) -> Iterator[str]:
    for block in risks(document):
        yield from (line[0].plain for line in block.figures)


def words(message: str, tag: str = "en") -> str:
    """The words of a message with its signs of emphasis taken out."""
    return load_catalogue(tag).messages[message].forms[0].replace("**", "")


def outcome_name(outcome: str) -> str:
    return words(f"outcome.{outcome}.name")


_NUMBER = r"[\d,]+"
_SLOTS = {"span": rf"{_NUMBER}–{_NUMBER}", "rest": rf"{_NUMBER}(?:–{_NUMBER})?"}
"""What stands in a slot of a figure: one number in digits of any script, or a range."""


@cache
def pattern(message: str, tag: str = "en") -> re.Pattern[str]:
    """The message as a pattern whose slots are numbers."""

    def slot(found: re.Match[str]) -> str:
        return f"(?P<{found[1]}>{_SLOTS.get(found[1], _NUMBER)})"

    return re.compile(re.sub(r"\\\{(\w+)\\\}", slot, re.escape(words(message, tag))))


@dataclass(frozen=True)
class Told:
    """A figure as the risk sheet tells it: of whose eye, in which way, with its numbers as printed."""

    whose: str
    how: str
    printed: dict[str, str]

    @property
    def numbers(self) -> dict[str, list[int]]:
        return {slot: whole_numbers(text) for slot, text in self.printed.items()}


def whole_numbers(text: str) -> list[int]:
    """The whole numbers of a range or of one figure, in digits of any script."""
    plain = "".join(str(unicodedata.digit(letter)) if letter.isdigit() else letter for letter in text)
    return [int(number.replace(",", "")) for number in plain.split("–")]


def read_figure(text: str, tag: str = "en") -> Told:
    """Whose figure it is, in which of the eight ways it is put, and its numbers; "same" where it is the usual eye's."""
    if text == words("risk.same", tag):
        return Told("your-eye", "same", {})
    bare, whose = text, ""
    for label in ("usual-eye", "your-eye"):
        begins, ends = words("risk.labelled", tag).replace("{label}", words(f"risk.{label}", tag)).split("{figure}")
        if text.startswith(begins) and text.endswith(ends):
            bare, whose = text.removeprefix(begins).removesuffix(ends), label
    for how in WAYS:
        if match := pattern(f"risk.{how}", tag).fullmatch(bare):
            return Told(whose, how, match.groupdict())
    raise AssertionError(f"not a figure: {text}")


def is_figure(cell: str) -> bool:
    """Whether a cell of the form's table holds a figure, in English."""
    return any(pattern(f"chance.{how}").fullmatch(cell) for how in (*WAYS, "fewer-in-ten") if how != "unknown")
