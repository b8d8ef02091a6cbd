"""What an entry must hold for its kind, beyond its place in the order: who, when, and which paper."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from pydantic import BaseModel, ConfigDict, ValidationError

from consent.case import Answer, Case
from consent.case.answers import DecisionBasis
from consent.case.part import ShortText
from consent.case.talk import Confirmation, Outcome
from consent.compose.page_code import parse_code, parse_short
from consent.errors import MoveError, PaperError, Problem
from consent.language import Quoted
from consent.record.act import Act
from consent.record.ledger import CLOCK_SLACK, Person
from consent.record.state import CONSENT, CaseState
from consent.wording import remark


class Signed(BaseModel):
    """The patient's signature: by whom, how, on which paper, before whom."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    by: ShortText
    how: ShortText
    code: ShortText
    witness: ShortText | None = None
    interpreter: ShortText | None = None


@dataclass(frozen=True)
class Step:
    """An entry about to be made, and what it is held against.

    ``changed``: the case with it, or None where it stays; ``now``: in the clinic's time zone; ``staff`` names those
    with an account.
    """

    before: CaseState
    act: Act
    changed: Case | None
    person: Person
    now: dt.datetime
    staff: Callable[[], Iterable[str]]

    @property
    def after(self) -> Case:
        """The case with the entry. Raises ``RecordError`` where the patient's identity was erased."""
        return self.before.case if self.changed is None else self.changed


Check = Callable[[Step], Iterator[Problem]]


def check(step: Step) -> None:
    """Raise ``MoveError`` with all that the entry lacks for its kind."""
    act = step.act
    found = _CHECKS.get(act.kind)
    problems = list(found(step)) if found else []
    if not act.details and act.kind in _NEED_DETAILS:
        problems.append(
            Problem("nothing was said about it", act.kind, "", "say what it is about", remark("problem.said-nothing"))
        )
    if problems:
        raise MoveError(problems)


def _consented(step: Step) -> Iterator[Problem]:
    try:
        signed = Signed.model_validate(dict(step.act.details))
    except ValidationError as failure:
        for fault in failure.errors():
            what = "it is missing" if fault["type"] == "missing" else fault["msg"]
            where = f"signature: {'.'.join(map(str, fault['loc']))}"
            yield Problem(what, where, said=remark("problem.signature-lacks"))
        return
    yield from _paper(step.before, signed)
    yield from _signer(signed, step.after)
    yield from _witness(signed, step)


def _paper(before: CaseState, signed: Signed) -> Iterator[Problem]:
    papers = before.sealed(CONSENT)
    if papers is None or not _names(signed.code, papers.code):
        yield Problem(
            "the paper that was signed is not the one that holds now",
            "signature: code",
            "the patient would have agreed to something else",
            "print the current paper, explain what changed, and let that be signed",
            remark("problem.other-paper"),
        )


def _names(given: str, code: str) -> bool:
    """Whether ``given``, scanned, read off the page or typed in full, is the ``code`` of the papers that hold."""
    if given == code:
        return True
    try:
        return parse_code(given).digest == code if ":" in given else code.startswith(parse_short(given))
    except PaperError:
        return False


_WAYS = ("signature", "thumb impression", "other mark")


def _signer(signed: Signed, after: Case) -> Iterator[Problem]:
    decision = after.patient.decision
    if signed.how not in _WAYS:
        yield Problem(f'"{signed.how}" is not a way of signing', "signature: how", remedy=f"write: {', '.join(_WAYS)}")
    expected = after.patient.name if decision.basis is DecisionBasis.SELF else decision.name
    if signed.by != expected:
        yield Problem(
            f'"{signed.by}" signed; {expected or "nobody"} decides',
            "signature: by",
            "a competent adult signs in person; a relative may witness, never replace",
            "let the one who decides sign, or enter why somebody else decides",
            remark("problem.other-signer", by=Quoted(signed.by), expected=Quoted(expected or "–")),
        )


