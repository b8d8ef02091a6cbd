"""Writes the rows an audit could not use as a CSV file that a person corrects and gives back."""

from __future__ import annotations

from consent.case.plain import heading_key
from consent.case.set_aside import rows_csv
from consent.risk.audit.columns import audit_rules
from consent.risk.audit.rows import Cases


def rejects_csv(cases: Cases) -> str:
    """The rows set aside, as in the file, with their row number there and why; CSV of RFC 4180, headings first."""
    ours = tuple(audit_rules().column("set_aside").spellings)
    rows = ((entry.row, entry.reasons) for entry in cases.set_aside)
    return rows_csv(cases.headings, rows, ours, lambda heading: heading in ours)


def is_rejects(cases: Cases) -> bool:
    """Whether the file was made of rows set aside from another one."""
    return any(heading in audit_rules().column("set_aside").spellings for heading in map(heading_key, cases.headings))
