"""Reads a table, CSV or workbook, into rows of plain text with the numbers a spreadsheet gives them."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Protocol

from consent.errors import CaseError, Problem

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_TEXTS = (".csv", ".tsv", ".txt")
_WORKBOOKS = (".xlsx", ".xlsm", ".ods")
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


class Limits(Protocol):
    """What a file may hold; ``unpacked_bytes`` of a workbook, which is a packed file."""

    @property
    def rows(self) -> int: ...
    @property
    def bytes(self) -> int: ...
    @property
    def unpacked_bytes(self) -> int: ...
    @property
    def columns(self) -> int: ...


@dataclass(frozen=True)
class Row:
    """One row: its number as a spreadsheet shows it (headings are row 1), and its cells as text."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A file as read: headings, rows that hold anything, and what the reader should know about how it was read."""

    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class TableRules:
    """How a table is read. ``known``: how many of the headings given are known.

    ``heading_rows``: how many rows that hold anything may stand above the headings, and one. ``old_text``: the
    encoding, and its name, of a text that is not UTF-8. ``too_large``, ``too_many``: what to do then.
    """

    limits: Limits
    known: Callable[[Sequence[str]], int]
    too_large: str
    too_many: str
    heading_rows: int = 1
    utf16: bool = False
    old_text: tuple[str, str] = ("latin-1", "Latin-1 (Windows)")


def read_table(path: Path, rules: TableRules) -> Table:
    """The table in a CSV (UTF-8 with or without byte order mark, or an older encoding) or XLSX or ODS file.

    Raises ``CaseError`` for a file that cannot be read, is too large, or has no headings or no rows.
    """
    content = _content(path, rules)
    kind = path.suffix.lower()
    if kind in _WORKBOOKS:
        from consent.case.workbook import read_workbook

        records, remarks = read_workbook(content, path.name, rules.limits)
    elif kind in _TEXTS:
        records, remarks = _read_text(content, path.name, rules)
    else:
        allowed = ", ".join((*_TEXTS, *_WORKBOOKS))
        raise CaseError(Problem(f'files of the kind "{kind}" are not read', path.name, remedy=f"give {allowed}"))
    return _table(records, remarks, path.name, rules)


def without_guard(cell: str) -> str:
    """A cell without the apostrophe that keeps a spreadsheet from working it out."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS) else cell


def _content(path: Path, rules: TableRules) -> bytes:
    most = rules.limits.bytes
    try:
        size = path.stat().st_size
        content = b"" if size > most else path.read_bytes()
    except (OSError, ValueError) as failure:
        reason = getattr(failure, "strerror", None) or "cannot be read"
        raise CaseError(Problem(f"the file cannot be read ({reason})", str(path), remedy="check the name")) from failure
    if size > most or len(content) > most:
        what = f"the file is larger than {most // 1_000_000} megabytes"
        raise CaseError(Problem(what, str(path), remedy=rules.too_large))
    return content


def _table(records: list[tuple[str, ...]], remarks: tuple[str, ...], where: str, rules: TableRules) -> Table:
    numbered = enumerate((tuple(map(without_guard, cells)) for cells in records), start=1)
    filled = [Row(number, cells) for number, cells in numbered if any(map(str.strip, cells))]
    first = _heading_place([row.cells for row in filled[: rules.heading_rows]], rules)
    rows = filled[first + 1 :]
    if not rows:
        raise CaseError(Problem("there are no headings with rows under them", where, remedy="one row for each case"))
    if len(rows) > rules.limits.rows:
        raise CaseError(Problem(f"there are more than {rules.limits.rows} rows", where, remedy=rules.too_many))
    if above := ", ".join(str(row.number) for row in filled[:first]):
        remarks = (*remarks, f"above the headings and not read: row {above}")
    return Table(filled[first].cells, tuple(rows), remarks)


def _heading_place(candidates: Sequence[Sequence[str]], rules: TableRules) -> int:
    """Which of the first rows has most headings that are known; the first of them where none has."""
    return max(range(len(candidates)), key=lambda place: rules.known(candidates[place]), default=0)


def _read_text(content: bytes, where: str, rules: TableRules) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
    text, remarks = _decoded(content, where, rules)
    delimiter = _delimiter(text, where, rules)
    records = list(_records(text, delimiter, where))
    remarks.append(f"columns are separated by {DELIMITERS[delimiter]}")
    if doubtful := [str(n) for n, cells in enumerate(records, start=1) if _runs_on(cells, delimiter)]:
        remarks.append(f"a cell runs over several lines, check its quotation marks: row {', '.join(doubtful[:5])}")
    return records, tuple(remarks)


def _decoded(content: bytes, where: str, rules: TableRules) -> tuple[str, list[str]]:
    """The text of ``content``, and a remark where its encoding had to be guessed."""
    is_wide = rules.utf16 and content.startswith(_UTF16_MARKS)
    if content.startswith(b"PK") or (b"\0" in content and not is_wide):
        raise _no_text(where)
    encoding, name = rules.old_text
    try:
        text = content.decode("utf-16" if is_wide else "utf-8-sig")
    except UnicodeDecodeError as failure:
        if is_wide:
            raise _no_text(where) from failure
        text = content.decode(encoding, errors="replace")
        return text, [f"the file is not UTF-8; it was read as {name}: check names with accents"]
    if "\0" in text:
        raise _no_text(where)
    return text, []


def _no_text(where: str) -> CaseError:
    return CaseError(Problem("this is not a text file", where, remedy="save it as CSV in UTF-8, or as XLSX"))


def _delimiter(text: str, where: str, rules: TableRules) -> str:
    """The separator with which one of the first lines has most headings known here, then most columns."""

    def known(delimiter: str) -> tuple[int, int]:
        filled = (cells for cells in _records(text, delimiter, where) if any(cells))
        try:
            lines = list(islice(filled, rules.heading_rows))
        except CaseError:  # a quotation mark closed before another separator
            return (-1, 0)
        return max(((rules.known(cells), len(cells)) for cells in lines), default=(0, 0))

    return max(DELIMITERS, key=known)


def _records(text: str, delimiter: str, where: str) -> Iterator[tuple[str, ...]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    width = 0
    try:
        for cells in reader:
            width = width or len(cells)
            if any(_holds_a_row(cell, delimiter, width) for cell in cells):
                raise csv.Error("a quotation mark is opened and closed only some rows later")
            yield tuple(cells)
    except csv.Error as failure:
        remedy = "mend the quotation marks of that line or the lines above it, or save the file as XLSX"
        raise CaseError(Problem(f"line {reader.line_num}: {failure}", where, remedy=remedy)) from failure


def _holds_a_row(cell: str, delimiter: str, width: int) -> bool:
    """Whether a cell has swallowed a whole row, because a quotation mark opened before it and closed after it."""
    return "\n" in cell and width > 1 and any(line.count(delimiter) >= width - 1 for line in cell.split("\n")[1:-1])


def _runs_on(cells: tuple[str, ...], delimiter: str) -> bool:
    """Whether a cell may have swallowed the ends of two rows: a line break, and separators enough for a row."""
    return any("\n" in cell and cell.count(delimiter) >= len(cells) - 1 for cell in cells)