def _witness(signed: Signed, step: Step) -> Iterator[Problem]:
    reads = step.after.patient.reads is Answer.YES and signed.how == "signature"
    if not reads and signed.witness is None:
        yield Problem(
            "no witness is named",
            "signature: witness",
            "who cannot read the form, or makes a mark, has it read out before an impartial witness",
            "name the witness who was there throughout",
            remark("problem.no-witness"),
        )
    if signed.witness is not None and _plain(signed.witness) in {_plain(name) for name in _not_impartial(signed, step)}:
        yield Problem(
            f"{signed.witness} cannot be the witness",
            "signature: witness",
            "a witness is neither the signer, nor one of those who treat, nor somebody who works here",
            "name somebody else who was there throughout",
            remark("problem.not-impartial", name=Quoted(signed.witness)),
        )


def _not_impartial(signed: Signed, step: Step) -> Iterator[str]:
    """Who signs, enters, told or treats: on the plan or on the papers, and everybody with an account."""
    plan, papers = step.after.plan, step.before.sealed(CONSENT)
    yield from (signed.by, step.person.name, plan.surgeon.name, *(helper.name for helper in plan.others))
    yield from filter(None, (step.after.talk.by, papers and papers.by))
    yield from step.staff()


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _explained(step: Step) -> Iterator[Problem]:
    talk, plan = step.after.talk, step.after.plan
    if talk.at is None or talk.by is None:
        remedy = "enter talk.at and talk.by"
        yield Problem("the talk has no time or nobody who held it", "talk", "", remedy, remark("problem.no-talk"))
    yield from _ahead(talk.at, "talk.at", step)
    if talk.at is not None and _day(talk.at, step) > plan.date:
        yield Problem(
            f"the talk lies after the day of the operation, {plan.date:%Y-%m-%d}",
            "talk.at",
            "what is agreed to would be printed with a day that is past",
            "enter the day as it is planned now, or correct the time of the talk",
            remark("problem.talk-too-late", date=plan.date),
        )


def _ahead(at: dt.datetime | None, where: str, step: Step) -> Iterator[Problem]:
    """A problem where something is said to have happened that has not come yet."""
    if at is not None and at > step.now + CLOCK_SLACK:
        here = at.astimezone(step.now.tzinfo)
        yield Problem(
            f"{at:%Y-%m-%d %H:%M} has not come yet",
            where,
            "what is recorded has happened",
            "correct the time, or the clock of this machine",
            remark("problem.not-yet", date=here.date(), time=here.time().replace(second=0, microsecond=0)),
        )


def _day(at: dt.datetime, step: Step) -> dt.date:
    """The day of ``at`` where the clinic is."""
    return at.astimezone(step.now.tzinfo).date()


def _decided(wanted: Outcome) -> Check:
    def look(step: Step) -> Iterator[Problem]:
        talk = step.after.talk
        if talk.outcome is not wanted:
            yield Problem(
                f'talk.outcome says "{talk.outcome}"', "talk.outcome", remedy=f'enter "{wanted}" with this entry'
            )
        yield from _ahead(talk.at, "talk.at", step)

    return look


def _confirmed(step: Step) -> Iterator[Problem]:
    second = step.after.confirmation
    if second is None or second == step.before.case.confirmation:
        remedy = "enter the questions and their answers"
        yield Problem("what was asked today is missing", "confirmation", "", remedy, remark("problem.nothing-asked"))
        return
    yield from _changed(second)
    yield from _not_asked(second)
    yield from _second_look(second.at, step)


_WISH = "the patient's wish"


def _changed(second: Confirmation) -> Iterator[Problem]:
    changed = [change.value for change, answer in second.changes.items() if answer is Answer.YES]
    if second.still_wishes is Answer.NO or changed:
        yield Problem(
            "something has changed: " + ", ".join([*([_WISH] if second.still_wishes is Answer.NO else []), *changed]),
            "confirmation",
            "consent that was given for something else does not hold",
            "enter it as not confirmed, talk again, and sign a new version",
            remark("problem.something-changed"),
        )


