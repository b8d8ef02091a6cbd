"""What came of the talk: yes, no, or time; the patient's signature; a changed mind."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from litestar.response import Template

from consent.case import Answer, Case, DecisionBasis, Outcome, Topic, Understood
from consent.compose.signing import needs_reader
from consent.desk.as_seen import as_seen
from consent.desk.entry import Entered, read_entry
from consent.desk.entry import shown as answered
from consent.desk.fields import Field, field
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.options import options
from consent.desk.questions import Asking
from consent.desk.refused import refused_steps
from consent.desk.routes import entered, shown
from consent.desk.told import fault
from consent.errors import ConsentError, Problem
from consent.language import Quoted
from consent.record.accounts import read_accounts
from consent.record.act import Act
from consent.record.cases import read_case_state
from consent.record.entering import enter
from consent.record.moves import Role, State, move
from consent.record.state import CONSENT, CaseState
from consent.wording import Remark, remark

WHO = (Role.COUNSELLOR, Role.SURGEON)
_ASKED = (
    "talk.language",
    "talk.speaks_the_language",
    "talk.after_sedation",
    "talk.aids",
    "talk.copy_given",
    "talk.witness",
    "talk.witness_in_treating_team",
)
_OUTCOMES = {Outcome.AGREES: "explained", Outcome.WANTS_TIME: "wants-time", Outcome.REFUSES: "declined"}
_SIGNED = ("by", "how", "code", "witness", "interpreter")
WAYS = ("signature", "thumb impression", "other mark")


def _fields(here: Visitor, case: CaseState) -> tuple[Field, ...]:
    same_day = case.case.plan.date <= here.office.today
    paths = (*_ASKED, *(("talk.same_day_reason",) if same_day else ()), "talk.outcome_words", "talk.decide_by")
    return tuple(field(path) for path in paths)


def _if_so(case: CaseState) -> frozenset[str]:
    """Questions that are answered only where they apply."""
    witness = () if needs_reader(case.case) else ("talk.witness", "talk.witness_in_treating_team")
    return frozenset(("talk.after_sedation", "talk.outcome_words", "talk.decide_by", *witness))


@shown("/case/{subject:str}/decision", WHO)
def show_decision(here: Here, subject: str) -> Template:
    """How the talk was held, and what the patient decided."""
    return _page(here, here.office.shelf.case(subject))


@entered("/case/{subject:str}/decision", WHO)
def decide(here: Here, form: Form, subject: str) -> Any:
    """Keep the talk with its outcome: an agreement goes to the surgeon, a no or a wish for time ends it for now."""
    case = read_case_state(here.office.record, subject, form.whole("seen") or None)
    read = read_entry(form, _fields(here, case), _begun(case), here.office.zone)
    outcome = next((one for one in _OUTCOMES if one.value == form.text("outcome")), None)
    read = _witness(here, case, read)
    if read.faults or outcome is None:
        problems = () if outcome else (fault("talk.choose"),)
        return _page(here, case, form, read, problems, 422)
    lacking = _lacking(case, read) if outcome is Outcome.AGREES and not form.text("without") else {}
    if lacking:
        return _page(here, case, form, replace(read, faults=lacking), status=422)
    talk = {**_without_ticks(read.data["talk"]), **_held(here, case), "outcome": outcome.value}
    try:
        enter(here.office.record, here.me, subject, Act(_OUTCOMES[outcome], case.sequence, {**read.data, "talk": talk}))
    except ConsentError as error:
        return _page(here, here.office.shelf.case(subject), form, read, error.problems, 409)
    return here.go(f"/case/{subject}")


def _without_ticks(talk: dict[str, Any]) -> dict[str, Any]:
    """The talk without what was ticked on a form that was signed before: a new form is ticked anew."""
    return {name: value for name, value in talk.items() if name not in ("steps_answered", "steps_refused")}


def _witness(here: Visitor, case: CaseState, read: Entered) -> Entered:
    """``read`` with a fault where the witness works here: it is seen now, not when the paper is signed."""
    name = str(read.data.get("talk", {}).get("witness") or "")
    with here.office.record.store.reading() as connection:
        accounts = read_accounts(connection, here.office.record.key).values()
    plan = case.case.plan
    staff = {plan.surgeon.name, here.me.name, *(one.name for one in plan.others), *(one.name for one in accounts)}
    if not name or name.casefold() not in {one.casefold() for one in staff}:
        return read
    return replace(read, faults={**read.faults, "talk.witness": remark("talk.witness-works-here", name=Quoted(name))})


def _lacking(case: CaseState, read: Entered) -> dict[str, Remark]:
    """What a yes can be kept without, but not by oversight, by the question that would give it; else under ``""``."""
    unnamed = needs_reader(case.case) and not answered(read.data, "talk.witness")
    found = {"talk.witness": remark("talk.no-witness")} if unnamed else {}
    return found | ({"": remark("talk.unasked")} if _not_said_back(case) else {})


def _begun(case: CaseState) -> dict[str, Any]:
    """The case with the language of the talk taken for granted: the patient's own."""
    talk = case.data.get("talk", {})
    return {**case.data, "talk": {"language": case.case.patient.language, **talk}}


def _held(here: Visitor, case: CaseState) -> dict[str, Any]:
    """When, by whom, and the plan as it was told."""
    plan = case.case.plan
    told = {
        "side": plan.side.value,
        "operation": plan.operation.value,
        "anaesthesia": plan.anaesthesia.value if plan.anaesthesia else None,
        "lens_design": plan.lens.design.value if plan.lens else None,
        "lens_power_d": plan.lens.power_d if plan.lens else None,
        "surgeon": plan.surgeon.name,
        "date": plan.date.isoformat(),
    }
    role = Role.SURGEON if here.is_a(Role.SURGEON) and not here.is_a(Role.COUNSELLOR) else Role.COUNSELLOR
    return {
        "at": here.office.now.isoformat(),
        "by": here.me.name,
        "role": role.value,
        "told": {name: value for name, value in told.items() if value is not None},
    }


