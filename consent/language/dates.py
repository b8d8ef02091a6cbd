"""Dates with the month as a word, and clock times, as CLDR writes them. A date in digits alone is read two ways."""

from __future__ import annotations

from datetime import date, datetime, time
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from consent.errors import LanguageError, Problem
from consent.language.numbers import Digits, numerals
from consent.language.tags import locale_of

if TYPE_CHECKING:
    from babel import Locale

DateStyle = Literal["full", "long", "brief", "short", "day", "month", "weekday"]

# CLDR skeletons and patterns: with a shortened weekday; without one; parts of a date as they stand alone
_SKELETONS = {"brief": "MMMEd", "short": "MMMd"}
_PATTERNS = {"day": "d", "month": "LLL", "weekday": "ccc"}

# CLDR's plain "en" is American, month first; "en-001" is the English of the rest of the world.
_DATES_OF = {"en": "en-001"}


def full_date(day: date, tag: str, digits: Digits = "locale") -> str:
    """Weekday, day, month in words and year, in the language's own order."""
    return written_date(day, tag, digits, "full")


def long_date(day: date, tag: str, digits: Digits = "locale") -> str:
    """Day, month in words and year."""
    return written_date(day, tag, digits, "long")


def brief_date(day: date, tag: str, digits: Digits = "locale") -> str:
    """Shortened weekday, day and shortened month in words, for the cells of a calendar."""
    return written_date(day, tag, digits, "brief")


@lru_cache(maxsize=8192)
def written_date(day: date, tag: str, digits: Digits, style: DateStyle) -> str:
    """A date, or the part of it that ``style`` names; LanguageError for a moment (date and time are said apart)."""
    from babel.dates import format_date, format_skeleton

    if isinstance(day, datetime):
        raise LanguageError(Problem(what="a date was expected, not a date with a time", where=f"date in {tag}"))
    locale = _dates_of(tag)
    if style in _SKELETONS:
        text = format_skeleton(_SKELETONS[style], day, locale=locale)
    else:
        text = format_date(day, _PATTERNS.get(style, style), locale=locale)
    return numerals(tag, digits).in_digits(text)


@lru_cache(maxsize=2048)
def weekday(day: date, tag: str) -> str:
    """The weekday in words, as it stands alone (the heading of a column)."""
    from babel.dates import get_day_names

    return str(get_day_names("wide", context="stand-alone", locale=_dates_of(tag))[day.weekday()])


@lru_cache(maxsize=2048)
def clock(moment: time, tag: str, digits: Digits = "locale") -> str:
    """A time on the 24-hour clock, such as ০৭:০০ (CLDR skeleton Hm)."""
    from babel.dates import format_skeleton

    return numerals(tag, digits).in_digits(format_skeleton("Hm", moment, locale=_dates_of(tag)))


@lru_cache(maxsize=2048)
def clock_with_day_part(moment: time, tag: str, digits: Digits = "locale") -> str:
    """A time on the 12-hour clock with the part of the day in words, such as ৭:০০ সকাল (CLDR skeleton Bhm).

    LanguageError where CLDR has no such words and would write AM and PM, as in Odia.
    """
    from babel.dates import format_skeleton, get_period_id

    if get_period_id(moment, locale=_dates_of(tag)) in ("am", "pm"):
        raise LanguageError(
            Problem(
                what=f"CLDR has no words for the parts of the day in {tag!r}",
                where="time",
                remedy="say the time on the 24-hour clock",
            )
        )
    return numerals(tag, digits).in_digits(format_skeleton("Bhm", moment, locale=_dates_of(tag)))


def _dates_of(tag: str) -> Locale:
    return locale_of(_DATES_OF.get(tag, tag))
