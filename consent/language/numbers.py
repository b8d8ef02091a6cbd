"""Whole numbers, strengths and ranges as a language writes them: CLDR grouping, and the digits the clinic chose."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Literal, get_args

from consent.errors import LanguageError, Problem
from consent.language.tags import locale_of

Digits = Literal["locale", "latin", "native"]

# CLDR numberingSystems.xml: the digit zero of each system; the other nine follow it.
_ZEROS = {
    "latn": "0",
    "arab": "\u0660",
    "arabext": "\u06f0",
    "beng": "\u09e6",
    "deva": "\u0966",
    "orya": "\u0b66",
    "tamldec": "\u0be6",
    "telu": "\u0c66",
}
_BIDI_MARKS = str.maketrans("", "", "\u200e\u200f\u061c")
_RANGE = "\u2013"  # CLDR miscPatterns "range": {0}–{1}


@dataclass(frozen=True)
class Numerals:
    """How one language writes numbers under one choice of digits. Made by `numerals`."""

    tag: str
    system: str
    digit_table: dict[int, str]
    group_mark: str
    decimal_mark: str
    minus: str
    group_sizes: tuple[int, int]

    def integer(self, number: int) -> str:
        """A whole number with the language's grouping, such as ১২,৩৪,৫৬৭."""
        sign = self.minus if number < 0 else ""
        return sign + self._grouped(str(abs(number))).translate(self.digit_table)

    def ungrouped(self, number: int) -> str:
        """A whole number without grouping, as a year or a page is written."""
        return (self.minus if number < 0 else "") + self.in_digits(str(abs(number)))

    def decimal(self, number: Decimal) -> str:
        """A strength or measure: no trailing zeros, a leading zero before the mark, never an exponent."""
        if not number.is_finite():
            raise LanguageError(Problem(what=f"{number} cannot be printed", where=f"number in {self.tag}"))
        whole, _, fraction = f"{abs(number):f}".partition(".")
        fraction = fraction.rstrip("0")
        text = self._grouped(whole) + (self.decimal_mark + fraction if fraction else "")
        sign = self.minus if number < 0 else ""
        return sign + text.translate(self.digit_table)

    def number(self, number: int | Decimal) -> str:
        """A whole number or a decimal, each in its way."""
        return self.decimal(number) if isinstance(number, Decimal) else self.integer(number)

    def between(self, low: int | Decimal, high: int | Decimal) -> str:
        """A range ``low–high``; one number if both print alike; LanguageError if it runs backwards."""
        if low > high:
            raise LanguageError(
                Problem(what=f"the range {low} to {high} runs backwards", where=f"number in {self.tag}")
            )
        first, last = self.number(low), self.number(high)
        return first if first == last else f"{first}{_RANGE}{last}"

    def in_digits(self, text: str) -> str:
        """The same text with its ASCII digits in this language's digits. Not for telephone or record numbers."""
        return text.translate(self.digit_table)

    def _grouped(self, digits: str) -> str:
        nearest, further = self.group_sizes
        if len(digits) <= nearest:
            return digits
        groups = [digits[-nearest:]]
        rest = digits[:-nearest]
        while rest:
            groups.append(rest[-further:])
            rest = rest[:-further]
        return self.group_mark.join(reversed(groups))


@cache
def numerals(tag: str, digits: Digits = "locale") -> Numerals:
    """The numerals of a language. ``locale``: CLDR's default digits; ``latin``: 0-9; ``native``: the script's own."""
    from babel.numbers import get_decimal_symbol, get_group_symbol, get_minus_sign_symbol

    locale = locale_of(tag)
    system = numbering_system(tag, digits)
    pattern = locale.decimal_formats[None]
    marks = system if "decimal" in locale.number_symbols.get(system, {}) else "latn"
    return Numerals(
        tag=tag,
        system=system,
        digit_table={ord("0") + n: chr(ord(_ZEROS[system]) + n) for n in range(10)} if system != "latn" else {},
        group_mark=get_group_symbol(locale, numbering_system=marks),
        decimal_mark=get_decimal_symbol(locale, numbering_system=marks),
        minus=get_minus_sign_symbol(locale, numbering_system=marks).translate(_BIDI_MARKS),
        group_sizes=pattern.grouping,
    )


def numbering_system(tag: str, digits: Digits) -> str:
    """CLDR name of the digits a language prints under a choice, such as ``beng``."""
    locale = locale_of(tag)
    choices = {
        "latin": "latn",
        "locale": locale.default_numbering_system,
        "native": locale.other_numbering_systems.get("native", locale.default_numbering_system),
    }
    system = choices.get(digits)
    if system not in _ZEROS:
        raise LanguageError(
            Problem(
                what=f"digits {digits!r} are not known for {tag!r}",
                where="digits",
                remedy=f"choose one of {', '.join(get_args(Digits))}",
            )
        )
    return str(system)
