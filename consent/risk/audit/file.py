"""Reads the file of an audit, CSV or workbook, into rows of plain text with the numbers a spreadsheet gives them."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from consent.errors import CaseError, Problem
from consent.risk.audit.columns import audit_rules, recognised

DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_TEXTS = (".csv", ".tsv", ".txt")
_WORKBOOKS = (".xlsx", ".xlsm", ".ods")


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


def read_table(path: Path) -> Table:
    """The table in a CSV (UTF-8 with or without byte order mark, else Latin-1) or XLSX or ODS file.

    Raises ``CaseError`` for a file that cannot be read, is too large, or has no headings or no rows.
    """
    content = _content(path)
    kind = path.suffix.lower()
    if kind in _WORKBOOKS:
        from consent.risk.audit.workbook import read_workbook

        records, remarks = read_workbook(content, path.name)
    elif kind in _TEXTS:
        records, remarks = _read_text(content, path.name)
    else:
        allowed = ", ".join((*_TEXTS, *_WORKBOOKS))
        raise CaseError(Problem(f'files of the kind "{kind}" are not read', path.name, remedy=f"give {allowed}"))
    return _table(records, remarks, path.name)


def without_guard(cell: str) -> str:
    """A cell without the apostrophe that keeps a spreadsheet from working it out."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS) else cell


def _content(path: Path) -> bytes:
    most = audit_rules().limits.bytes
    try:
        size = path.stat().st_size
        content = b"" if size > most else path.read_bytes()
    except (OSError, ValueError) as failure:
        reason = getattr(failure, "strerror", None) or "cannot be read"
        raise CaseError(Problem(f"the file cannot be read ({reason})", str(path), remedy="check the name")) from failure
    if size > most or len(content) > most:
        what = f"the file is larger than {most // 1_000_000} megabytes"
        raise CaseError(Problem(what, str(path), remedy="leave out columns that are not listed, or split the years"))
    return content


def _table(records: list[tuple[str, ...]], remarks: tuple[str, ...], where: str) -> Table:
    most = audit_rules().limits.rows
    numbered = enumerate((tuple(map(without_guard, cells)) for cells in records), start=1)
    filled = [Row(number, cells) for number, cells in numbered if any(map(str.strip, cells))]
    if len(filled) < 2:
        raise CaseError(Problem("there are no headings with rows under them", where, remedy="one row for each case"))
    if len(filled) - 1 > most:
        raise CaseError(Problem(f"there are more than {most} rows", where, remedy="split the file by years"))
    return Table(filled[0].cells, tuple(filled[1:]), remarks)


def _read_text(content: bytes, where: str) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
    if content.startswith(b"PK") or b"\0" in content:
        raise CaseError(Problem("this is not a text file", where, remedy="save it as CSV in UTF-8, or as XLSX"))
    remarks = []
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")
        remarks.append("the file is not UTF-8; it was read as Latin-1 (Windows): check names with accents")
    delimiter = _delimiter(text, where)
    records = list(_records(text, delimiter, where))
    remarks.append(f"columns are separated by {DELIMITERS[delimiter]}")
    if doubtful := [str(n) for n, cells in enumerate(records, start=1) if _runs_on(cells, delimiter)]:
        remarks.append(f"a cell runs over several lines, check its quotation marks: row {', '.join(doubtful[:5])}")
    return records, tuple(remarks)


def _delimiter(text: str, where: str) -> str:
    """The separator with which the first line that holds anything has most headings known here, then most columns."""

    def known(delimiter: str) -> tuple[int, int]:
        headings: tuple[str, ...] = next((cells for cells in _records(text, delimiter, where) if any(cells)), ())
        return len(recognised(headings)), len(headings)

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
