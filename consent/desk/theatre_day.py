"""The operations of a day as theatre sees them: in the order proposed, each with how its consent stands."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass

from consent.compose.operating_list import in_order
from consent.desk.alike import alike_among
from consent.desk.holding import Holding, holding
from consent.desk.shelf import Shelf
from consent.errors import ConsentError, Problem
from consent.record.moves import State
from consent.record.state import CaseState
from consent.review import Assessment

OFF = ("withdrawn", "declined")
"""Words of patients who must not be operated."""


@dataclass(frozen=True)
class Listed:
    """One patient of the day. ``names``: others whose name can be taken for this one; ``twice``: the record number is
    there twice; ``problem``: why the case cannot be worked out, where nothing else is known of it."""

    case: CaseState
    assessment: Assessment | None
    holding: Holding | None
    names: tuple[str, ...] = ()
    twice: bool = False
    problem: Problem | None = None

    @property
    def group(self) -> str:
        """In which table the row stands."""
        word = self.holding.word if self.holding else ""
        return "off" if word in OFF else "operated" if word == "operated" else "waiting"

    @property
    def flags(self) -> tuple[str, ...]:
        """Why the patient is first or last."""
        ids = {point.id for point in self.assessment.points} if self.assessment else set()
        only, infected = "only-eye" in ids, ids & {"infection.lid-or-sac", "infection.elsewhere"}
        return (*(("list.only-eye",) if only else ()), *(("list.infected",) if infected else ()))


def asked_day(text: str) -> dt.date | None:
    """The day ``text`` names; none where it is no date, or of no year in which anybody here operates."""
    try:
        found = dt.date.fromisoformat(text)
    except ValueError:
        return None
    return found if _FIRST_YEAR <= found.year < _NO_YEAR else None


_FIRST_YEAR, _NO_YEAR = 1900, 2200


def day_of(shelf: Shelf, day: dt.date, zone: dt.tzinfo) -> tuple[Listed, ...]:
    """Every patient planned for ``day``: those who wait in the order proposed, then those operated, then those who are
    not to be operated. A case that cannot be worked out comes first: somebody must look at it."""
    cases = [case for case in shelf.cases() if case.erased is None and _planned_on(case, day)]
    broken: list[Listed] = []
    whole: dict[int, CaseState] = {}
    found: list[Assessment] = []
    for case in cases:
        try:
            assessment = shelf.assessment(case)
        except ConsentError as error:
            broken.append(Listed(case, None, None, problem=error.problems[0]))
        else:
            found.append(assessment)
            whole[id(assessment)] = case
    rows = [*broken, *(_row(whole[id(one)], one, day, zone) for one in in_order(found))]
    rows.sort(key=lambda row: ("waiting", "operated", "off").index(row.group))
    return _told_apart(rows)


def _planned_on(case: CaseState, day: dt.date) -> bool:
    return bool(case.data.get("plan", {}).get("date") == day.isoformat()) and not _never(case)


def _never(case: CaseState) -> bool:
    return case.state is State.CLOSED and "done" not in case.data


def _row(case: CaseState, assessment: Assessment, day: dt.date, zone: dt.tzinfo) -> Listed:
    return Listed(case, assessment, holding(case, assessment, day, zone))


def _told_apart(rows: list[Listed]) -> tuple[Listed, ...]:
    """``rows`` with the names and numbers that can be mixed up; those not to be operated are looked at as well."""
    from dataclasses import replace

    names = [row.case.case.patient.name for row in rows]
    numbers = Counter(row.case.case.patient.record_number.strip().casefold() for row in rows)
    return tuple(
        replace(
            row,
            names=tuple(names[place] for place in places),
            twice=numbers[row.case.case.patient.record_number.strip().casefold()] > 1,
        )
        for row, places in zip(rows, alike_among(names), strict=True)
    )
