"""Finds out which columns a list has, which it lacks, and which are not read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from consent.case.listing.listing import ListOptions
from consent.case.listing.rules import Column, columns, heading_ids, list_rules, plain
from consent.case.plain import printable
from consent.errors import CaseError, Problem

_FROM_OPTIONS = {
    "plan.surgeon.name": "surgeon",
    "plan.date": "date",
    "patient.language": "language",
    "plan.operation": "operation",
}
_LONGEST = 200
"""Letters of a heading that are looked at."""
_INSTEAD = {"eye.side": ("plan.side",), "patient.age_years": ("patient.birth_date",)}


@dataclass(frozen=True)
class Mapped:
    """A column of the file that is known: where it stands, and its heading as written."""

    column: Column
    place: int
    heading: str


def mapped(headings: Sequence[str]) -> tuple[Mapped, ...]:
    """The columns of a file that are known, in the file's order."""
    found = ((place, text, heading_ids().get(plain(text[:_LONGEST]))) for place, text in enumerate(headings))
    return tuple(Mapped(columns()[name], place, printable(text)) for place, text, name in found if name)


def known(headings: Sequence[str]) -> int:
    """How many different columns are known among ``headings``."""
    return len({entry.column.id for entry in mapped(headings)})


def is_ours(heading: str) -> bool:
    """Whether this program wrote the column into a file of rows set aside."""
    ours = list_rules().not_read
    return plain(heading[:_LONGEST]) in (plain(ours.number), plain(ours.reasons))


def not_read(headings: Sequence[str]) -> tuple[str, ...]:
    """Headings of columns that are not known and that nobody would expect to be."""
    passed = set(map(plain, list_rules().not_read.others))
    keys = {text: plain(text[:_LONGEST]) for text in headings if text.strip() and not is_ours(text)}
    return tuple(printable(text) for text, key in keys.items() if key not in heading_ids() and key not in passed)


def check_columns(found: Sequence[Mapped], options: ListOptions, where: str) -> None:
    """Raise ``CaseError`` for each column without which no row can become a case."""
    told = {key for entry in found for key in entry.column.keys}
    told |= {key for key, name in _FROM_OPTIONS.items() if getattr(options, name)}
    needed = [name for name, column in columns().items() if column.needed or name == "patient.age_years"]
    missing = [name for name in needed if not told & {name, *_INSTEAD.get(name, ())}]
    if missing:
        raise CaseError(_lacking(name, where) for name in missing)


def _lacking(name: str, where: str) -> Problem:
    heading, also = columns()[name].heading, list_rules().also.get(name, ())
    instead = [columns()[other].heading for other in _INSTEAD.get(name, ())]
    remedy = f"call it one of: {', '.join((heading, *instead, *also[:6]))}"
    if name in _FROM_OPTIONS:
        remedy = f"{remedy}; or say for the whole list which {_FROM_OPTIONS[name]} it is"
    return Problem(f"no column says: {heading}", where, "no row can become a case without it", remedy)
