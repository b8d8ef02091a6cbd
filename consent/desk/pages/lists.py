"""Lists of a day, on paper: the order, the checklist of the desk, what needs the surgeon, who missed a visit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from litestar import Response
from litestar.response import Template

from consent.case import Case
from consent.compose.day_sheets import CHECKLIST, SUMMARY
from consent.compose.operating_list import MISSED, SHEET
from consent.desk.form import Form
from consent.desk.here import Here, Visitor
from consent.desk.printing import left_off_lists
from consent.desk.routes import entered, shown
from consent.desk.theatre_day import Listed, asked_day, day_of
from consent.desk.told import fault
from consent.errors import ConsentError, Problem
from consent.language import Quoted
from consent.record.moves import Role

WHO = (Role.COUNSELLOR, Role.SURGEON, Role.THEATRE, Role.LEAD)
LISTS = (SHEET, CHECKLIST, SUMMARY, MISSED)
_SECONDS, _SECONDS_A_PATIENT = 3, 0.15


@shown("/lists", WHO)
def show_lists(here: Here, day: str = "") -> Template:
    """Which lists, of which day: of today unless another is asked for."""
    return _page(here, asked_day(day) or here.office.today, LISTS)


@entered("/lists", WHO)
def print_lists(here: Here, form: Form) -> Response[Any]:
    """Print the lists ticked; the waiting page shows them once they are done."""
    day, sheets = asked_day(form.text("day")), tuple(name for name in LISTS if name in form.texts("sheet"))
    if day is None or not sheets:
        said = "lists.fault.sheet" if day else "theatre.unreadable"
        return _page(here, day or here.office.today, sheets, fault(said), 422)
    rows = _of(here, day)
    if not rows and sheets != (MISSED,):
        return _page(here, day, sheets, fault("theatre.nobody"), 422)
    if twice := next((row for row in rows if row.twice), None):
        number = Quoted(twice.case.data["patient"]["record_number"])
        return _page(here, day, sheets, fault("problem.number-twice", number=number), 422)
    cases, left_off = _readable(rows)
    order = {
        "day": day,
        "today": here.office.today,
        "language": here.words.tag,
        "sheets": sheets,
        "cases": cases,
        "operated": _operated(here) if MISSED in sheets else (),
        "left_off": left_off,
    }
    seconds = _SECONDS + _SECONDS_A_PATIENT * len(rows)
    back = f"/lists?day={day.isoformat()}"
    piece = here.office.work.begin("lists", order, here.me.id, "work.printing", seconds, back)
    return here.go(f"/making/{piece.id}")


def _of(here: Visitor, day: dt.date) -> list[Listed]:
    """Who waits for an operation that day."""
    return [row for row in day_of(here.office.shelf, day, here.office.zone) if row.group == "waiting"]


def _readable(rows: Sequence[Listed]) -> tuple[tuple[Case, ...], tuple[Problem, ...]]:
    """Their cases; and a problem for each whose case cannot be read."""
    cases, left_off = [], []
    for row in rows:
        try:
            cases.append(row.case.case)
        except ConsentError:
            patient = row.case.data.get("patient", {})
            left_off.append(left_off_lists(str(patient.get("name", "")), str(patient.get("record_number", ""))))
    return tuple(cases), tuple(left_off)


def _operated(here: Visitor) -> tuple[Case, ...]:
    """Everybody who was operated on; a visit that nobody ticked is one of theirs."""
    there = (case for case in here.office.shelf.cases() if case.erased is None and "done" in case.data)
    return tuple(case.case for case in there)


def _page(
    here: Visitor, day: dt.date, sheets: Sequence[str], problem: Problem | None = None, status: int = 200
) -> Template:
    count = len(_of(here, day))
    return here.page("lists.html", status, day=day, lists=LISTS, ticked=sheets, count=count, problem=problem)


HANDLERS = [show_lists, print_lists]