def _not_asked(second: Confirmation) -> Iterator[Problem]:
    asked = {_WISH: second.still_wishes, **{change.value: answer for change, answer in second.changes.items()}}
    left = [name for name, answer in asked.items() if answer is Answer.UNKNOWN]
    if left:
        yield Problem(
            f"not asked yet: {', '.join(left)}",
            "confirmation",
            "what nobody asked may have changed",
            "ask the patient, and enter each answer",
            remark("problem.not-asked"),
        )


def _second_look(at: dt.datetime, step: Step) -> Iterator[Problem]:
    """When it was: after the signature, on the day of the operation, and not in time to come."""
    signed = next(told.entry.at for told in reversed(step.before.history) if told.entry.kind == "consented")
    if at < signed:
        yield Problem(
            "the second look lies before the patient's signature",
            "confirmation.at",
            remedy="correct the time, or enter the confirmation that was made after it",
            said=remark("problem.before-signature"),
        )
    if _day(at, step) != step.after.plan.date:
        yield Problem(
            f"the operation was agreed to for {step.after.plan.date:%Y-%m-%d}, not for {_day(at, step):%Y-%m-%d}",
            "confirmation.at",
            "the second look is of the day of surgery, and the day stands on what was signed",
            "correct the time; or enter the new day, tell it, and have it signed",
            remark("problem.other-day", agreed=step.after.plan.date, entered=_day(at, step)),
        )
    yield from _ahead(at, "confirmation.at", step)


def _done(step: Step) -> Iterator[Problem]:
    done = step.after.done
    if done is None:
        remedy = "enter done: the steps, the lens, the capsule"
        yield Problem("what was done is missing", "done", "", remedy, remark("problem.nothing-done"))
    elif done.side is None:
        what = "the eye that was operated on is missing"
        yield Problem(what, "done.side", "", "write right or left", remark("problem.no-eye"))


def _first_day(step: Step) -> Iterator[Problem]:
    yield from _done(step)
    old, new = step.before.case, step.after
    if (old.day1, old.done, old.visits) == (new.day1, new.done, new.visits):
        remedy = "enter day1: what was found; or what is put right in done or the visits"
        yield Problem("nothing was entered of the first day", "day1", "", remedy, remark("problem.no-first-day"))


def _own_name(step: Step) -> Iterator[Problem]:
    """What is decided in somebody's name is entered by that person."""
    person = step.person
    for where, by, registration in _decisions(step.before, step.act, step.after):
        if by != person.name or (registration is not None and registration != person.registration):
            yield Problem(
                f"it is entered by {person.name}, and says {by}",
                where,
                "nobody decides in another's name",
                "log in as the one who decided",
                remark("problem.other-name", person=Quoted(person.name), by=Quoted(by)),
            )


def _decisions(before: CaseState, act: Act, after: Case) -> Iterator[tuple[str, str, str | None]]:
    old = before.case
    if act.kind == "answered":
        yield from (
            (f"answers: {one.point}", one.by, one.registration) for one in after.answers if one not in old.answers
        )
    elif act.kind == "drops-changed":
        changes = (one for one in after.drop_changes if one not in old.drop_changes)
        yield from (("drop_changes", one.by, one.registration) for one in changes)
    elif after.figures_accepted is not None:
        yield "figures_accepted", after.figures_accepted.by, after.figures_accepted.registration


def _drops_changed(step: Step) -> Iterator[Problem]:
    old, new = step.before.case, step.after
    if (old.drop_changes, old.regimen) == (new.drop_changes, new.regimen):
        remedy = "enter from which day, which regimen, and why"
        yield Problem("no drops were changed", "drop_changes", "", remedy, remark("problem.no-drops-changed"))
    yield from _own_name(step)


_CHECKS: dict[str, Check] = {
    "explained": _explained,
    "answered": _own_name,
    "figures-accepted": _own_name,
    "consented": _consented,
    "declined": _decided(Outcome.REFUSES),
    "wants-time": _decided(Outcome.WANTS_TIME),
    "confirmed": _confirmed,
    "done": _done,
    "done-out-of-order": _done,
    "first-day": _first_day,
    "drops-changed": _drops_changed,
}
_NEED_DETAILS = frozenset({"looked-at"})
