"""Entering a case: one screen a subject, each change kept as it is made, by several people at once if need be."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

from litestar import Response
from litestar.exceptions import NotFoundException
from litestar.response import Template

from consent.case import Answer, Sex
from consent.desk.as_seen import as_seen
from consent.desk.entry import Entered, read_entry
from consent.desk.fields import Field
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.meanwhile import News, clash, news
from consent.desk.options import groups, options
from consent.desk.picture import picture
from consent.desk.questions import Asking
from consent.desk.routes import CARE, entered, shown
from consent.desk.screens import Screen, folded, of_mothers, screen, screens
from consent.desk.slips import slips_on
from consent.desk.typed import NOTHING, at, put
from consent.drops.limits import read_limits
from consent.errors import CaseError, ConflictError
from consent.record.act import Act
from consent.record.cases import Recorded, read_case_state
from consent.record.entering import enter
from consent.record.patch import difference, merge
from consent.record.state import CaseState


@shown("/case/{subject:str}/enter/{name:str}", CARE)
def show_screen(here: Here, subject: str, name: str, since: int = 0, mine: int = 0) -> Template:
    """One screen; ``since`` and ``mine`` are entries: the last one seen before, and what was just entered."""
    case = here.office.shelf.case(subject)
    return _page(here, case, _screen(name), told=news(here, case, since) if since else None, mine=mine)


@entered("/case/{subject:str}/enter/{name:str}", CARE)
def keep(here: Here, form: Form, subject: str, name: str) -> Response[Any]:
    """Keep what was entered; what cannot be kept is shown again with its reason, as is what somebody else changed."""
    asked = _screen(name)
    before = as_seen(here, subject, form)
    read = read_entry(form, asked.fields, before.data, here.office.zone, slips=slips_on(here.office.today))
    if form.text("usual"):
        read = _usual_visits(here, read)
    if form.text("rest"):
        read = _rest_no(here.office.shelf.case(subject), asked, read)
    try:
        recorded = _enter(here, subject, before, read)
    except ConflictError:
        now = here.office.shelf.case(subject)
        if not _stands_already(before, read, now):
            return _answer(here, form, now, asked, clash(here, before, now, read), None, 409)
        recorded = None
    now = recorded.case if recorded else here.office.shelf.case(subject)
    return _answer(here, form, now, asked, read, recorded, 422 if read.faults else 200)


def _rest_no(now: CaseState, asked: Screen, read: Entered) -> Entered:
    """``read`` with "no" to each question of the screen that is shown and that nobody has answered, here or
    meanwhile."""
    data = read.data
    for one in _unanswered(now, asked):
        if one.path not in read.held_back and at(data, one.path) in _UNANSWERED:
            data = put(data, one.path, Answer.NO.value)
    return replace(read, data=data)


def _usual(here: Visitor, case: CaseState, asked: Screen) -> tuple[tuple[str, dt.date], ...]:
    """The clinic's usual visits with their days, where the screen asks for visits and there are none yet."""
    if case.case.visits or not any(one.path == "visits" for one in asked.fields):
        return ()
    return _usual_days(here, case.case.plan.date)


def _usual_visits(here: Visitor, read: Entered) -> Entered:
    """``read`` with the clinic's usual visits, where nobody has entered one, here or meanwhile."""
    if read.data.get("visits") or read.faults:
        return read
    days = _usual_days(here, dt.date.fromisoformat(read.data["plan"]["date"]))
    return replace(read, data={**read.data, "visits": [{"kind": kind, "date": day.isoformat()} for kind, day in days]})


def _usual_days(here: Visitor, surgery: dt.date) -> tuple[tuple[str, dt.date], ...]:
    usual = here.office.record.clinic.usual_visits
    return tuple((one.kind, surgery + dt.timedelta(one.after_days)) for one in usual)


_UNANSWERED = (NOTHING, Answer.UNKNOWN.value)


def _unanswered(case: CaseState, asked: Screen) -> list[Field]:
    """The questions of the screen that can be answered with "no" all at once."""
    shown_now = _fields(case, asked)
    return [one for one in shown_now if one.path in asked.rest_no and at(case.data, one.path) in _UNANSWERED]


def _fields(case: CaseState, asked: Screen) -> tuple[Field, ...]:
    """What is asked on the screen; whether she is with child only of a woman young enough, or where it says so."""
    one, oldest = case.case, read_limits().pregnancy_years.value
    if one.patient.sex is not Sex.MALE and one.age_years < oldest:
        return asked.fields
    kept = {path for path in of_mothers() if at(case.data, path) == Answer.YES.value}
    return tuple(field for field in asked.fields if field.path in kept or field.path not in of_mothers())


def _stands_already(before: CaseState, read: Entered, now: CaseState) -> bool:
    """Whether all of it is in the case: the answer to the same form was lost on its way, and it was sent again."""
    return not difference(now.data, merge(now.data, difference(before.data, read.data)))


def _enter(here: Visitor, subject: str, before: CaseState, read: Entered) -> Recorded | None:
    if not difference(before.data, read.data):
        return None
    return enter(here.office.record, here.me, subject, Act("changed", before.sequence, read.data))


