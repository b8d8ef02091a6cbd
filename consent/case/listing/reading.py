"""Reads an operating list from a file: its columns, then row by row, then the rows against one another."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from consent.case.listing.facts import Facts, facts_of
from consent.case.listing.headings import check_columns, known, mapped, not_read
from consent.case.listing.keys import nested
from consent.case.listing.listing import ListedCase, Listing, ListOptions, SetAsideRow
from consent.case.listing.neighbours import compare_rows
from consent.case.listing.rules import columns, list_rules
from consent.case.model import SCHEMA_VERSION, Case
from consent.case.reading import validate
from consent.case.table import Row, Table, TableRules, read_table
from consent.errors import CaseError, Problem

_DAY_FIRST = "dates such as 03/04 are read with the day first"
_LONGEST = 300
_TOO_LARGE = "one list is one day: leave other days and pictures out"
_AGE = {"patient.age_years", "patient.birth_date"}
_WHO = ("patient.name", "patient.record_number", "eye.side")
_EMPTY = ("unknown", "not asked", "not examined", "not tested", "not done")


def read_list(path: Path, options: ListOptions | None = None, beside: Sequence[Case] = ()) -> Listing:
    """The operating list in the CSV, XLSX or ODS file at ``path``; ``options`` hold where a row does not say.

    ``beside``: cases of the same day read before, such as the good rows of the list these rows were set aside from.

    Raises ``CaseError`` where the file cannot be read, or lacks a column without which no row can become a case.
    """
    limits = list_rules().limits
    old = ("cp1252", "Windows-1252")
    rules = TableRules(limits, known, _TOO_LARGE, "give one day at a time", limits.heading_rows, True, old)
    return list_of(read_table(path, rules), options or ListOptions(), path.name, beside)


def list_of(table: Table, options: ListOptions, where: str, beside: Sequence[Case] = ()) -> Listing:
    """The operating list in ``table``, which was read from ``where``; raises ``CaseError`` as ``read_list`` does."""
    found = mapped(table.headings)
    check_columns(found, options, where)
    rows = [row for row in table.rows if not _is_heading(row, table)]
    read = [facts_of(row, found, len(table.headings), options) for row in rows]
    cases = [_case(facts, options) for facts in read]
    compare_rows(list(zip(read, cases, strict=True)), beside)
    listed = tuple(_listed(facts, case) for facts, case in zip(read, cases, strict=True))
    return Listing(table.headings, listed, (*table.remarks, *_remarks(table, rows, read)))


def _is_heading(row: Row, table: Table) -> bool:
    """Whether the headings stand here once more, as at the top of a printed page."""
    return [cell.strip().casefold() for cell in row.cells] == [cell.strip().casefold() for cell in table.headings]


def _remarks(table: Table, rows: list[Row], read: list[Facts]) -> list[str]:
    found = [_DAY_FIRST] if any(facts.month_first for facts in read) else []
    if names := not_read(table.headings):
        found.append(f"columns not read: {', '.join(names)}")
    if repeated := len(table.rows) - len(rows):
        found.append(f"headings that stand again among the rows and were passed over: {repeated}")
    return found


def _case(facts: Facts, options: ListOptions) -> Case | None:
    """The case, or ``None`` with what is wrong added to ``facts``."""
    said = {key: value for key, value in facts.values.items() if key not in facts.wrong}
    data: dict[str, Any] = {"schema": SCHEMA_VERSION, "invented": options.invented, **nested(said)}
    try:
        return validate(data, Case, CaseError, "")
    except CaseError as failure:
        for problem in failure.problems:
            _refuse(facts, problem)
        return None


def _refuse(facts: Facts, problem: Problem) -> None:
    """Add what the model of the case refuses, under the heading of the list, unless it follows from what is wrong."""
    key = _column_key(problem.where.removeprefix(": "))
    follows = any(wrong == key or wrong.startswith(f"{key}.") for wrong in facts.wrong)
    if follows or (key == "file" and facts.wrong):
        return
    what = "this is needed beside what the row says" if problem.what.startswith("this key is needed") else problem.what
    facts.refuse((key,), _short(what), "write it" if what != problem.what else problem.remedy, problem.why)


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."


def _column_key(key: str) -> str:
    """The column that says what stands at ``key``: that of the list itself for an entry of a list."""
    parts = key.split(".")
    longest = (".".join(parts[:length]) for length in range(len(parts), 0, -1))
    return next((name for name in longest if name in columns()), key)


def _listed(facts: Facts, case: Case | None) -> ListedCase | SetAsideRow:
    if case is not None and not facts.problems:
        return ListedCase(facts.row, case, tuple(dict.fromkeys(facts.flags)), _unknown(facts))
    name, number, side = (str(facts.values.get(key, "")) for key in _WHO)
    side = "" if "eye.side" in facts.wrong else side
    problems, flags = tuple(dict.fromkeys(facts.problems)), tuple(dict.fromkeys(facts.flags))
    return SetAsideRow(facts.row, problems, name, number, side, flags)


def _unknown(facts: Facts) -> int:
    """How many facts that are asked of everybody the row does not say, age and birth date counted as one."""
    said = {key for key, value in facts.values.items() if value not in _EMPTY}
    if said & _AGE:
        said |= _AGE
    asked = (name for name, column in columns().items() if not column.fills and not column.optional)
    return len([name for name in asked if name not in said | {"patient.birth_date"}])
