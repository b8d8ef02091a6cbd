"""Reads one cell of an operating list: a word, a number, a date or a text, or what is wrong with it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any

from consent.case.acuity import parse_acuity
from consent.case.dates import is_date
from consent.case.listing.figures import age, birth_date, date, integer, number, pressure, time
from consent.case.listing.refusal import CellError, refused
from consent.case.listing.rules import Column, columns, list_rules, unknown_words, word, words_of
from consent.case.plain import ascii_digits
from consent.case.table import FORMULA_STARTS

_AGE_AND_SEX = re.compile(r"(?:([^/,]+)[/,]|(\d{1,3}))\s*([^/,]+)")
_ALLERGY = re.compile(r"([^()]+?)\s*(?:\((?:(severe|not severe):)?\s*([^()]*?)\s*\))?")
_TAG = re.compile(r"[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*")
_SHOWN_ANSWERS = ("yes", "no")
_SIGNED_DIGITS = re.compile(r"[+-][\d ().-]+")
"""Telephone numbers may begin with a sign."""
_SEPARATOR = re.compile(r"[;\n]")


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


def _word(cell: str, column: Column) -> str | None:
    known = words_of(column.id)
    shown = _SHOWN_ANSWERS if column.kind == "answer" else known.allowed
    if (meaning := known.meanings.get(word(cell))) is None:
        instead = f"write {', '.join(shown)}{'' if column.needed else ', or nothing'}"
        raise refused(cell, "understood", f"{instead}; one row for each eye" if column.kind == "side" else instead)
    return None if meaning == "unknown" else meaning


def _words(cell: str, column: Column) -> list[str]:
    found = [_word(entry, column) for entry in re.split(r"[;,\n]", cell) if entry.strip()]
    return [entry for entry in dict.fromkeys(found) if entry is not None]


def _text(cell: str, _: Column) -> str | None:
    """The text on one line, or nothing. "NA" may be initials: only whole words say that something is not known."""
    text = re.sub(r"[ ]*[\r\n\t]+\s*", " ", cell)
    if text.startswith(FORMULA_STARTS) and not _SIGNED_DIGITS.fullmatch(text) and len(text) > 1:
        raise refused(text, "text: it begins as a formula does", "begin with a letter or a digit")
    if any(unicodedata.category(sign) in ("Cc", "Cs", "Co", "Cn") for sign in text):
        raise refused(text, "text that can be printed", "type it again")
    nothing = not any(sign.isalnum() for sign in text) or word(text) in ("unknown", "not known", "not recorded")
    return None if nothing else text


def _texts(cell: str, column: Column) -> list[str]:
    if word(cell) in words_of_none():
        return []
    found = (_text(entry, column) for entry in _entries(cell))
    return [entry for entry in found if entry is not None]


def _entries(cell: str) -> list[str]:
    """The entries between semicolons. "No known allergy" is not the name of one."""
    found = [entry.strip() for entry in _SEPARATOR.split(cell) if entry.strip()]
    for entry in found:
        if word(entry).split(" ")[0] in ("no", "not", "nil", "none", "nkda"):
            raise refused(entry, "an entry of a list", "write none, or what there is, with ; between several")
    return found


def words_of_none() -> frozenset[str]:
    """Plain words that say that there are none."""
    return frozenset(word(text) for text in list_rules().words["allergies"]["none"]) | {"none"}


def _record_number(cell: str, column: Column) -> str | None:
    return None if (text := _text(cell, column)) is None else ascii_digits(text)


def _language(cell: str, column: Column) -> str:
    known = words_of(column.id).meanings.get(word(cell))
    if known is None and not _TAG.fullmatch(cell):
        raise refused(cell, "a language", "write Bengali, Hindi, English, or a tag such as bn")
    return known or cell


def _acuity(cell: str, column: Column) -> str:
    written = words_of(column.id).meanings.get(word(cell)) or ascii_digits(cell)
    try:
        return parse_acuity(written).written
    except ValueError as failure:
        remedy = "write 6/60, 20/200, decimal 0.1, 1.00 logMAR, CF, HM, PL or NPL"
        if is_date(written):
            remedy = f"a spreadsheet has made a date of it: make the column text, then {remedy}"
        raise refused(cell, "an acuity", remedy) from failure


def _allergies(cell: str, column: Column) -> dict[str, Any]:
    """Allergies as "substance (reaction)" with semicolons between, the reaction after "severe:" or "not severe:"."""
    if word(cell) in words_of_none():
        return {"asked": "none"}
    entries = _entries(cell)
    if not entries or any(word(entry) in {*map(word, list_rules().answers.yes)} for entry in entries):
        raise refused(cell, "an allergy", "write to what, such as penicillin (rash); or none; or nothing")
    return {"asked": "known", "known": [_allergy(entry, column) for entry in entries]}


def _allergy(entry: str, column: Column) -> dict[str, str]:
    if not (found := _ALLERGY.fullmatch(entry)) or not (substance := _text(found[1], column)):
        raise refused(entry, "an allergy", "write the substance, and the reaction in brackets: penicillin (rash)")
    severe = {"severe": "yes", "not severe": "no"}.get(found[2] or "")
    told = {"substance": substance, "reaction": found[3] or None, "severe": severe}
    return {name: value for name, value in told.items() if value}


def _age_and_sex(cell: str, _: Column) -> tuple[int, str | None]:
    if not (found := _AGE_AND_SEX.fullmatch(ascii_digits(cell))):
        raise refused(cell, "age and sex", "write 65/F")
    years, sex = columns()["patient.age_years"], columns()["patient.sex"]
    return age((found[1] or found[2]).strip(), years), _word(found[3].strip(), sex)


_KINDS: dict[str, Callable[[str, Column], Any]] = {
    "acuity": _acuity,
    "age": age,
    "age and sex": _age_and_sex,
    "allergies": _allergies,
    "answer": _word,
    "birth date": birth_date,
    "blood pressure": pressure,
    "date": date,
    "integer": integer,
    "language": _language,
    "number": number,
    "record number": _record_number,
    "side": _word,
    "text": _text,
    "texts": _texts,
    "time": time,
    "word": _word,
    "word list": _words,
}
