"""Reads the first visible sheet of a workbook, after making sure that it is no larger than it looks."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Iterator

from consent.errors import CaseError, Problem
from consent.risk.audit_columns import audit_rules, printable

_CELL = re.compile(rb'<(?:\w+:)?c\s[^>]*?\br="([A-Z]{1,3})([0-9]{1,7})"[^>]*(?<!/)>')
_ODS = re.compile(rb"<table:(table|table-row|covered-table-cell|table-cell)\b([^>]*?)(/?)>")
_REPEATED = re.compile(rb'table:number-(?:rows|columns)-repeated="([0-9]{1,9})"')
_PIECE = 1 << 20


def read_workbook(content: bytes, where: str) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
    """Rows of the first visible sheet as text, from row 1 on, and remarks.

    Dates become ISO 8601, whole numbers lose their point, a tick becomes yes or no: the same text as in a CSV file.
    Formulas give the value the spreadsheet program saved. Raises ``CaseError`` for a file that is damaged, locked
    or has a cell so far out that reading it would take all memory.
    """
    from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

    _check_extent(content, where)
    try:
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        names = [sheet.name for sheet in book.sheets_metadata if sheet.visible == SheetVisibleEnum.Visible]
        if not names:
            raise CaseError(Problem("the workbook has no visible sheet", where, remedy="show the sheet of cases"))
        rows = book.get_sheet_by_name(names[0]).to_python(skip_empty_area=False)
    except CalamineError as failure:
        what = f"the workbook cannot be read ({printable(str(failure))})"
        raise CaseError(Problem(what, where, remedy="save it again without a password, or as CSV")) from failure
    others = ", ".join(printable(name) for name in names[1:])
    left = (f"sheets not read: {others}",) if others else ()
    return [tuple(map(_text, row)) for row in rows], (f'sheet read: "{printable(names[0])}"', *left)


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(sep=" ")
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value)


def _check_extent(content: bytes, where: str) -> None:
    limits = audit_rules().limits
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > limits.unpacked_bytes:
                raise CaseError(Problem("the workbook unpacks to too much", where, remedy="save it as CSV"))
            row, column = _farthest(packed)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError) as failure:
        raise CaseError(Problem("this is not a workbook", where, remedy="save it again, or as CSV")) from failure
    if row > limits.rows + 1 or column > limits.columns:
        what = f"a cell in row {row}, column {column} makes the sheet too large"
        allowed = f"at most {limits.rows} rows and {limits.columns} columns"
        raise CaseError(Problem(what, where, remedy=f"clear what stands far out ({allowed}), or save it as CSV"))


def _farthest(packed: zipfile.ZipFile) -> tuple[int, int]:
    """Highest row and highest column of any cell that holds something, in any sheet; 0 where nothing does."""
    places = [(0, 0)]
    for name in packed.namelist():
        if name.startswith("xl/worksheets/"):
            places.append(_highest(_xlsx_cells(packed, name)))
        elif name == "content.xml":
            places.append(_highest(_ods_cells(packed, name)))
    return _highest(iter(places))


def _highest(places: Iterator[tuple[int, int]]) -> tuple[int, int]:
    row = column = 0
    for at_row, at_column in places:
        row, column = max(row, at_row), max(column, at_column)
    return row, column


def _pieces(packed: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """The part in pieces that each end after a whole tag."""
    rest = b""
    with packed.open(name) as part:
        while piece := part.read(_PIECE):
            whole, end, rest = (rest + piece).rpartition(b">")
            yield whole + end


def _xlsx_cells(packed: zipfile.ZipFile, name: str) -> Iterator[tuple[int, int]]:
    for piece in _pieces(packed, name):
        for letters, digits in _CELL.findall(piece):
            yield int(digits), _column_number(letters)


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + letter - 64
    return number


def _ods_cells(packed: zipfile.ZipFile, name: str) -> Iterator[tuple[int, int]]:
    """Place of each cell that holds something; a repeated row or cell counts as often as it is repeated."""
    row = height = column = 0
    for piece in _pieces(packed, name):
        for tag, attributes, closed in _ODS.findall(piece):
            found = _REPEATED.search(attributes)
            times = int(found.group(1)) if found else 1
            if tag == b"table":
                row = height = 0
            elif tag == b"table-row":
                row, height, column = row + height, times, 0
            else:
                column += times
                if not closed or b"office:value" in attributes:
                    yield row + height, column
