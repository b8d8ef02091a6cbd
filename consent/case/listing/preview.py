"""An operating list row by row before anything is made of it: who, which eye, what is wrong, what to look at."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case.listing.listing import ListedCase, Listing, SetAsideRow, in_words
from consent.case.plain import printable
from consent.errors import Problem


@dataclass(frozen=True)
class PreviewRow:
    """One row. ``side`` is "right", "left" or nothing; ``unknown``: how many facts a list can hold are not known."""

    number: int
    name: str
    record_number: str
    side: str
    is_good: bool
    problems: tuple[Problem, ...]
    flags: tuple[str, ...]
    unknown: int


@dataclass(frozen=True)
class Preview:
    """The rows in the order of the list, and how it was read."""

    rows: tuple[PreviewRow, ...]
    remarks: tuple[str, ...]


def preview(listing: Listing) -> Preview:
    """What ``listing`` holds, row by row."""
    return Preview(
        tuple(_bad(row) if isinstance(row, SetAsideRow) else _good(row) for row in listing.rows), listing.remarks
    )


def preview_lines(listing: Listing) -> tuple[str, ...]:
    """The same as lines of text, safe for a terminal: how it was read, each row, and how many are good."""
    seen = preview(listing)
    lines = [*seen.remarks, *(line for row in seen.rows for line in _lines(row))]
    good = sum(row.is_good for row in seen.rows)
    return (*lines, f"{good} rows can be used, {len(seen.rows) - good} are set aside")


def _good(row: ListedCase) -> PreviewRow:
    patient, side = row.case.patient, row.case.eye.side
    return PreviewRow(row.row.number, patient.name, patient.record_number, side, True, (), row.flags, row.unknown)


def _bad(row: SetAsideRow) -> PreviewRow:
    return PreviewRow(row.row.number, row.name, row.record_number, row.side, False, row.problems, row.flags, 0)


def _lines(row: PreviewRow) -> list[str]:
    who = f"{printable(row.name) or 'no name'}, {printable(row.record_number) or 'no record number'}"
    eye = f"{row.side.upper()} eye" if row.side else "eye not known"
    rest = f"{row.unknown} facts not known" if row.is_good else "SET ASIDE"
    wrong = [f"    {in_words(problem)}" for problem in row.problems]
    return [f"row {row.number}: {who}, {eye}: {rest}", *wrong, *(f"    look: {flag}" for flag in row.flags)]
