"""What an entry must hold for its kind, beyond its place in the order: who, when, and which paper."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pydantic import BaseModel, ConfigDict, ValidationError

from consent.case import Answer, Case
from consent.case.answers import DecisionBasis
from consent.case.part import ShortText
from consent.case.talk import Outcome
from consent.compose.page_code import parse_code, parse_short
from consent.errors import MoveError, PaperError, Problem
from consent.record.act import Act
from consent.record.ledger import Person
from consent.record.state import CONSENT, CaseState


class Signed(BaseModel):
    """The patient's signature: by whom, how, on which paper, before whom."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    by: ShortText
    how: ShortText
    code: ShortText
    witness: ShortText | None = None
    interpreter: ShortText | None = None


Check = Callable[[CaseState, Act, Case, Person], Iterator[Problem]]


def check(before: CaseState, act: Act, after: Case | None, person: Person) -> None:
    """Raise ``MoveError`` with all that ``act`` lacks for its kind. ``after``: the case with it, where it changes."""
    found = _CHECKS.get(act.kind)
    problems = list(found(before, act, after or before.case, person)) if found else []
    if not act.details and act.kind in _NEED_DETAILS:
        problems.append(Problem("nothing was said about it", act.kind, remedy="say what it is about"))
    if problems:
        raise MoveError(problems)


def _consented(before: CaseState, act: Act, after: Case, person: Person) -> Iterator[Problem]:
    try:
        signed = Signed.model_validate(dict(act.details))
    except ValidationError as failure:
        for fault in failure.errors():
            yield Problem(fault["msg"], f"signature: {'.'.join(map(str, fault['loc']))}")
        return
    yield from _paper(before, signed)
    yield from _signer(signed, after)
    yield from _witness(signed, after, person)


def _paper(before: CaseState, signed: Signed) -> Iterator[Problem]:
    papers = before.sealed(CONSENT)
    if papers is None or not _names(signed.code, papers.code):
        yield Problem(
            "the paper that was signed is not the one that holds now",
            "signature: code",
            "the patient would have agreed to something else",
            "print the current paper, explain what changed, and let that be signed",
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
        )


def _witness(signed: Signed, after: Case, person: Person) -> Iterator[Problem]:
    reads = after.patient.reads is Answer.YES and signed.how == "signature"
    if not reads and signed.witness is None:
        yield Problem(
            "no witness is named",
            "signature: witness",
            "who cannot read the form, or makes a mark, has it read out before an impartial witness",
            "name the witness who was there throughout",
        )
    not_impartial = (person.name, after.talk.by, after.plan.surgeon.name, signed.by)
    if signed.witness is not None and _plain(signed.witness) in {_plain(name) for name in not_impartial if name}:
        yield Problem(
            f"{signed.witness} cannot be the witness",
            "signature: witness",
            "a witness is neither the signer nor one of those who treat",
            "name somebody else who was there throughout",
        )


def _plain(name: str) -> str:
    return " ".join(name.casefold().split())


def _explained(_: CaseState, __: Act, after: Case, ___: Person) -> Iterator[Problem]:
    if after.talk.at is None or after.talk.by is None:
        yield Problem("the talk has no time or nobody who held it", "talk", remedy="enter talk.at and talk.by")


def _decided(wanted: Outcome) -> Check:
    def look(_: CaseState, __: Act, after: Case, ___: Person) -> Iterator[Problem]:
        if after.talk.outcome is not wanted:
            yield Problem(
                f'talk.outcome says "{after.talk.outcome}"', "talk.outcome", remedy=f'enter "{wanted}" with this entry'
            )

    return look


def _confirmed(before: CaseState, _: Act, after: Case, __: Person) -> Iterator[Problem]:
    second = after.confirmation
    if second is None or after.confirmation == before.case.confirmation:
        yield Problem("what was asked today is missing", "confirmation", remedy="enter the questions and their answers")
        return
    changed = [change.value for change, answer in second.changes.items() if answer is not Answer.NO]
    if second.still_wishes is not Answer.YES or changed:
        yield Problem(
            "something may have changed: " + (", ".join(changed) or "the patient's wish"),
            "confirmation",
            "consent that was given for something else does not hold",
            "enter it as not confirmed, talk again, and sign a new version; or ask what was left open",
        )
    signed = next(told.entry.at for told in reversed(before.history) if told.entry.kind == "consented")
    if second.at < signed:
        yield Problem(
            "the second look lies before the patient's signature",
            "confirmation.at",
            remedy="correct the time, or enter the confirmation that was made after it",
        )


def _done(before: CaseState, _: Act, after: Case, __: Person) -> Iterator[Problem]:
    if after.done is None:
        yield Problem("what was done is missing", "done", remedy="enter done: the steps, the lens, the capsule")
    elif after.done.side is None:
        yield Problem("the eye that was operated on is missing", "done.side", remedy="write right or left")
    del before


def _own_name(before: CaseState, act: Act, after: Case, person: Person) -> Iterator[Problem]:
    """What is decided in somebody's name is entered by that person."""
    for where, by, registration in _decisions(before, act, after):
        if by != person.name or (registration is not None and registration != person.registration):
            yield Problem(
                f"it is entered by {person.name}, and says {by}",
                where,
                "nobody decides in another's name",
                "log in as the one who decided",
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


def _drops_changed(before: CaseState, act: Act, after: Case, person: Person) -> Iterator[Problem]:
    if after.drop_changes == before.case.drop_changes:
        yield Problem("no drops were changed", "drop_changes", remedy="enter from which day, which regimen, and why")
    yield from _own_name(before, act, after, person)


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
    "drops-changed": _drops_changed,
}
_NEED_DETAILS = frozenset({"looked-at"})
