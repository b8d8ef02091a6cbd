"""Reads one cell of an operating list: a word, a number, a date or a text, or what is wrong with it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any

from consent.case.acuity import parse_acuity
from consent.case.listing.dates import date_of, is_date, time_of
from consent.case.listing.rules import Column, columns, list_rules, plain, unknown_words, word, words_of
from consent.case.plain import ascii_digits, printable
from consent.case.table import FORMULA_STARTS

_NUMBER = re.compile(r"([+-]?\d{1,6}(?:[.,]\d{1,6})?)\s*(.*)")
_PRESSURE = re.compile(r"(\d{2,3})\s*/\s*(\d{2,3})\s*(?:mm\s?hg)?", re.IGNORECASE)
_AGE_AND_SEX = re.compile(r"(?:([^/,]+)[/,]|(\d{1,3}))\s*([^/,]+)")
_ALLERGY = re.compile(r"([^()]+?)\s*(?:\((?:(severe|not severe):)?\s*([^()]*?)\s*\))?")
_TAG = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*")
_SHOWN_ANSWERS = ("yes", "no")
_SIGNED_DIGITS = re.compile(r"[+-][\d ().-]+")
"""Telephone numbers may begin with a sign."""
_SEPARATOR = re.compile(r"[;\n]")


class CellError(ValueError):
    """What is wrong with a cell, and what may be written instead."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what, self.remedy = what, remedy


def value_of(cell: str, column: Column) -> Any:
    """What ``cell`` says, as a case file has it; ``None`` where it says nothing, or that it is not known.

    Raises ``CellError`` with what the cell says and what may be written instead.
    """
    if len(cell) > list_rules().limits.cell:
        raise CellError(f"the cell holds {len(cell)} letters", f"write at most {list_rules().limits.cell}")
    if not cell.strip():
        return None
    if column.kind not in ("text", "record number") and word(cell) in unknown_words():
        return None
    return _KINDS[column.kind](cell.strip(), column)


def _refused(cell: str, what: str, remedy: str) -> CellError:
    return CellError(f'"{printable(cell)}" is not {what}', remedy)


def _word(cell: str, column: Column) -> str | None:
    known = words_of(column.id)
    shown = _SHOWN_ANSWERS if column.kind == "answer" else known.allowed
    if (meaning := known.meanings.get(word(cell))) is None:
        instead = f"write {', '.join(shown)}{'' if column.needed else ', or nothing'}"
        raise _refused(cell, "understood", f"{instead}; one row for each eye" if column.kind == "side" else instead)
    return None if meaning == "unknown" else meaning


def _words(cell: str, column: Column) -> list[str]:
    found = [_word(entry, column) for entry in re.split(r"[;,\n]", cell) if entry.strip()]
    return [entry for entry in dict.fromkeys(found) if entry is not None]


def _text(cell: str, _: Column) -> str | None:
    """The text on one line, or nothing. "NA" may be initials: only whole words say that something is not known."""
    text = re.sub(r"[ ]*[\r\n\t]+\s*", " ", cell)
    if text.startswith(FORMULA_STARTS) and not _SIGNED_DIGITS.fullmatch(text) and len(text) > 1:
        raise _refused(text, "text: it begins as a formula does", "begin with a letter or a digit")
    if any(unicodedata.category(sign) in ("Cc", "Cs", "Co", "Cn") for sign in text):
        raise _refused(text, "text that can be printed", "type it again")
    nothing = not any(sign.isalnum() for sign in text) or word(text) in ("unknown", "not known", "not recorded")
    return None if nothing else text


def _texts(cell: str, column: Column) -> list[str]:
    if word(cell) in words_of_none():
        return []
    found = (_text(entry.strip(), column) for entry in _SEPARATOR.split(cell) if entry.strip())
    return [entry for entry in found if entry is not None]


def words_of_none() -> frozenset[str]:
    """Plain words that say that there are none."""
    return frozenset(word(text) for text in list_rules().words["allergies"]["none"]) | {"none"}


def _record_number(cell: str, column: Column) -> str | None:
    return None if (text := _text(cell, column)) is None else ascii_digits(text)


def _language(cell: str, column: Column) -> str:
    known = words_of(column.id).meanings.get(word(cell))
    if known is None and not _TAG.fullmatch(cell):
        raise _refused(cell, "a language", "write Bengali, Hindi, English, or a tag such as bn")
    return known or cell


