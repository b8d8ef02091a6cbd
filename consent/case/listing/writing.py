"""Writes operating lists as CSV: the empty template, cases, and rows set aside with their reasons."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from consent.case.listing.headings import is_ours
from consent.case.listing.keys import found_at
from consent.case.listing.listing import Listing, in_words
from consent.case.listing.rules import Column, columns, list_rules
from consent.case.model import Allergies, Allergy, Case
from consent.case.set_aside import guarded_csv, rows_csv
from consent.errors import CaseError, Problem

_UNSAID = ("unknown", "not asked")


def template_csv() -> str:
    """The headings of an operating list, the needed ones first; CSV of RFC 4180."""
    return guarded_csv([[column.heading for column in _template()]])


def write_template(path: Path) -> None:
    """Write the template to ``path`` as UTF-8 with the byte order mark that spreadsheet programs look for."""
    try:
        path.write_text(template_csv(), encoding="utf-8-sig", newline="")
    except OSError as failure:
        reason = failure.strerror or "cannot be written"
        raise CaseError(
            Problem(f"the template was not written ({reason})", str(path), remedy="check the name")
        ) from failure


def set_aside_csv(listing: Listing) -> str:
    """The rows set aside as in the file, with their number there and why; CSV of RFC 4180.

    A cell that a spreadsheet would work out as a formula gets an apostrophe in front, which ``read_list`` takes
    away again.
    """
    ours = list_rules().not_read
    rows = ((entry.row, [in_words(problem) for problem in entry.problems]) for entry in listing.set_aside)
    return rows_csv(listing.headings, rows, (ours.number, ours.reasons), is_ours)


def list_csv(cases: Sequence[Case]) -> str:
    """``cases`` as an operating list, with every fact that a list can hold.

    Raises ``CaseError`` where an entry of a list holds the semicolon that separates entries.
    """
    lines = [[_cell(case, column) for column in _template()] for case in cases]
    return guarded_csv([[column.heading for column in _template()], *lines])


def _template() -> tuple[Column, ...]:
    return tuple(column for column in columns().values() if not column.fills)


def _cell(case: Case, column: Column) -> str:
    value = found_at(case, column.id)
    if value is None or value in _UNSAID:
        return ""
    if isinstance(value, Allergies):
        return _allergies(value)
    if isinstance(value, tuple):
        return "; ".join(_entry(str(entry)) for entry in value)
    return _number(value) if isinstance(value, float) else str(value)


def _number(value: float) -> str:
    return str(int(value)) if value.is_integer() else repr(value)


def _allergies(allergies: Allergies) -> str:
    if not allergies.known:
        return "none" if allergies.asked == "none" else ""
    return "; ".join(_entry(_allergy(entry)) for entry in allergies.known)


def _allergy(allergy: Allergy) -> str:
    severe = {"yes": "severe: ", "no": "not severe: "}.get(allergy.severe, "")
    return f"{allergy.substance} ({severe}{allergy.reaction})"


def _entry(text: str) -> str:
    if ";" in text or "\n" in text:
        what = "an entry of a list holds a semicolon, which separates entries on an operating list"
        raise CaseError(Problem(what, "the case", remedy="write it with a comma"))
    return text
