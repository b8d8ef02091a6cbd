"""After surgery: the first morning, the papers for home, the end of a case."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from litestar import Response
from litestar.response import Template

from consent.desk.as_seen import SEEN, as_seen, refuse_other_settings
from consent.desk.drops_again import drops_again
from consent.desk.entry import Entered, read_entry
from consent.desk.faults import status_of
from consent.desk.fields import Field, field
from consent.desk.form import Form, Sent
from consent.desk.heading import heading
from consent.desk.here import Here, Visitor
from consent.desk.in_the_way import in_the_way
from consent.desk.operated import FOUND, MORE, REFERRAL, STEPS, TOLD
from consent.desk.options import options
from consent.desk.ordered import regimen_now
from consent.desk.pages.answers import begin_signing, password_problem
from consent.desk.questions import Asking
from consent.desk.reviewing import signing
from consent.desk.routes import entered, shown
from consent.desk.told import fault
from consent.desk.waiting import due, visits_ahead
from consent.errors import ConflictError, ConsentError, MoveError, Problem
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role, State, move
from consent.record.state import AFTERCARE, CaseState
from consent.record.voiding import sheets_of
from consent.wording import remark

_SURGEON = (Role.SURGEON,)
_MORNING = (
    "day1.acuity_pinhole",
    "day1.poor_sight_explained",
    "day1.pressure_mmhg",
    "day1.leak",
    "day1.hypopyon",
    "day1.cornea",
    "day1.cells",
    "day1.lens",
)
"""What is looked at on the first morning, in the order in which it is."""
_OPERATION = (*TOLD, *FOUND, STEPS, *MORE, *REFERRAL)
"""What of the operation may be added or put right with it."""


@shown("/case/{subject:str}/first-day", _SURGEON)
def show_first_day(here: Here, subject: str, operation: str = "") -> Template:
    """What the first morning shows; ``operation``: what was done is open to be added to."""
    return _first_day(here, here.office.shelf.case(subject), Sent(), operation=bool(operation))


@entered("/case/{subject:str}/first-day", _SURGEON)
def record_first_day(here: Here, subject: str, form: Form) -> Response[Any]:
    seen = as_seen(here, subject, form)
    # Drops other than planned are a print of their own: the record gives it its version when it is entered.
    read = read_entry(form, _fields(*_MORNING, *_OPERATION), _next(seen), here.office.zone)
    if read.faults:
        return _first_day(here, seen, form, read, status=422)
    if _early(here, seen) and _looked_at(seen, read) and form.text("sure") != "yes":
        fault = remark("first-day.fault.early")
        return _first_day(here, seen, form, replace(read, faults={"": fault}), status=422)
    try:
        enter(here.office.record, here.me, subject, Act("first-day", seen.sequence, read.data))
    except ConsentError as error:
        return _first_day(here, here.office.shelf.case(subject), form, read, error)
    return here.go(f"/case/{subject}/review")


def _early(here: Visitor, case: CaseState) -> bool:
    """Whether the first morning has not come yet."""
    return here.office.today <= case.case.plan.date


def _looked_at(seen: CaseState, read: Entered) -> bool:
    """Whether anything of the first morning was entered that had not been."""
    return (read.data.get("day1") or None) != (seen.data.get("day1") or None)


def _fields(*paths: str) -> tuple[Field, ...]:
    return tuple(field(path) for path in paths)


def _next(case: CaseState) -> dict[str, Any]:
    return {**case.data, "version": case.version + 1}


def _first_day(
    here: Visitor,
    case: CaseState,
    form: Sent,
    read: Entered | None = None,
    error: ConsentError | None = None,
    status: int = 200,
    operation: bool = False,
) -> Template:
    data: Mapping[str, Any] = read.data if read else case.data
    asking = Asking(here.words, data, here.office.zone, options(here.office), form if read else None, read)
    return here.page(
        "first-day.html",
        status_of(error) if error else status,
        top=heading(here, case),
        questions=asking.questions(_fields(*_MORNING)),
        operation=asking.questions(_fields(*_OPERATION)) if case.case.done else (),
        open_operation=operation or bool(read and any(name.startswith("done") for name in read.faults)),
        problems=error.problems if error else (),
        faults=[one for name, one in read.faults.items() if not name] if read else [],
        may=case.state in move("first-day").origins,
        morning=case.case.plan.date + dt.timedelta(days=1) if _early(here, case) else None,
        sure=form.text("sure") == "yes",
    )


@shown("/case/{subject:str}/aftercare", _SURGEON)
def show_aftercare(here: Here, subject: str) -> Template:
    return _aftercare(here, here.office.shelf.case(subject))


@entered("/case/{subject:str}/aftercare", _SURGEON)
def issue_aftercare(here: Here, subject: str, form: Form) -> Response[Any]:
    """Begin sealing the papers for home; what the record would refuse is told before anything is begun."""
    case = here.office.shelf.case(subject)
    try:
        refuse_other_settings(here, form)
    except ConflictError as error:
        return _aftercare(here, case, status=409, wrong=error.problems[0])
    if case.state is not State.DONE or in_the_way(here.office.shelf.pack(case), AFTERCARE, here.words):
        return _aftercare(here, case, "look.fault.in-the-way", 409)
    if problem := password_problem(here, form):
        return _aftercare(here, case, status=422, wrong=problem)
    act = Act("aftercare-issued", form.whole(SEEN))
    return begin_signing(here, subject, act, form, f"/case/{subject}/papers")


def _aftercare(
    here: Visitor, case: CaseState, fault: str = "", status: int = 200, wrong: Problem | None = None
) -> Template:
    pack = here.office.shelf.pack(case)
    may = case.state is State.DONE
    sheets = [name for name in sheets_of(AFTERCARE) if any(one.sheet == name for one in pack.documents)]
    return here.page(
        "aftercare.html",
        status,
        top=heading(here, case),
        may=may,
        fault=fault,
        wrong=wrong,
        making=here.office.work.under_way(signing(case.subject, "aftercare-issued")),
        again=drops_again(pack.assessment) if may else None,
        hindrances=in_the_way(pack, AFTERCARE, here.words) if may else (),
        sheets=sheets,
        held=case.sealed(AFTERCARE),
        drops=regimen_now(pack.assessment),
    )


@shown("/case/{subject:str}/close", (Role.SURGEON, Role.LEAD))
def show_close(here: Here, subject: str) -> Template:
    return _close(here, here.office.shelf.case(subject))


@entered("/case/{subject:str}/close", (Role.SURGEON, Role.LEAD))
def close(here: Here, subject: str, form: Form) -> Response[Any]:
    """Close the case; what is due still has to be seen before."""
    case = here.office.shelf.case(subject)
    if _due(here, case) and form.text("sure") != "yes":
        return _close(here, case, MoveError(fault("close.fault.due")))
    try:
        enter(here.office.record, here.me, subject, Act("closed", form.whole(SEEN)))
    except ConsentError as error:
        return _close(here, here.office.shelf.case(subject), error)
    return here.go(f"/case/{subject}")


def _due(here: Visitor, case: CaseState) -> tuple[str, ...]:
    """What is still to be done before a case is closed, visits that lie ahead among it."""
    ahead = case.state is State.DONE and visits_ahead(case, here.office.today)
    return (*due(case, here.office.today), *(("surgeon.due.visits",) if ahead else ()))


def _close(here: Visitor, case: CaseState, error: ConsentError | None = None) -> Template:
    return here.page(
        "close.html",
        status_of(error) if error else 200,
        top=heading(here, case),
        may=case.state in move("closed").origins,
        due=_due(here, case),
        problems=error.problems if error else (),
    )


HANDLERS = [show_first_day, record_first_day, show_aftercare, issue_aftercare, show_close, close]
