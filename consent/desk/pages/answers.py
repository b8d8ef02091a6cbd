"""What the surgeon enters from the review: answers to points, acceptance of the figures, sent back, signed off."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from litestar import Response
from litestar.response import Redirect, Template

from consent.desk.as_seen import as_seen, refuse_other_settings
from consent.desk.faults import status_of
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.in_the_way import in_the_way
from consent.desk.pages.review import review_page
from consent.desk.reviewing import Review, Typed, signing
from consent.desk.routes import entered
from consent.desk.told import fault
from consent.errors import AccessError, ConflictError, ConsentError, MoveError, Problem
from consent.record.act import Act
from consent.record.entering import enter, prove
from consent.record.moves import Role
from consent.record.state import CONSENT, CaseState
from consent.review import Point, Severity

_SURGEON = (Role.SURGEON,)
_WHY, _TAKE_ON = "why.", "take-on."
SECONDS = 8
"""What sealing the papers of a case takes."""


@entered("/case/{subject:str}/answer", _SURGEON)
def answer(here: Here, subject: str, form: Form) -> Response[Any]:
    """Record every reason that was written, in one entry."""
    seen = as_seen(here, subject, form)
    typed = replace(_typed(form), at="points")
    given = typed.why
    points = answerable(here.office.shelf.pack(here.office.shelf.case(subject)).points)
    if not given:
        return _again(here, subject, typed, "look.fault.no-reason", 422)
    if given.keys() - points.keys():
        return _again(here, subject, typed, "look.fault.changed-point", 409)
    if lacking := _lacking(given, points, form):
        return _again(here, subject, replace(typed, lacking=lacking), next(iter(lacking.values())), 422)
    answers = [_answer(here, points[key], text) for key, text in given.items()]
    data = {**seen.data, "answers": [*seen.data.get("answers", ()), *answers]}
    return _entered(here, subject, Act("answered", seen.sequence, data), typed, "points")


def _typed(form: Sent) -> Typed:
    """The reasons that were typed, and which stops are taken on with them."""
    why = {name.removeprefix(_WHY): form.text(name) for name in form.names() if name.startswith(_WHY)}
    given = {key: text for key, text in why.items() if text}
    return Typed(why=given, taken_on=frozenset(key for key in given if form.text(_TAKE_ON + key) == "yes"))


@entered("/case/{subject:str}/accept-figures", _SURGEON)
def accept_figures(here: Here, subject: str, form: Form) -> Response[Any]:
    """Accept the figures as they stood on the page; answers that were typed and not sent are shown again."""
    seen = as_seen(here, subject, form)
    data = {**seen.data, "figures_accepted": _decided(here)}
    typed = _typed(form)
    act = Act("figures-accepted", seen.sequence, data)
    answer = _entered(here, subject, act, replace(typed, at="numbers"), "numbers")
    if typed.why and isinstance(answer, Redirect):
        return review_page(here, here.office.shelf.case(subject), typed)
    return answer


@entered("/case/{subject:str}/send-back", _SURGEON)
def send_back(here: Here, subject: str, form: Form) -> Response[Any]:
    """Give the case back to the counsellor, or make papers void that are signed already."""
    seen, reason = as_seen(here, subject, form), form.text("reason")
    typed = Typed(back=reason, at="back")
    if not reason:
        return _again(here, subject, typed, "look.fault.no-reason", 422)
    kind = "voided" if form.text("kind") == "voided" else "sent-back"
    return _entered(here, subject, Act(kind, seen.sequence, reason=reason), typed)


@entered("/case/{subject:str}/sign-off", _SURGEON)
def sign_off(here: Here, subject: str, form: Form) -> Response[Any]:
    """Begin sealing the papers; what the record would refuse is told before anything is begun."""
    case = here.office.shelf.case(subject)
    try:
        refuse_other_settings(here, form)
    except ConflictError as error:
        return _page(here, case, Typed(at="sign"), error)
    if in_the_way(here.office.shelf.pack(case), CONSENT, here.words):
        return _again(here, subject, Typed(at="sign"), "look.fault.in-the-way", 409)
    if problem := password_problem(here, form):
        return _page(here, case, Typed(at="sign"), AccessError(problem), 422)
    act = Act("signed-off", as_seen(here, subject, form).sequence)
    return begin_signing(here, subject, act, form, f"/case/{subject}/review")


def begin_signing(here: Visitor, subject: str, act: Act, form: Sent, back: str) -> Redirect:
    """Start making the papers that ``act`` seals, and go where one waits for them."""
    about = signing(subject, act.kind)
    if under_way := here.office.work.under_way(about):
        return here.go(f"/making/{under_way.id}" if under_way.account == here.me.id else f"/case/{subject}/papers")
    order = {"account": here.me, "subject": subject, "act": act, "password": form.raw("password")}
    piece = here.office.work.begin("enter", order, here.me.id, "work.signing", SECONDS, back, about)
    return here.go(f"/making/{piece.id}")


def password_problem(here: Visitor, form: Sent) -> Problem | None:
    """What is wrong with the password that was typed to sign with; none where it is the person's own. A try is kept."""
    if not form.raw("password"):
        return fault("look.fault.password")
    try:
        prove(here.office.record, here.me, form.raw("password"))
    except AccessError as error:
        (problem,) = error.problems
        # A refusal without a reason is that of a wrong password; the others say what to do.
        return problem if problem.why else fault("look.fault.wrong-password")
    return None


def answerable(points: tuple[Point, ...]) -> dict[str, Point]:
    """Those of ``points`` that wait for an answer and can be settled by one, by their keys."""
    return {
        point.key: point
        for point in points
        if point.severity is not Severity.NOTE and point.overridable and point.answer is None
    }


def _lacking(given: Mapping[str, str], points: Mapping[str, Point], form: Sent) -> dict[str, str]:
    """What each answer lacks, by the key of its point: against a stop, a whole sentence and a tick of its own."""
    found = {}
    for key, text in given.items():
        stop = points[key].severity is Severity.STOP
        if len(text) < (Review.sentence if stop else Review.short):
            found[key] = "look.fault.sentence" if stop else "look.fault.short"
        elif stop and form.text(_TAKE_ON + key) != "yes":
            found[key] = "look.fault.take-on"
    return found


def _decided(here: Visitor) -> dict[str, Any]:
    me = here.me
    return {"by": me.name, "registration": me.registration or "", "at": here.office.now.isoformat()}


def _answer(here: Visitor, point: Point, why: str) -> dict[str, Any]:
    return {"point": point.id, "key": point.key, "why": why, **_decided(here)}


def _entered(here: Visitor, subject: str, act: Act, typed: Typed, at: str = "") -> Response[Any]:
    """Record ``act`` and show the case; where it cannot be recorded, show the page again with what was typed."""
    try:
        enter(here.office.record, here.me, subject, act)
    except ConsentError as error:
        return _page(here, here.office.shelf.case(subject), typed, error)
    return here.go(f"/case/{subject}/review{'#' if at else ''}{at}")


def _again(here: Visitor, subject: str, typed: Typed, words: str, status: int) -> Template:
    return _page(here, here.office.shelf.case(subject), typed, MoveError(fault(words)), status)


def _page(here: Visitor, case: CaseState, typed: Typed, error: ConsentError, status: int = 0) -> Template:
    return review_page(here, case, replace(typed, problems=error.problems), status or status_of(error))


HANDLERS = [answer, accept_figures, send_back, sign_off]
