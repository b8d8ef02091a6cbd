"""Reads one cell of an audit file: a word, a number or a date becomes a fact, or a reason in plain words."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from typing import Any

from consent.case import Answer
from consent.risk.audit.columns import Mapped, printable, word_key

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEAR_FIRST = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_DAY_FIRST = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4})")
_MONTH_NAMED = re.compile(r"(\d{1,2})[ \-]([a-z]{3})[a-z]*[ \-,]+(\d{4})")
_CLOCK = re.compile(r"[ t]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?$")
_AGE = re.compile(r"(\d{1,3})(?:\.\d+)?\s*(?:y|yr|yrs|year|years)?\.?")
_LENGTH = re.compile(r"(\d{1,3}(?:[.,]\d+)?)\s*(?:mm)?")


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
    answer = Answer(_meaning(cell, mapped))
    if not mapped.opposite or answer is Answer.UNKNOWN:
        return answer
    return Answer.NO if answer is Answer.YES else Answer.YES


def _operation(cell: str, mapped: Mapped) -> str:
    """The operation, looked for inside the words of the cell: the model was made on one operation only."""
    (wanted, words), (_, others) = mapped.column.words.items()
    key = word_key(cell)
    if not any(word in key for word in words) or any(word in key for word in others):
        raise ValueError(f'"{printable(cell)}" is outside the model, which was made on {wanted}')
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
    text = _CLOCK.sub("", cell.strip().casefold())
    try:
        year, month, day = _parts(text)
        return dt.date(year, month, day)
    except ValueError as failure:
        wrong = f'"{printable(cell)}" is not a date; write 2025-03-31, or 31/03/2025 with the day first'
        raise ValueError(wrong) from failure


def _parts(text: str) -> tuple[int, int, int]:
    """Year, month and day; where only digits tell, the day stands before the month."""
    if found := _YEAR_FIRST.fullmatch(text):
        return int(found.group(1)), int(found.group(2)), int(found.group(3))
    if found := _DAY_FIRST.fullmatch(text):
        return int(found.group(3)), int(found.group(2)), int(found.group(1))
    if found := _MONTH_NAMED.fullmatch(text):
        return int(found.group(3)), _MONTHS.index(found.group(2)) + 1, int(found.group(1))
    raise ValueError(text)


def _text(cell: str, mapped: Mapped) -> str:
    return "" if _is_unknown(cell, mapped) else " ".join(cell.split())


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
