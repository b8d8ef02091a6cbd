"""All patients: found, opened, and where each case stands."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from typing import Any

from litestar.response import Template

from consent.case import Case
from consent.clinic import Clinic
from consent.desk.entry import Entered, read_new
from consent.desk.fields import Field, field
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.options import options
from consent.desk.picture import picture
from consent.desk.questions import Asking
from consent.desk.routes import CARE, EVERYBODY, entered, shown
from consent.desk.steps import steps
from consent.record.entering import open_new
from consent.record.moves import State
from consent.record.state import CaseState, case_of
from consent.wording import remark

_FIRST = (
    "patient.name",
    "patient.record_number",
    "patient.birth_date",
    "patient.age_years",
    "patient.sex",
    "patient.language",
    "eye.side",
    "plan.side",
    "plan.surgeon.name",
    "plan.date",
)
"""What a case cannot be without; the eye is asked of the patient and read off the plan, on purpose."""
_OVER = frozenset({State.CLOSED, State.DECLINED, State.WITHDRAWN})
_MOST = 200


@shown("/cases", CARE)
def list_cases(here: Here) -> Template:
    return here.page("cases.html", groups=_groups(here, here.office.shelf.cases()), wanted="", found=None)


@entered("/cases", CARE)
def find_cases(here: Here, form: Form) -> Template:
    """What is looked for is a name: it is sent in the form, and so never stands in an address or a log."""
    wanted = form.text("wanted")[:100]
    found = [case for case in here.office.shelf.cases() if case.erased is None and _is(case, wanted)]
    return here.page("cases.html", groups=_groups(here, tuple(found)), wanted=wanted, found=len(found))


def _is(case: CaseState, wanted: str) -> bool:
    patient = case.data.get("patient", {})
    texts = (patient.get("name", ""), patient.get("record_number", ""), patient.get("telephone", ""))
    return all(any(part in _plain(text) for text in texts) for part in _plain(wanted).split())


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKC", text).casefold()


def _groups(here: Visitor, cases: tuple[CaseState, ...]) -> list[tuple[str, list[CaseState]]]:
    """Cases that came back first; then by the day of surgery: today's, those to come, those before, those over."""
    today = here.office.today.isoformat()
    there = [case for case in cases if case.erased is None]
    there.sort(key=lambda case: (case.data["plan"]["date"], case.data["plan"].get("time", "")))
    running = [case for case in there if case.state not in _OVER]
    back = [case for case in running if case.state is State.SENT_BACK]
    running = [case for case in running if case.state is not State.SENT_BACK]
    groups = [
        ("cases.back", back),
        ("cases.today", [case for case in running if case.data["plan"]["date"] == today]),
        ("cases.to-come", [case for case in running if case.data["plan"]["date"] > today]),
        ("cases.before", [case for case in reversed(running) if case.data["plan"]["date"] < today]),
        ("cases.over", [case for case in reversed(there) if case.state in _OVER]),
    ]
    return [(words, found[:_MOST]) for words, found in groups if found]


@shown("/cases/new", CARE)
def show_new(here: Here) -> Template:
    return here.page("new.html", questions=_asking(here, _empty(here)).questions(_fields()), same=(), faults=())


@entered("/cases/new", CARE)
def open_one(here: Here, form: Form) -> Any:
    """Open a case; a record number that is known already is told before a second case of it is opened."""
    read = _aged(form, _not_past(here, form, read_new(form, _fields(), _empty(here), here.office.zone)))
    same = _same_number(here, form)
    if read.faults or (same and not form.text("second")):
        asking = _asking(here, _empty(here), form, read)
        questions = asking.questions(_fields())
        return here.page("new.html", 422, questions=questions, same=same, faults=asking.faults_elsewhere(questions))
    recorded = open_new(here.office.record, here.me, case_of(read.data))
    return here.go(f"/case/{recorded.case.subject}/enter/language")


def _not_past(here: Visitor, form: Sent, read: Entered) -> Entered:
    """``read`` with a fault where the day of surgery lies behind: a slip of the pen, or not a case to be opened."""
    day = form.text("plan.date")
    if "plan.date" in read.faults or not day or day >= here.office.today.isoformat():
        return read
    return _with_fault(read, "plan.date", "error.past")


def _aged(form: Sent, read: Entered) -> Entered:
    """``read`` with a fault where neither birth date nor age was given."""
    if form.text("patient.birth_date") or form.text("patient.age_years"):
        return read
    return _with_fault(read, "patient.birth_date", "error.at.patient.birth_date")


def _with_fault(read: Entered, path: str, words: str) -> Entered:
    every = frozenset(one.path for one in _fields())
    return replace(read, faults={**read.faults, path: remark(words)}, held_back=every)


def _same_number(here: Visitor, form: Sent) -> tuple[CaseState, ...]:
    number = _plain(form.text("patient.record_number"))
    return tuple(
        case
        for case in here.office.shelf.cases()
        if number and _plain(case.data.get("patient", {}).get("record_number", "")) == number
    )


def _fields() -> tuple[Field, ...]:
    return tuple(field(path) for path in _FIRST)


def _empty(here: Visitor) -> dict[str, Any]:
    clinic: Clinic = here.office.record.clinic
    empty: dict[str, Any] = {"schema": 1, "patient": {}, "eye": {}, "plan": {"surgeon": {}}}
    return {**empty, "invented": True} if clinic.invented else empty


def _asking(here: Visitor, data: dict[str, Any], sent: Sent | None = None, read: Any = None) -> Asking:
    shown_data = read.data if read is not None else data
    return Asking(here.words, shown_data, here.office.zone, options(here.office), sent, read)


@shown("/case/{subject:str}", EVERYBODY)
def show_case(here: Here, subject: str) -> Template:
    """Where the case stands, what comes next, and everything that belongs to it."""
    case = here.office.shelf.case(subject)
    if case.erased is not None:
        return here.page("erased.html", case=case)
    return here.page(
        "case.html",
        case=case,
        one=case.case,
        days=_days(here, case.case),
        steps=steps(here, case),
        picture=picture(here.office.shelf.assessment(case), here.words),
    )


def _days(here: Visitor, case: Case) -> int:
    return (case.plan.date - here.office.today).days


HANDLERS = [list_cases, find_cases, show_new, open_one, show_case]
