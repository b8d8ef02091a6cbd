"""Turns the cells of one row into facts by key of the case, and finds where two of its cells contradict each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from consent.case.dates import could_be_month_first
from consent.case.listing.cells import value_of
from consent.case.listing.headings import Mapped
from consent.case.listing.listing import ListOptions
from consent.case.listing.refusal import CellError
from consent.case.listing.rules import columns
from consent.case.plain import ascii_digits, printable
from consent.case.table import Row
from consent.errors import Problem

_EYES = ("eye.side", "plan.side")
_FOR_A_LENS = {"plan.lens.design": "lens_design", "plan.lens.material": "lens_material"}
_FOR_THE_LIST = {
    "plan.date": "date",
    "patient.language": "language",
    "plan.operation": "operation",
    "plan.place": "place",
    "plan.regimen": "regimen",
}
_SURGEON = "plan.surgeon.name"
_FOR_THE_SURGEON = {"plan.surgeon.registration": "surgeon_registration", "plan.surgeon.grade": "surgeon_grade"}


@dataclass
class Facts:
    """What a row says: values by key, under which heading, what is wrong with it, and what should be looked at.

    ``wrong``: keys that a problem stands for; ``month_first``: a date could be read with the month first.
    """

    row: Row
    values: dict[str, Any] = field(default_factory=dict)
    headings: dict[str, str] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    wrong: set[str] = field(default_factory=set)
    flags: list[str] = field(default_factory=list)
    month_first: bool = False

    def refuse(self, keys: Sequence[str], what: str, remedy: str, why: str = "", heading: str = "") -> None:
        """Add what is wrong with ``keys``."""
        shown = heading or self.heading(keys[0])
        where = f'row {self.row.number}, column "{shown}"' if shown else f"row {self.row.number}"
        self.problems.append(Problem(what, where, why, remedy))
        self.wrong.update(keys)

    def heading(self, key: str) -> str:
        """The heading as written, else as the template has it."""
        return self.headings.get(key) or (columns()[key].heading if key in columns() else "")


def facts_of(row: Row, known: Sequence[Mapped], width: int, options: ListOptions) -> Facts:
    """What ``row`` says in the ``known`` columns of a table of ``width``, completed by ``options`` and by itself."""
    facts = Facts(row)
    for entry in known:
        _read_cell(facts, entry)
    if any(cell.strip() for cell in row.cells[width:]):
        facts.refuse((), "the row has more cells than there are headings", "look for a separator too many", heading=" ")
    _same_eye(facts)
    _complete(facts, options)
    _missing(facts)
    return facts


def _read_cell(facts: Facts, entry: Mapped) -> None:
    cell = facts.row.cells[entry.place] if entry.place < len(facts.row.cells) else ""
    try:
        value = value_of(cell, entry.column)
    except CellError as failure:
        facts.headings |= dict.fromkeys(entry.column.keys, entry.heading)
        facts.refuse(entry.column.keys, failure.what, failure.remedy, heading=entry.heading)
        return
    for key, said in _said(entry, value):
        _add(facts, key, said, entry.heading)
    if entry.column.kind in ("date", "birth date"):
        facts.month_first |= could_be_month_first(ascii_digits(cell))
    if entry.column.kind == "texts" and "," in cell and ";" not in cell:
        facts.flags.append(f'column "{entry.heading}": "{printable(cell)}" was read as one; use ; between several')


def _said(entry: Mapped, value: Any) -> Iterator[tuple[str, Any]]:
    if value is not None:
        values = value if entry.column.fills else (value,)
        yield from ((key, said) for key, said in zip(entry.column.keys, values, strict=True) if said is not None)


def _add(facts: Facts, key: str, value: Any, heading: str) -> None:
    if key in facts.values and facts.values[key] != value:
        _contradict(facts, (key,), (facts.headings[key], facts.values[key]), (heading, value))
    else:
        facts.values[key] = value
        facts.headings.setdefault(key, heading)


def _contradict(facts: Facts, keys: tuple[str, ...], first: tuple[str, Any], second: tuple[str, Any]) -> None:
    what = f'"{first[0]}" says {printable(str(first[1]))} and "{second[0]}" says {printable(str(second[1]))}'
    facts.refuse(keys, what, "find out which is true and correct the other", heading=second[0])


def _same_eye(facts: Facts) -> None:
    """The eye is said for the eye and for the plan: twice on some lists, once on most."""
    said = [key for key in _EYES if key in facts.values]
    if len(said) == len(_EYES) and facts.values[_EYES[0]] != facts.values[_EYES[1]]:
        _contradict(facts, _EYES, *((facts.headings[key], facts.values[key]) for key in _EYES))
    elif len(said) == 1 and not facts.wrong & set(_EYES):
        facts.values |= dict.fromkeys(_EYES, facts.values[said[0]])
    if facts.wrong & set(_EYES):
        facts.wrong.update(_EYES)


def _complete(facts: Facts, options: ListOptions) -> None:
    """What holds for the whole list, where the row does not say; nothing of a lens where the row names none."""
    if facts.values.get(_SURGEON) in (None, options.surgeon) and options.surgeon:
        _default(facts, _SURGEON, options.surgeon)
        for key, name in _FOR_THE_SURGEON.items():
            _default(facts, key, getattr(options, name))
    for key, name in _FOR_THE_LIST.items():
        _default(facts, key, getattr(options, name))
    if any(key.startswith("plan.lens.") for key in facts.values):
        for key, name in _FOR_A_LENS.items():
            _default(facts, key, getattr(options, name))


def _default(facts: Facts, key: str, value: Any) -> None:
    if value is not None:
        facts.values.setdefault(key, value)


def _missing(facts: Facts) -> None:
    for key, column in columns().items():
        if column.needed and key not in facts.values and key not in facts.wrong:
            facts.refuse((key,), "nothing is written here", "write it", "no case can be made without it")
    told = {"patient.age_years", "patient.birth_date"}
    if not told & (facts.values.keys() | facts.wrong):
        facts.refuse(("patient.age_years",), "neither age nor birth date is written", "write one of them")
