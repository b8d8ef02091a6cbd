"""Small operating lists for tests: a row that becomes a case, changed cell by cell, and files that hold it."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import openpyxl

from consent.case import Case
from consent.case.listing import ListedCase, Listing, ListOptions, SetAsideRow
from consent.case.listing.reading import list_of
from consent.case.table import Row, Table

GOOD = {
    "Name": "Shanti Example",
    "Record number": "DEMO-0001",
    "Age": "67",
    "Eye": "left",
    "Operation": "phaco",
    "Date of surgery": "2027-02-24",
    "Surgeon": "Dr Asha Invented",
    "Language": "Bengali",
}
"""The fewest columns from which a case can be made. Invented."""

NOT_ON_A_LIST = {
    "talk",
    "confirmation",
    "figures_accepted",
    "visits",
    "own_drops",
    "drop_changes",
    "caps_seen",
    "answers",
    "done",
    "day1",
    "version",
}
"""Parts of a case that come after the list: the talk, the drops decided on one by one, the operation and later."""


def listing(*rows: dict[str, str], options: ListOptions | None = None) -> Listing:
    """The list with a row for each of ``rows``, whose keys are headings; a cell left out is empty."""
    headings = tuple(dict.fromkeys(heading for row in rows for heading in row))
    read = [Row(number, tuple(row.get(name, "") for name in headings)) for number, row in enumerate(rows, start=2)]
    return list_of(Table(headings, tuple(read)), options or ListOptions(), "list.csv")


def good(**cells: str) -> dict[str, str]:
    """The row that becomes a case, with some cells changed; ``Date_of_surgery`` stands for "Date of surgery"."""
    return GOOD | {name.replace("_", " "): cell for name, cell in cells.items()}


def only(found: Listing) -> ListedCase:
    """The one row, which became a case; what is wrong where it did not."""
    (row,) = found.rows
    assert isinstance(row, ListedCase), row
    return row


def case_of(row: dict[str, str], options: ListOptions | None = None) -> Case:
    """The case that ``row`` becomes."""
    return only(listing(row, options=options)).case


def said(row: dict[str, str], options: ListOptions | None = None) -> str:
    """Why ``row`` is set aside: places, reasons and remedies."""
    (found,) = listing(row, options=options).rows
    assert isinstance(found, SetAsideRow), found
    return "\n".join(map(str, found.problems))


def facts(case: Case) -> dict[str, Any]:
    """What a list can hold of ``case``."""
    table: dict[str, Any] = case.model_dump(exclude=NOT_ON_A_LIST)
    table["plan"] = {key: value for key, value in table["plan"].items() if key != "others"}
    return table


def workbook(rows: list[list[object]]) -> bytes:
    """An XLSX file with one sheet."""
    book = openpyxl.Workbook()
    for row in rows:
        book.worksheets[0].append(row)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def written(folder: Path, content: bytes | str, name: str = "list.csv") -> Path:
    """A file in ``folder``."""
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def as_csv(*rows: dict[str, str], delimiter: str = ",") -> str:
    """A CSV file with a row for each of ``rows``, which have the same headings and no cell that needs quoting."""
    lines = [delimiter.join(rows[0]), *(delimiter.join(row.values()) for row in rows)]
    return "\r\n".join(lines) + "\r\n"
