"""Reads the file of an audit, CSV or workbook, by the limits and headings of audits."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from consent.case import table
from consent.case.table import Table, TableRules
from consent.risk.audit.columns import audit_rules, recognised


def read_table(path: Path) -> Table:
    """The table in a CSV, XLSX or ODS file; raises ``CaseError`` as ``consent.case.table.read_table`` does."""
    too_large = "leave out columns that are not listed, or split the years"
    rules = TableRules(audit_rules().limits, _known, too_large, "split the file by years")
    return table.read_table(path, rules)


def _known(headings: Sequence[str]) -> int:
    return len(recognised(headings))
