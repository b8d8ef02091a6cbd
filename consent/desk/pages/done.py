"""The page after surgery: what was done, and where it differs from what was agreed, before it is recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from litestar import Response
from litestar.response import Template

from consent.case import Answer, Case, Done
from consent.desk.as_seen import as_seen
from consent.desk.drops_again import DropsAgain, drops_again
from consent.desk.entry import Entered
from consent.desk.faults import status_of
from consent.desk.fields import field
from consent.desk.form import Form, Sent
from consent.desk.heading import heading
from consent.desk.here import Here, Visitor
from consent.desk.operated import (
    FOUND,
    LENS,
    MORE,
    NO_STEP,
    OTHER_LENS,
    PLANNED,
    REFERRAL,
    STEPS,
    TOLD,
    agreed_lenses,
    print_of,
    read_done,
)
from consent.desk.options import options
from consent.desk.questions import Asking, Question
from consent.desk.routes import entered, shown
from consent.errors import ConsentError
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role, move
from consent.record.state import CaseState, case_of
from consent.review import Difference, assess, differences, events

_SURGEON = (Role.SURGEON,)
_GROUPS = {
    "planned": PLANNED,
    "found": FOUND,
    "steps": (STEPS,),
    "lens": OTHER_LENS,
    "whole": ("done.as_planned",),
    "more": MORE,
    "told": TOLD,
    "referral": REFERRAL,
}


@dataclass(frozen=True)
class Check:
    """What is to be looked at before it is recorded, what had not been agreed first. ``print``: stands for exactly what
    was looked at; ``unknown``: findings that nobody can tell."""

    case: Case
    print: str
    differences: tuple[Difference, ...]
    events: tuple[str, ...]
    unknown: tuple[str, ...]
    drops_again: DropsAgain | None = None

    @property
    def done(self) -> Done:
        """What was done."""
        return self.case.done or Done()

    @property
    def other_eye(self) -> bool:
        """Whether it is not the eye that was agreed."""
        return self.done.side is not None and self.done.side is not self.case.eye.side

    @property
    def went_wrong(self) -> bool:
        """Whether something did not go to plan, which the patient is told."""
        return bool(self.events or self.done.complication)

    @property
    def untold(self) -> bool:
        """Whether nobody has entered who told the patient, where there is something to be told."""
        return self.went_wrong and self.done.told is None

    @property
    def found(self) -> bool:
        """Whether anything is not as it was agreed or planned, or not known."""
        return bool(self.differences or self.unknown or self.other_eye or self.went_wrong)

    @property
    def contradicts(self) -> str | None:
        """The message for an answer to "as planned" that does not fit the others; none where it fits."""
        if self.done.as_planned is Answer.YES and self.found:
            return "done.said-as-planned"
        return "done.said-not-as-planned" if self.done.as_planned is Answer.NO and not self.found else None

    @property
    def unlike(self) -> bool:
        """Whether there is anything to look at."""
        return self.found or self.done.as_planned is not Answer.YES


@shown("/case/{subject:str}/done", _SURGEON)
def show_done(here: Here, subject: str) -> Template:
    case = here.office.shelf.case(subject)
    return _page(here, case, Sent(), None)


@entered("/case/{subject:str}/done", _SURGEON)
def record_done(here: Here, subject: str, form: Form) -> Response[Any]:
    """Record what was done; the surgeon sees first how it differs from what was agreed."""
    seen = as_seen(here, subject, form)
    read = read_done(form, seen.data, seen.case, here.office.zone)
    if read.faults:
        return _page(here, seen, form, read, status=422)
    check = None
    try:
        check = _check(here, case_of(read.data), print_of(read.data))
        if form.text("checked") != check.print:
            return _page(here, seen, form, read, check)
        enter(here.office.record, here.me, subject, _act(seen, form, read), form.raw("password") or None)
    except ConsentError as error:
        return _page(here, here.office.shelf.case(subject), form, read, check, error)
    return here.go(f"/case/{subject}/review")


@entered("/case/{subject:str}/done/differences", _SURGEON)
def show_differences(here: Here, subject: str, form: Form) -> Template:
    """How what was entered so far differs from what was agreed; nothing while it cannot be a case. For the page's
    script: nothing is recorded."""
    seen = as_seen(here, subject, form)
    read = read_done(form, seen.data, seen.case, here.office.zone)
    try:
        check = replace(_check(here, case_of(read.data), ""), unknown=())
    except ConsentError:
        check = None
    return here.page("differences-now.html", check=check)


def _act(seen: CaseState, form: Sent, read: Entered) -> Act:
    if _in_order(seen):
        return Act("done", seen.sequence, read.data)
    return Act("done-out-of-order", seen.sequence, read.data, reason=form.text("reason"))


def _in_order(case: CaseState) -> bool:
    return case.state in move("done").origins


def _check(here: Visitor, case: Case, signs: str) -> Check:
    unlike = tuple(sorted(differences(case), key=lambda one: one.agreed))
    answers = ((path, getattr(case.done, path.removeprefix("done."), None)) for path in FOUND)
    unknown = tuple(path for path, answer in answers if answer is Answer.UNKNOWN)
    return Check(case, signs, unlike, events(case), unknown, drops_again(assess(case, here.office.record.clinic)))


def _page(
    here: Visitor,
    case: CaseState,
    form: Sent,
    read: Entered | None,
    check: Check | None = None,
    error: ConsentError | None = None,
    status: int = 200,
) -> Template:
    late = case.state in move("done-out-of-order").origins
    return here.page(
        "done.html",
        status_of(error) if error else status,
        top=heading(here, case),
        asked=_asked(here, case, form, read),
        lenses=agreed_lenses(case.case),
        lens=form.text(LENS),
        no_step=form.text(NO_STEP) == "yes",
        fault=read.faults if read else {},
        check=check,
        problems=error.problems if error else (),
        may=late or _in_order(case),
        late=late,
        reason=form.text("reason"),
    )


def _asked(here: Visitor, case: CaseState, form: Sent, read: Entered | None) -> dict[str, tuple[Question, ...]]:
    """The questions by their place on the page; before anything was typed, as planned where that is no finding."""
    plan = case.case.plan
    data = read.data if read else {"done": {"operation": plan.operation.value, "by": plan.surgeon.name}}
    if read and "operation" not in data["done"]:
        data = {**data, "done": {**data["done"], "operation": plan.operation.value}}
    asking = Asking(here.words, data, here.office.zone, options(here.office), form if read else None, read)
    return {
        name: tuple(_unsaid(one, form) for one in asking.questions(field(path) for path in paths))
        for name, paths in _GROUPS.items()
    }


def _unsaid(question: Question, form: Sent) -> Question:
    """``question`` with nothing chosen where it asks for a finding and nobody has answered it."""
    if question.name not in _MUST_BE_SAID or form.text(question.name):
        return question
    return replace(question, choices=tuple(replace(one, chosen=False) for one in question.choices))


_MUST_BE_SAID = frozenset({*FOUND, "done.side", "done.as_planned"})


HANDLERS = [show_done, record_done, show_differences]
