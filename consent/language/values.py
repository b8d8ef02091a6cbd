"""The kinds of value a slot takes, each said in its own way, and what comes out. A bare string is none of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

from consent.language.dates import DateStyle


@dataclass(frozen=True, slots=True)
class Said:
    """Words ready to print: ``html`` escaped and isolated, ``plain`` for calendars, messages and terminals."""

    html: str
    plain: str

    def __html__(self) -> str:
        """Lets an autoescaping template print it as it is."""
        return self.html

    def __str__(self) -> str:
        return self.plain


@dataclass(frozen=True, slots=True)
class Verbatim:
    """Exactly as entered: telephone and record numbers, drug names, units; never regrouped, never in other digits."""

    text: str


@dataclass(frozen=True, slots=True)
class Quoted:
    """Text a person wrote, such as the patient's own question or name; never markup."""

    text: str


@dataclass(frozen=True, slots=True)
class Range:
    """From ``low`` to ``high``, both included."""

    low: int | Decimal
    high: int | Decimal


@dataclass(frozen=True, slots=True)
class Year:
    """A number printed without grouping: a year, a page."""

    number: int


@dataclass(frozen=True, slots=True)
class Day:
    """A date in another style than the full one."""

    day: date
    style: DateStyle = "long"


@dataclass(frozen=True, slots=True)
class DayPart:
    """A time on the 12-hour clock with the part of the day in words."""

    moment: time


@dataclass(frozen=True, slots=True)
class Tongue:
    """The name of a language, by its tag: in the words of the catalogue, or else in those of CLDR."""

    tag: str


Value = int | Decimal | date | time | Verbatim | Quoted | Range | Year | Day | DayPart | Tongue | Said
