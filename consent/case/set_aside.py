"""Writes rows of a table that could not be used as CSV that a person corrects and gives back."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterable, Sequence

from consent.case.table import FORMULA_STARTS, Row


def rows_csv(
    headings: Sequence[str],
    rows: Iterable[tuple[Row, Sequence[str]]],
    ours: Sequence[str],
    is_ours: Callable[[str], bool],
) -> str:
    """``rows`` as in the file, with their number there and why; CSV of RFC 4180, headings first.

    ``ours``: the headings of number and reasons; columns with a heading that ``is_ours`` come from an earlier time
    and are left out. A cell that a spreadsheet would work out as a formula gets an apostrophe in front, which
    ``read_table`` takes away again.
    """
    width = len(headings)
    earlier = [place for place, heading in enumerate(headings) if is_ours(heading)]
    lines = [[*_without(headings, earlier), *ours]]
    for row, reasons in rows:
        cells = (*row.cells, *[""] * (width - len(row.cells)))
        kept, spilled = _without(cells[:width], earlier), cells[width:]
        lines.append([*kept, str(row.number), "; ".join(reasons), *spilled])
    return guarded_csv(lines)


def guarded_csv(lines: Iterable[Sequence[str]]) -> str:
    """``lines`` as CSV of RFC 4180, no cell of which a spreadsheet works out as a formula."""
    text = io.StringIO(newline="")
    csv.writer(text).writerows([_guarded(cell) for cell in line] for line in lines)
    return text.getvalue()


def _without(cells: Sequence[str], places: list[int]) -> list[str]:
    return [cell for place, cell in enumerate(cells) if place not in places]


def _guarded(cell: str) -> str:
    return f"'{cell}" if cell.startswith(FORMULA_STARTS) else cell