def _answer(
    here: Visitor,
    form: Sent,
    case: CaseState,
    asked: Screen,
    read: Entered,
    recorded: Recorded | None,
    status: int,
) -> Response[Any]:
    if here.from_script:
        return _for_script(here, form, case, asked, read, recorded, status)
    if status != 200:
        return _page(here, case, asked, form, read, status)
    here.office.shelf.case(case.subject)
    goal = form.text("go")
    if goal == _LEAVE:
        return here.go(f"/case/{case.subject}")
    to = goal if goal in {one.id for one in screens()} else asked.id
    mine = recorded.entry.sequence if recorded else 0
    return here.go(f"/case/{case.subject}/enter/{to}?since={form.whole('seen')}&mine={mine}")


_LEAVE = "case"
"""Where the last screen goes on to: the page of the case."""


def _for_script(
    here: Visitor,
    form: Sent,
    case: CaseState,
    asked: Screen,
    read: Entered,
    recorded: Recorded | None,
    status: int,
) -> Response[Any]:
    """What the page puts in place: faults by question, whose case it is, the picture, who else is here, what they
    changed."""
    fresh = here.office.shelf.case(case.subject)
    told = news(here, fresh, form.whole("seen"))
    questions = [
        one for one in _asking(here, fresh, form, read).questions(asked.fields) if one.field.path in form.texts("asked")
    ]
    drawn = {
        one.field.path: here.drawn("question.html", q=one)
        for one in questions
        if one.field.kind in ("rows", "texts") or read.faults
    }
    answer = {
        **_around(here, fresh),
        "seen": fresh.sequence,
        "kept": recorded.entry.sequence if recorded else 0,
        "faults": {name: str(here.words.say(fault.id, **fault.slots)) for name, fault in read.faults.items()},
        "questions": drawn,
        "told": [str(line) for line in told.lines],
        "others": [str(name) for name in told.others],
        "words": {name: here.words.plain(words) for name, words in _SCRIPT_WORDS.items()},
    }
    return Response(answer, status_code=200 if status == 422 else status)


def _around(here: Visitor, case: CaseState) -> dict[str, str]:
    """What stands around the questions and follows from the answers, drawn: the head, what stops, the picture."""
    found = _picture(here, case)
    return {
        "strip": here.drawn("strip.html", case=case),
        "stops": here.drawn("stops.html", case=case),
        "picture": here.drawn("picture.html", picture=found, case=case),
        "glance": here.drawn("glance.html", picture=found) if found else "",
    }


_SCRIPT_WORDS = {"kept": "entry.kept", "not_kept": "entry.not-kept", "undo": "entry.undo"}


@entered("/case/{subject:str}/undo", CARE)
def undo(here: Here, form: Form, subject: str) -> Response[Any]:
    """Take back one's own last change: what it touched says again what it said before."""
    sequence = form.whole("entry")
    after = read_case_state(here.office.record, subject, sequence)
    last = after.history[-1]
    if last.entry.sequence != sequence or last.entry.kind != "changed" or last.entry.account != here.me.id:
        raise NotFoundException("there is nothing of yours to take back")
    before = read_case_state(here.office.record, subject, sequence - 1)
    recorded = enter(here.office.record, here.me, subject, Act("changed", sequence, before.data))
    to = _screen(form.text("screen")).id
    if here.from_script:
        return Response({"to": f"/case/{subject}/enter/{to}?since={recorded.entry.sequence}"})
    return here.go(f"/case/{subject}/enter/{to}?since={recorded.entry.sequence}")


@shown("/case/{subject:str}/news", CARE)
def show_news(here: Here, subject: str, since: int = 0) -> dict[str, Any]:
    """Who else has the case open, and what others entered after ``since``: asked for every fifteen seconds."""
    case = here.office.shelf.case(subject)
    told = news(here, case, since)
    return {
        "seen": case.sequence,
        "told": [str(line) for line in told.lines],
        "paths": list(told.paths),
        "others": [str(name) for name in told.others],
        **_around(here, case),
    }


def _page(
    here: Visitor,
    case: CaseState,
    asked: Screen,
    form: Sent | None = None,
    read: Entered | None = None,
    status: int = 200,
    told: News | None = None,
    mine: int = 0,
) -> Template:
    every = screens()
    place = every.index(asked)
    asking = _asking(here, case, form, read)
    questions = asking.questions(_fields(case, asked))
    return here.page(
        "enter.html",
        status,
        case=case,
        screen=asked,
        screens=every,
        before=every[place - 1] if place else None,
        after=every[place + 1] if place + 1 < len(every) else None,
        questions=questions,
        faults=asking.faults_elsewhere(questions),
        rest=bool(_unanswered(case, asked)),
        usual=_usual(here, case, asked),
        folded=folded(),
        picture=_picture(here, case),
        told=told or news(here, case, case.sequence),
        mine=mine,
    )


def _asking(here: Visitor, case: CaseState, form: Sent | None = None, read: Entered | None = None) -> Asking:
    offered = options(here.office, here.words, case)
    return Asking(here.words, case.data, here.office.zone, offered, form, read, groups(here.office))


def _picture(here: Visitor, case: CaseState) -> Any:
    try:
        return picture(here.office.shelf.assessment(case), here.words)
    except CaseError:
        return None


def _screen(name: str) -> Screen:
    try:
        return screen(name)
    except KeyError as failure:
        raise NotFoundException("there is no such screen") from failure


HANDLERS = [show_screen, keep, undo, show_news]