def _number(cell: str, column: Column) -> float:
    found = _NUMBER.fullmatch(ascii_digits(cell).replace("\u2212", "-"))
    if not found or plain(found[2]) not in ("", *map(plain, list_rules().units.get(column.unit, ()))):
        unit = f" in {column.unit}" if column.unit else ""
        raise _refused(cell, f"a number{unit}", "write digits, such as 23.5 or 23,5")
    return float(found[1].replace(",", "."))


def _integer(cell: str, column: Column) -> int:
    value = _number(cell, column)
    if not value.is_integer() or "," in cell:
        raise _refused(cell, "a whole number", "write digits without a point or comma")
    return int(value)


def _age(cell: str, _: Column) -> int:
    found = _NUMBER.fullmatch(ascii_digits(cell))
    if not found or plain(found[2]) not in ("", *map(plain, list_rules().units["years"])):
        raise _refused(cell, "an age", "write whole years, such as 67")
    if not (years := float(found[1].replace(",", "."))).is_integer():
        raise _refused(cell, "an age in whole years", "write whole years, such as 67")
    return int(years)


def _date(cell: str, _: Column) -> str:
    try:
        return date_of(ascii_digits(cell), short_years=True).isoformat()
    except ValueError as failure:
        raise _refused(cell, "a date", "write 2027-02-24, or 24/02/2027 with the day first") from failure


def _birth_date(cell: str, _: Column) -> str:
    try:
        return date_of(ascii_digits(cell), short_years=False).isoformat()
    except ValueError as failure:
        remedy = "write 1961-04-12, or 12/04/1961 with the day first and four digits of the year"
        raise _refused(cell, "a birth date", remedy) from failure


def _time(cell: str, _: Column) -> str:
    try:
        return time_of(ascii_digits(cell)).isoformat()
    except ValueError as failure:
        raise _refused(cell, "a time", "write 08:45 or 2:30 pm") from failure


def _acuity(cell: str, column: Column) -> str:
    written = words_of(column.id).meanings.get(word(cell)) or ascii_digits(cell)
    try:
        return parse_acuity(written).written
    except ValueError as failure:
        remedy = "write 6/60, 20/200, decimal 0.1, 1.00 logMAR, CF, HM, PL or NPL"
        if is_date(written):
            remedy = f"a spreadsheet has made a date of it: make the column text, then {remedy}"
        raise _refused(cell, "an acuity", remedy) from failure


def _allergies(cell: str, column: Column) -> dict[str, Any]:
    """Allergies as "substance (reaction)" with semicolons between, the reaction after "severe:" or "not severe:"."""
    if word(cell) in words_of_none():
        return {"asked": "none"}
    entries = [entry.strip() for entry in _SEPARATOR.split(cell) if entry.strip()]
    if not entries or any(word(entry) in {*map(word, list_rules().answers.yes)} for entry in entries):
        raise _refused(cell, "an allergy", "write to what, such as penicillin (rash); or none; or nothing")
    return {"asked": "known", "known": [_allergy(entry, column) for entry in entries]}


def _allergy(entry: str, column: Column) -> dict[str, str]:
    if not (found := _ALLERGY.fullmatch(entry)) or not (substance := _text(found[1], column)):
        raise _refused(entry, "an allergy", "write the substance, and the reaction in brackets: penicillin (rash)")
    severe = {"severe": "yes", "not severe": "no"}.get(found[2] or "")
    told = {"substance": substance, "reaction": found[3] or None, "severe": severe}
    return {name: value for name, value in told.items() if value}


def _pressure(cell: str, _: Column) -> tuple[int, int]:
    if not (found := _PRESSURE.fullmatch(ascii_digits(cell))):
        raise _refused(cell, "a blood pressure", "write 132/82")
    return int(found[1]), int(found[2])


def _age_and_sex(cell: str, _: Column) -> tuple[int, str | None]:
    if not (found := _AGE_AND_SEX.fullmatch(ascii_digits(cell))):
        raise _refused(cell, "age and sex", "write 65/F")
    age, sex = columns()["patient.age_years"], columns()["patient.sex"]
    return _age((found[1] or found[2]).strip(), age), _word(found[3].strip(), sex)


_KINDS: dict[str, Callable[[str, Column], Any]] = {
    "acuity": _acuity,
    "age": _age,
    "age and sex": _age_and_sex,
    "allergies": _allergies,
    "answer": _word,
    "birth date": _birth_date,
    "blood pressure": _pressure,
    "date": _date,
    "integer": _integer,
    "language": _language,
    "number": _number,
    "record number": _record_number,
    "side": _word,
    "text": _text,
    "texts": _texts,
    "time": _time,
    "word": _word,
    "word list": _words,
}
