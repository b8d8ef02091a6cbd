"""Choosing the drops: what fits, what each choice would raise, and from which day."""

from __future__ import annotations

import datetime as dt
from typing import Any

from litestar import Response
from litestar.response import Template

from consent.desk.as_seen import as_seen
from consent.desk.choosing import Effect, choice, effect, nothing_went_home, with_regimen
from consent.desk.faults import status_of
from consent.desk.form import Form, Sent
from consent.desk.heading import heading
from consent.desk.here import Here, Visitor
from consent.desk.routes import entered, shown
from consent.desk.told import fault
from consent.errors import ConsentError, Problem
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role, State, move
from consent.record.state import CaseState


@shown("/case/{subject:str}/regimen", (Role.SURGEON,))
def show_regimens(here: Here, subject: str) -> Template:
    return _page(here, here.office.shelf.case(subject), Sent())


@entered("/case/{subject:str}/regimen", (Role.SURGEON,))
def order(here: Here, subject: str, form: Form) -> Response[Any]:
    """Order a regimen; what it would raise or make void is shown before it is entered."""
    seen = as_seen(here, subject, form)
    if problem := _lacking(here, seen, form):
        return _page(here, seen, form, (problem,), status=422)
    kind, data = with_regimen(seen, _order(here, seen, form))
    try:
        brings = effect(here, seen, kind, data)
        if not brings.quiet and form.text("sure") != form.text("regimen"):
            return _page(here, seen, form, brings=brings)
        enter(here.office.record, here.me, subject, Act(kind, seen.sequence, data))
    except ConsentError as error:
        return _page(here, here.office.shelf.case(subject), form, error.problems, status=status_of(error))
    return here.go(f"/case/{subject}/review")


def _order(here: Visitor, case: CaseState, form: Sent) -> dict[str, Any]:
    chosen = {"regimen": form.text("regimen")}
    if not _from_a_day(case):
        return chosen
    me = here.me
    return {"on": form.text("on"), **chosen, "by": me.name, "registration": me.registration, "why": form.text("why")}


def _lacking(here: Visitor, case: CaseState, form: Sent) -> Problem | None:
    """What the form does not say yet."""
    needed = ["regimen", *(("on", "why") if _from_a_day(case) else ())]
    missing = next((name for name in needed if not form.text(name)), None)
    known = {one.id for group in _groups(here, case) for one in group}
    if missing is None and form.text("regimen") not in known:
        missing = "regimen"
    if missing is None and _from_a_day(case) and (first := _first_day(case)) > form.text("on"):
        return fault("regimen.fault.too-early", date=dt.date.fromisoformat(first))
    return fault(f"regimen.fault.{missing}") if missing else None


def _from_a_day(case: CaseState) -> bool:
    """Whether an order holds from a day on: drops went home that were printed before it."""
    return case.state is State.DONE and not nothing_went_home(case)


def _first_day(case: CaseState) -> str:
    """The first day from which other drops can be ordered: after surgery, and after the last change."""
    days = [case.case.plan.date, *(change.on for change in case.case.drop_changes)]
    return (max(days) + dt.timedelta(days=1)).isoformat()


def _groups(here: Visitor, case: CaseState) -> tuple[Any, ...]:
    found = choice(here, case)
    return found.first, found.others


def _page(
    here: Visitor,
    case: CaseState,
    form: Sent,
    problems: tuple[Problem, ...] = (),
    brings: Effect | None = None,
    status: int = 200,
) -> Template:
    kind = "drops-changed" if case.state is State.DONE else "changed"
    first, others = _groups(here, case)
    return here.page(
        "regimen.html",
        status,
        top=heading(here, case),
        first=first,
        others=others,
        after=_from_a_day(case),
        may=case.state in move(kind).origins,
        form=form,
        first_day=max(_first_day(case), (here.office.today + dt.timedelta(days=1)).isoformat()),
        earliest=_first_day(case),
        problems=problems,
        brings=brings,
    )


HANDLERS = [show_regimens, order]
