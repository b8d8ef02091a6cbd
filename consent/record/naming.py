"""Does a text that stays in the clear for ever say who the patient is: by name, number, telephone or date of birth."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Iterator, Mapping
from itertools import pairwise, permutations
from typing import Any

_SHORT = 2
"""Letters of a word that is no name by itself: initials and the like stand in any sentence."""
_PART_OF_A_NUMBER = 7
"""Digits of a telephone number that are enough to find it."""
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def names(patient: Mapping[str, Any], text: str) -> bool:
    """Whether ``text`` holds a name of the ``patient`` or of who speaks for them, a number of theirs, or the birth
    date, however it is written. A word that only holds the letters of a name is none."""
    said = _words(text)
    return (
        any(_named(name, said, text) for name in _names(patient))
        or any(_numbered(number, text) for number in _values(patient, "record_number", "telephone"))
        or any(_dated(dt.date.fromisoformat(day), text) for day in _values(patient, "birth_date"))
    )


def _names(patient: Mapping[str, Any]) -> Iterator[str]:
    yield from _values(patient, "name", "drops_helper")
    for key in ("decision", "interpreter"):
        yield from _values(patient.get(key) or {}, "name")


def _values(whole: Mapping[str, Any], *keys: str) -> Iterator[str]:
    return (str(whole[key]) for key in keys if whole.get(key))


def _named(name: str, said: list[str], text: str) -> bool:
    parts = _words(name)
    whole = _joined(name)
    return (
        any(word in said for word in parts if len(word) > _SHORT)
        or (len(whole) > _SHORT and whole in _joined(text))
        or (bool(parts) and any(said[start : start + len(parts)] == parts for start in range(len(said))))
    )


def _numbered(number: str, text: str) -> bool:
    """A number as a whole, or so much of it that it is found: a telephone without the code of its country."""
    whole, said = _joined(number), _joined(text)
    if len(whole) <= _SHORT:
        return whole in _words(text)
    runs = re.findall(rf"[0-9]{{{_PART_OF_A_NUMBER},}}", said)
    return whole in said or any(run in whole for run in runs)


def _dated(day: dt.date, text: str) -> bool:
    """A date in any order, with a year of two or four digits, months in figures or in English."""
    numbers = [int(one) for one in re.findall(r"\d+", text)]
    years = (day.year, day.year % 100)
    orders = {order for year in years for order in permutations((day.day, day.month, year))}
    apart = any(tuple(numbers[start : start + 3]) in orders for start in range(len(numbers)))
    month = any(word.startswith(_MONTHS[day.month - 1]) for word in _words(text) if not word.isdecimal())
    pairs = {order for year in years for order in permutations((day.day, year))}
    told = month and any(pair in pairs for pair in pairwise(numbers))
    runs = (day.strftime(form) for form in ("%Y%m%d", "%d%m%Y", "%m%d%Y", "%d%m%y", "%m%d%y", "%y%m%d"))
    return apart or told or not {*runs}.isdisjoint(re.findall(r"[0-9]+", _plain(text)))


def _words(text: str) -> list[str]:
    """The words of ``text`` in order. Letters, the signs on them and digits make a word, in any script; a hyphen, an
    apostrophe or a stroke ends it."""
    kept = (sign if unicodedata.category(sign)[0] in "LMN" else " " for sign in _plain(text))
    return "".join(kept).split()


def _joined(text: str) -> str:
    """``text`` without what people put between the parts of a name or a number."""
    return "".join(_words(text))


def _plain(text: str) -> str:
    """``text`` in one form, whatever its case, its script of digits, joiners that nobody sees (Unicode: NFKC, Cf)."""
    plain = unicodedata.normalize("NFKC", text).casefold()
    seen = (sign for sign in plain if unicodedata.category(sign) != "Cf")
    return "".join(str(unicodedata.digit(sign)) if sign.isdecimal() else sign for sign in seen)