def _page(
    here: Visitor,
    case: CaseState,
    form: Sent | None = None,
    read: Entered | None = None,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
) -> Template:
    asking = Asking(here.words, read.data if read else _begun(case), here.office.zone, options(here.office), form, read)
    if_so = _if_so(case)
    fields = _fields(here, case)
    return here.page(
        "talk-decision.html",
        status,
        case=case,
        questions=asking.questions(one for one in fields if one.path not in if_so),
        if_so=asking.questions(one for one in fields if one.path in if_so),
        refused=refused_steps(case),
        incomplete=bool(read and read.faults and not read.held_back),
        problems=problems,
        outcomes=[(one.value, kind) for one, kind in _OUTCOMES.items() if case.state in move(kind).origins],
        chosen=form.text("outcome") if form else "",
        unasked=_not_said_back(case),
    )


def _not_said_back(case: CaseState) -> list[Topic]:
    """What the patient was not asked about, or could not say back so far."""
    said = {one.question for one in case.case.talk.said_back if one.result is not Understood.NOT_YET}
    return [topic for topic in Topic if topic not in said]


@shown("/case/{subject:str}/consented", WHO)
def show_signing(here: Here, subject: str) -> Template:
    """Which paper the patient signs, who signs it, and before whom."""
    return _signing(here, here.office.shelf.case(subject))


@entered("/case/{subject:str}/consented", WHO)
def keep_signature(here: Here, form: Form, subject: str) -> Any:
    """Keep that the paper that holds was signed, how, by whom and before whom."""
    details = {
        name: form.text(name)[:200] for name in ("by", "how", "code", "witness", "interpreter") if form.text(name)
    }
    case = as_seen(here, subject, form)
    ticks = {step: form.text(f"step.{step}") for step in case.case.plan.extra_steps}
    if not set(ticks.values()) <= {"yes", "no"}:
        return _signing(here, here.office.shelf.case(subject), form, (fault("signing.steps-left"),), 422)
    if _contradicts(case.case, form):
        return _signing(here, here.office.shelf.case(subject), form, (fault("signing.cannot-write"),), 422)
    refused = [step.value for step, tick in ticks.items() if tick == "no"]
    talk = {**case.data["talk"], "steps_answered": "yes", "steps_refused": refused}
    data = {**case.data, "talk": talk} if ticks else None
    try:
        enter(here.office.record, here.me, subject, Act("consented", form.whole("seen"), data, details=details))
    except ConsentError as error:
        return _signing(here, here.office.shelf.case(subject), form, error.problems, 409)
    return here.go(f"/case/{subject}")


def _contradicts(case: Case, form: Sent) -> bool:
    """Whether somebody who cannot write is said to have signed, and nobody has said that it is so."""
    own = case.patient.decision.basis is DecisionBasis.SELF and case.patient.writes_name is Answer.NO
    return own and form.text("how") == "signature" and form.text("sure") != "yes"


def _signing(
    here: Visitor, case: CaseState, form: Sent | None = None, problems: tuple[Problem, ...] = (), status: int = 200
) -> Template:
    held = case.sealed(CONSENT)
    patient = case.case.patient
    signer = patient.name if patient.decision.basis is DecisionBasis.SELF else patient.decision.name
    return here.page(
        "talk-sign.html",
        status,
        case=case,
        held=held,
        may=case.state in move("consented").origins,
        signer=signer or "",
        ways=WAYS,
        reader=needs_reader(case.case),
        problems=problems,
        faults=_by_field(problems),
        steps=case.case.plan.extra_steps,
        contradicts=form is not None and _contradicts(case.case, form),
        form=form,
    )


def _by_field(problems: tuple[Problem, ...]) -> dict[str, list[Problem]]:
    """What is wrong with each field of the signature; under the place of a problem that is no field's."""
    found: dict[str, list[Problem]] = {}
    for one in problems:
        found.setdefault(one.where.removeprefix("signature: "), []).append(one)
    return found


@shown("/case/{subject:str}/mind", (*WHO, Role.THEATRE))
def show_mind(here: Here, subject: str) -> Template:
    """The patient no longer wishes it, or wishes it again."""
    return _mind(here, here.office.shelf.case(subject))


@entered("/case/{subject:str}/mind", (*WHO, Role.THEATRE))
def change_mind(here: Here, form: Form, subject: str) -> Any:
    """Keep it, with what the patient said."""
    case = here.office.shelf.case(subject)
    kind = _mind_kind(case)
    try:
        act = Act(kind, form.whole("seen"), reason=form.text("reason")[:1000] or None)
        enter(here.office.record, here.me, subject, act)
    except ConsentError as error:
        return _mind(here, here.office.shelf.case(subject), form.text("reason"), error.problems, 409)
    return here.go(f"/case/{subject}")


def _mind_kind(case: CaseState) -> str:
    return "withdrawn" if case.state in (State.CONSENTED, State.CONFIRMED) else "reopened"


def _mind(
    here: Visitor, case: CaseState, reason: str = "", problems: tuple[Problem, ...] = (), status: int = 200
) -> Template:
    row = move(_mind_kind(case))
    may = case.state in row.origins and here.is_a(*row.roles)
    return here.page("talk-mind.html", status, case=case, may=may, reason=reason, problems=problems)


HANDLERS = [show_decision, decide, show_signing, keep_signature, show_mind, change_mind]
