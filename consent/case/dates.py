"""Reads dates and times of day as tables have them: ISO 8601, or the day first; short years only where it is safe."""

from __future__ import annotations

import datetime as dt
import re

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEAR_FIRST = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_DAY_FIRST = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})")
_MONTH_NAMED = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?[ \-.,/]*([a-z]{3})[a-z]*[ \-.,/]+(\d{4}|\d{2})")
_CLOCK = re.compile(r"[ t]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?( ?[ap]m)?$")
_TIME = re.compile(r"(?:1899-12-3[01] )?(\d{1,2})[:.](\d{2})(?::(\d{2})(?:\.0+)?)?(?: ?([ap])\.?m\.?)?(?: ?(?:hrs|h))?")
_CENTURY, _THIS_CENTURY, _NOON = 100, 2000, 12
_EARLIEST, _LATEST = 1900, 2100


def date_of(text: str, short_years: bool) -> dt.date:
    """The date in ``text``, which has digits 0 to 9; raises ``ValueError`` where it is none.

    Where only digits tell, the day stands before the month. ``short_years``: two digits are a year of this century.
    """
    year, month, day = _parts(_plain(text))
    if year < _CENTURY and short_years:
        year += _THIS_CENTURY
    if not _EARLIEST <= year <= _LATEST:
        raise ValueError(text)
    return dt.date(year, month, day)


def could_be_month_first(text: str) -> bool:
    """Whether ``text`` is a date of digits that names another day where the month stands first."""
    found = _DAY_FIRST.fullmatch(_plain(text))
    return found is not None and found[1].zfill(2) != found[2].zfill(2) and int(found[1]) <= len(_MONTHS)


def time_of(text: str) -> dt.time:
    """The time of day in ``text``, which has digits 0 to 9; raises ``ValueError`` where it is none."""
    if not (found := _TIME.fullmatch(text.strip().casefold())):
        raise ValueError(text)
    hour, half = int(found[1]), found[4]
    if half and not 1 <= hour <= _NOON:
        raise ValueError(text)
    if half:
        hour = hour % _NOON + (_NOON if half == "p" else 0)
    return dt.time(hour, int(found[2]), int(found[3] or 0))


def is_date(text: str) -> bool:
    """Whether ``text`` is a date: a spreadsheet makes one of 6/12."""
    try:
        return bool(date_of(text, short_years=True))
    except ValueError:
        return False


def _plain(text: str) -> str:
    return _CLOCK.sub("", text.strip().casefold())


def _parts(text: str) -> tuple[int, int, int]:
    """Year, month and day."""
    if found := _YEAR_FIRST.fullmatch(text):
        return int(found[1]), int(found[2]), int(found[3])
    if found := _DAY_FIRST.fullmatch(text):
        return int(found[3]), int(found[2]), int(found[1])
    if found := _MONTH_NAMED.fullmatch(text):
        return int(found[3]), _MONTHS.index(found[2]) + 1, int(found[1])
    raise ValueError(text)
