"""Reads the first visible sheet of a workbook, after making sure that it is no larger than it looks."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
import zlib

from consent.case.plain import printable
from consent.case.table import Limits
from consent.errors import CaseError, Problem

_PLACE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


def read_workbook(content: bytes, where: str, limits: Limits) -> tuple[list[tuple[str, ...]], tuple[str, ...]]:
    """Rows of the first visible sheet as text, from row 1 on, and remarks.

    Dates become ISO 8601, whole numbers lose their point, a tick becomes yes or no: the same text as in a CSV file.
    Formulas give the value the spreadsheet program saved. Raises ``CaseError`` for a file that is damaged, locked
    or has a cell so far out that reading it would take all memory.
    """
    from python_calamine import CalamineError, CalamineWorkbook, SheetVisibleEnum

    _check_extent(content, where, limits)
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


def _check_extent(content: bytes, where: str, limits: Limits) -> None:
    """Refuse what would take all memory, or never end: too much once unpacked, a cell far out, broken XML."""
    from xml.parsers import expat

    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(part.file_size for part in packed.infolist()) > limits.unpacked_bytes:
                raise CaseError(Problem("the workbook unpacks to too much", where, remedy="save it as CSV"))
            extent = _Extent()
            for name in packed.namelist():
                if name.endswith((".xml", ".rels")):
                    extent.measure(packed, name)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, OSError) as failure:
        raise CaseError(Problem("this is not a workbook", where, remedy="save it again, or as CSV")) from failure
    except (expat.ExpatError, ValueError, LookupError) as failure:
        raise CaseError(Problem("the workbook is damaged", where, remedy="save it again, or as CSV")) from failure
    if extent.rows > limits.rows + 1 or extent.columns > limits.columns:
        what = f"a cell in row {extent.rows} or column {extent.columns} makes the sheet too large"
        allowed = f"at most {limits.rows} rows and {limits.columns} columns"
        raise CaseError(Problem(what, where, remedy=f"clear what stands far out ({allowed}), or save it as CSV"))


class _Extent:
    """Highest row and column of any cell that holds something, in any sheet of an XLSX or ODS file."""

    def __init__(self) -> None:
        self.rows = self.columns = 0
        self._row = self._height = self._column = 0

    def measure(self, packed: zipfile.ZipFile, name: str) -> None:
        """Read one part of the file; ``ExpatError`` or ``ValueError`` where it is damaged."""
        from xml.parsers import expat

        parser = expat.ParserCreate()
        parser.StartDoctypeDeclHandler = _refuse
        if name.startswith("xl/worksheets/"):
            parser.StartElementHandler = self._xlsx
        elif name == "content.xml":
            parser.StartElementHandler = self._ods
        with packed.open(name) as part:
            parser.ParseFile(part)

    def _xlsx(self, tag: str, attributes: dict[str, str]) -> None:
        match tag.rpartition(":")[2]:
            case "row":
                self._row, self._column = int(attributes.get("r", self._row + 1)), 0
            case "c":
                self._column += 1
                if place := _PLACE.fullmatch(attributes.get("r", "")):
                    self._row, self._column = int(place.group(2)), _column_number(place.group(1))
            case "v" | "is":
                self._holds(self._row, self._column)

    def _ods(self, tag: str, attributes: dict[str, str]) -> None:
        match tag:
            case "table:table":
                self._row = self._height = 0
            case "table:table-row":
                self._row, self._column = self._row + self._height, 0
                self._height = int(attributes.get("table:number-rows-repeated", 1))
            case "table:table-cell" | "table:covered-table-cell":
                self._column += int(attributes.get("table:number-columns-repeated", 1))
                if "office:value-type" in attributes:
                    self._holds(self._row + self._height, self._column)
            case "text:p":
                self._holds(self._row + self._height, self._column)

    def _holds(self, row: int, column: int) -> None:
        self.rows, self.columns = max(self.rows, row), max(self.columns, column)


def _column_number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number


def _refuse(*_: object) -> None:
    raise ValueError("a document type has no place in a workbook")
