"""An operating list as read: cases in the order of the list, and rows set aside with what is wrong in them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from consent.case.answers import LensDesign, Operation, SurgeonGrade
from consent.case.model import Case
from consent.case.table import Row
from consent.errors import Problem


@dataclass(frozen=True)
class ListOptions:
    """What holds for every row that does not say otherwise. ``invented``: every case is a demonstration."""

    surgeon: str | None = None
    surgeon_registration: str | None = None
    surgeon_grade: SurgeonGrade | None = None
    date: dt.date | None = None
    language: str | None = None
    operation: Operation | None = None
    place: str | None = None
    regimen: str | None = None
    lens_design: LensDesign | None = None
    lens_material: str | None = None
    invented: bool = False


@dataclass(frozen=True)
class ListedCase:
    """A row that became a case. ``flags``: what a person should look at; ``unknown``: facts that it does not hold."""

    row: Row
    case: Case
    flags: tuple[str, ...]
    unknown: int


@dataclass(frozen=True)
class SetAsideRow:
    """A row that became no case, as it stands in the file, why, and who it is about as far as it says."""

    row: Row
    problems: tuple[Problem, ...]
    name: str = ""
    record_number: str = ""
    side: str = ""
    flags: tuple[str, ...] = ()


@dataclass(frozen=True)
class Listing:
    """An operating list as understood: its headings, its rows in order, and how it was read."""

    headings: tuple[str, ...]
    rows: tuple[ListedCase | SetAsideRow, ...]
    remarks: tuple[str, ...] = ()

    @property
    def good(self) -> tuple[ListedCase, ...]:
        """Rows that became a case."""
        return tuple(row for row in self.rows if isinstance(row, ListedCase))

    @property
    def cases(self) -> tuple[Case, ...]:
        """The cases, in the order of the list."""
        return tuple(row.case for row in self.good)

    @property
    def set_aside(self) -> tuple[SetAsideRow, ...]:
        """Rows that became no case."""
        return tuple(row for row in self.rows if isinstance(row, SetAsideRow))


def in_words(problem: Problem) -> str:
    """What is wrong and what to do, with the heading of the column and without the row, on one line."""
    place = problem.where.partition(", column ")[2]
    remedy = f" ({problem.remedy})" if problem.remedy else ""
    return f"{f'{place}: ' if place else ''}{problem.what}{remedy}"
