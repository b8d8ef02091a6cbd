"""Theatre: the operations of a day, and the page that is read aloud before each."""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any

from litestar.response import Template

from consent.case import Answer
from consent.desk import pause
from consent.desk.here import Here
from consent.desk.holding import Holding, holding
from consent.desk.look_out import look_out, not_known
from consent.desk.routes import shown
from consent.desk.steps import steps
from consent.desk.theatre_day import asked_day, day_of
from consent.language import Day
from consent.record.moves import Role, State
from consent.record.state import CaseState

WHO = (Role.THEATRE, Role.SURGEON)
_ONE_DAY = dt.timedelta(days=1)


@shown("/theatre", WHO)
def show_day(here: Here, day: str = "") -> Template:
    """The operations of today, or of the day asked for."""
    today = here.office.today
    wanted = asked_day(day) or today
    rows = day_of(here.office.shelf, wanted, here.office.zone)
    groups = {group: [row for row in rows if row.group == group] for group in ("waiting", "operated", "off")}
    ready = sum(bool(row.holding and row.holding.good) for row in groups["waiting"])
    days = (wanted - _ONE_DAY, wanted + _ONE_DAY)
    return here.page(
        "theatre.html",
        day=wanted,
        today=today,
        groups=groups,
        ready=ready,
        unreadable=_unreadable(day),
        days=days,
        state=_state(today, *((row.case, row.holding) for row in rows)),
    )


def _state(today: dt.date, *shown: tuple[CaseState, Holding | None]) -> str:
    """What the page rests on: the same as long as it would say the same."""
    told = [f"{case.subject} {case.sequence} {found.word if found else ''}" for case, found in shown]
    return hashlib.sha256("\n".join([today.isoformat(), *told]).encode()).hexdigest()[:16]


def _unreadable(text: str) -> bool:
    return bool(text) and asked_day(text) is None


def _without_weekday(day: dt.date) -> Day:
    return Day(day, "long")


@shown("/case/{subject:str}/pause", WHO)
def show_pause(here: Here, subject: str) -> Template:
    """What is read aloud before surgery, and what stops it."""
    case = here.office.shelf.case(subject)
    if case.erased is not None:
        return here.page("erased.html", case=case)
    zone, today = here.office.zone, here.office.today
    assessment = here.office.shelf.assessment(case)
    found = holding(case, assessment, today, zone)
    one = case.case
    by = one.confirmation.by if one.confirmation else None
    values: dict[str, Any] = {
        "bands": pause.bands(one, found, zone, told=case.state is State.EXPLAINED),
        "may": {step.path: step.words for step in steps(here, case)},
        "consent": pause.consent_facts(found, today, zone, by),
        "lenses": pause.lens_rows(one),
        "not_on_form": pause.steps_not_on_form(one),
        "ticked": found.signed is not None and one.talk.steps_answered is Answer.YES,
        "look_out": look_out(assessment),
        "not_known": not_known(one),
        "numb": pause.anaesthesia(one),
        "day_of": _without_weekday,
    }
    state = _state(today, (case, found))
    return here.page("theatre-pause.html", case=case, one=one, found=found, now=here.office.now, state=state, **values)


HANDLERS = [show_day, show_pause]
