"""Writes the rows an audit could not use as a CSV file that a person corrects and gives back."""

from __future__ import annotations

import csv
import io

from consent.risk.audit.columns import audit_rules, heading_key
from consent.risk.audit.file import FORMULA_STARTS
from consent.risk.audit.rows import Cases


def rejects_csv(cases: Cases) -> str:
    """The rows set aside, as in the file, with their row number there and why; CSV of RFC 4180, headings first.

    A cell that a spreadsheet would work out as a formula gets an apostrophe in front, which ``read_table`` takes
    away again.
    """
    width = len(cases.headings)
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    ours = tuple(audit_rules().column("set_aside").spellings)
    earlier = [place for place, heading in enumerate(cases.headings) if heading in ours]
    writer.writerow(_guarded([*_without(cases.headings, earlier), *ours]))
    for entry in cases.set_aside:
        cells = (*entry.row.cells, *[""] * (width - len(entry.row.cells)))
        kept, spilled = _without(cells[:width], earlier), cells[width:]
        reasons = "; ".join(entry.reasons)
        writer.writerow(_guarded([*kept, str(entry.row.number), reasons, *spilled]))
    return text.getvalue()


def is_rejects(cases: Cases) -> bool:
    """Whether the file was made of rows set aside from another one."""
    return any(heading in audit_rules().column("set_aside").spellings for heading in map(heading_key, cases.headings))


def _without(cells: tuple[str, ...], places: list[int]) -> list[str]:
    return [cell for place, cell in enumerate(cells) if place not in places]


def _guarded(cells: list[str]) -> list[str]:
    return [f"'{cell}" if cell.startswith(FORMULA_STARTS) else cell for cell in cells]
