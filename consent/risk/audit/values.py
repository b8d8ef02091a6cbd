"""Reads one cell of an audit file: a word, a number or a date becomes a fact, or a reason in plain words."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

from consent.case import Answer
from consent.case.dates import date_of
from consent.case.plain import printable, word_key
from consent.risk.audit.columns import Mapped, audit_rules

_AGE = re.compile(r"(\d{1,3})(?:\.\d+)?\s*(?:y|yr|yrs|year|years)?\.?")
_LENGTH = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*(?:mm)?")


class OutsideModelError(ValueError):
    """A row that was read and that the model was not made on."""


def value_of(cell: str, mapped: Mapped) -> Any:
    """The fact in a cell: Answer, word, whole years, date, mm or text, by the kind of its column.

    A number, date or text that is not known is None; a word that is not known is "unknown". Raises ``ValueError``
    with what the cell says and what may be written instead.
    """
    return _KINDS[mapped.column.kind](cell, mapped)


def _meaning(cell: str, mapped: Mapped) -> str:
    key = word_key(cell)
    if key not in mapped.meanings:
        allowed = ("yes", "no") if mapped.column.kind == "answer" else tuple(mapped.column.words)
        words = ", ".join(word for word in allowed if word != "unknown")
        raise ValueError(f'"{printable(cell)}" is not understood; write {words}, or nothing')
    return mapped.meanings[key]


def _answer(cell: str, mapped: Mapped) -> Answer:
    """Yes or no as the cell says; under a heading that means the opposite a plain yes or no is turned round."""
    answer, plain = Answer(_meaning(cell, mapped)), audit_rules().answers
    if mapped.opposite and word_key(cell) in (*plain.yes, *plain.no):
        return Answer.NO if answer is Answer.YES else Answer.YES
    return answer


def _operation(cell: str, mapped: Mapped) -> str:
    """The operation, looked for inside the words of the cell: the model was made on one operation only."""
    (wanted, words), (_, others) = mapped.column.words.items()
    key = word_key(cell)
    if _is_unknown(cell, mapped):
        raise ValueError("the operation is not known; write phaco, or what it was")
    if not any(word in key for word in words) or any(word in key for word in others):
        raise OutsideModelError(f'"{printable(cell)}" is outside the model, which was made on {wanted}')
    return wanted


def _age(cell: str, mapped: Mapped) -> int | None:
    if _is_unknown(cell, mapped):
        return None
    if not (found := _AGE.fullmatch(cell.strip().casefold())):
        raise ValueError(f'"{printable(cell)}" is not an age; write whole years, such as 67')
    return int(found.group(1))


def _length(cell: str, mapped: Mapped) -> float | None:
    if _is_unknown(cell, mapped):
        return None
    if not (found := _LENGTH.fullmatch(cell.strip().casefold())):
        raise ValueError(f'"{printable(cell)}" is not a length; write mm, such as 23.5')
    return float(found.group(1).replace(",", "."))


def _date(cell: str, mapped: Mapped) -> dt.date | None:
    if _is_unknown(cell, mapped):
        return None
    try:
        # Two digits of a year tell the century of an operation, never that of a birth.
        return date_of(cell, short_years=mapped.column.id == "operation_date")
    except ValueError as failure:
        wrong = f'"{printable(cell)}" is not a date; write 2025-03-31, or 31/03/2025 with the day first'
        raise ValueError(wrong) from failure


def _text(cell: str, _: Mapped) -> str:
    """The text, or nothing. "NK" and "NA" may be initials: only whole words say that a surgeon is not known."""
    key = word_key(cell)
    is_empty = not any(letter.isalnum() for letter in key) or key in ("unknown", "not known", "not recorded")
    return "" if is_empty else " ".join(cell.split())


def _is_unknown(cell: str, mapped: Mapped) -> bool:
    return mapped.meanings.get(word_key(cell)) == "unknown"


_KINDS: dict[str, Callable[[str, Mapped], Any]] = {
    "answer": _answer,
    "words": _meaning,
    "operation": _operation,
    "age": _age,
    "millimetres": _length,
    "date": _date,
    "text": _text,
}
