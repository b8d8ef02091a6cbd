"""The second look, just before surgery: is it still what the patient agreed to."""

from __future__ import annotations

from typing import Any

from litestar import Response
from litestar.response import Template

from consent.case.talk import Change
from consent.compose.page_code import short_code
from consent.desk.as_seen import as_seen
from consent.desk.faults import status_of
from consent.desk.fields import field
from consent.desk.form import Form, Sent
from consent.desk.heading import heading
from consent.desk.here import Here, Visitor
from consent.desk.routes import entered, shown
from consent.desk.told import fault
from consent.desk.typed import NOTHING, value_of
from consent.errors import ConsentError, MoveError
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role, move
from consent.record.state import CONSENT, CaseState
from consent.review import review_triggers

_WHO = (Role.THEATRE, Role.SURGEON)
QUESTIONS = (
    ("still_wishes", "day.still-wishes"),
    ("condition_changed", f"day.changed-{Change.CONDITION}"),
    ("plan_changed", f"day.changed-{Change.PLAN}"),
    ("surgeon_changed", f"day.changed-{Change.SURGEON}"),
    ("information_changed", f"day.changed-{Change.INFORMATION}"),
    ("too_long_ago", f"day.changed-{Change.TIME}"),
    ("mind_changed", f"day.changed-{Change.MIND}"),
)
"""What is asked, by its key in the case, in the words of the paper for the day of surgery."""
_ANSWERS = frozenset({"yes", "no"})


@shown("/case/{subject:str}/confirm", _WHO)
def show_questions(here: Here, subject: str) -> Template:
    return _page(here, here.office.shelf.case(subject), Sent())


@entered("/case/{subject:str}/confirm", _WHO)
def decide(here: Here, subject: str, form: Form) -> Response[Any]:
    """Record that nothing changed, or that the operation is not confirmed and why."""
    seen = as_seen(here, subject, form)
    not_confirmed = form.text("decision") == "not"
    if not_confirmed and not form.text("reason"):
        return _page(here, here.office.shelf.case(subject), form, MoveError(fault("look.fault.no-reason")))
    act = _not_confirmed(seen, form) if not_confirmed else _confirmed(here, seen, form)
    try:
        enter(here.office.record, here.me, subject, act)
    except ConsentError as error:
        return _page(here, here.office.shelf.case(subject), form, error)
    return here.go(f"/case/{subject}")


def _answers(form: Sent) -> dict[str, str]:
    """What was asked and answered; what was not asked is left out, and so stays not known."""
    return {name: form.text(name) for name, _ in QUESTIONS if form.text(name) in _ANSWERS}


def _confirmed(here: Visitor, seen: CaseState, form: Sent) -> Act:
    at = value_of(form, field("confirmation.at"), "at", here.office.zone)
    second = {
        **_answers(form),
        "at": here.office.now.isoformat() if at is NOTHING else at,
        "by": here.me.name,
    }
    return Act("confirmed", seen.sequence, {**seen.data, "confirmation": second})


def _not_confirmed(seen: CaseState, form: Sent) -> Act:
    said = {name.replace("_", " "): answer for name, answer in _answers(form).items()}
    return Act("not-confirmed", seen.sequence, reason=form.text("reason"), details=said)


def _page(here: Visitor, case: CaseState, form: Sent, error: ConsentError | None = None) -> Template:
    papers = case.sealed(CONSENT)
    signed = next((told for told in reversed(case.history) if told.entry.kind == "consented"), None)
    return here.page(
        "confirm.html",
        status_of(error) if error else 200,
        top=heading(here, case),
        form=form,
        questions=QUESTIONS,
        problems=error.problems if error else (),
        papers=papers,
        code=" ".join(short_code(papers.code)) if papers else "",
        signed=signed if papers else None,
        triggers=review_triggers(case.case),
        other_day=case.case.plan.date != here.office.today,
        may_confirm=case.state in move("confirmed").origins,
        may_stop=case.state in move("not-confirmed").origins,
        surgeon=here.is_a(Role.SURGEON),
    )


HANDLERS = [show_questions, decide]
