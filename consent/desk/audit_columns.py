"""What a file of past cases may hold, read off the reader's own table: what it needs, and an empty file to fill in."""

from __future__ import annotations

from functools import cache

from consent.case.set_aside import guarded_csv
from consent.errors import CaseError
from consent.risk.audit.columns import OUTCOMES, Column, audit_rules, map_columns

_AGE = "age_years"


@cache
def asked_columns() -> tuple[Column, ...]:
    """A column for the age, one for the outcome, and one for each thing that the model asks for."""
    return tuple(one for one in audit_rules().columns if one.asked or one.id in (_AGE, OUTCOMES[0]))


@cache
def needed_columns() -> tuple[Column, ...]:
    """Those of them without which the reader refuses a file."""
    every = asked_columns()
    return tuple(one for one in every if not _is_read([other for other in every if other is not one]))


def helpful_columns() -> tuple[Column, ...]:
    """Those of them that a file may be without."""
    return tuple(one for one in asked_columns() if one not in needed_columns())


def empty_file() -> str:
    """A file with the headings alone."""
    return guarded_csv([[heading(one) for one in asked_columns()]])


def heading(column: Column) -> str:
    """What a file calls ``column``."""
    return column.spellings[0]


def _is_read(columns: list[Column]) -> bool:
    try:
        map_columns([heading(one) for one in columns], "")
    except CaseError:
        return False
    return True
