"""Puts the clinic's regimens in order for one case, each with what speaks for and against it. The surgeon chooses."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from consent.case import Case
from consent.clinic import Clinic
from consent.drops.checks import Finding, check_drops
from consent.drops.formulary import Formulary, read_formulary
from consent.drops.plan import plan_drops
from consent.drops.regimens import Regimen, read_regimens
from consent.drops.situations import Situation, situations_of
from consent.errors import DropsError

_SETTLED_BY_A_DATE = frozenset({"steroid-without-pressure-visit", "nsaid-without-cornea-visit", "review-without-visit"})
"""Asks that every longer course draws, whatever the eye, until a visit is booked."""

_HAPPENED = frozenset({Situation.TORN_CAPSULE})
"""Situations that only the operation brings."""


@dataclass(frozen=True)
class Reason:
    """A situation that a regimen names and this patient has, with the facts that make it true."""

    situation: Situation
    facts: tuple[str, ...]


@dataclass(frozen=True)
class Candidate:
    """One regimen for this case: what it suits, what it is unsuited to, the stops and asks against it.

    ``for_others``: it is made for situations, none of them this patient's, and it is not the clinic's own.
    ``against`` leaves out what does not tell regimens apart; ``findings`` are all that it draws, notes too.
    ``error`` is why no plan can be made with it, if so.
    """

    regimen: Regimen
    reasons: tuple[Reason, ...] = ()
    unsuited: tuple[Reason, ...] = ()
    for_others: bool = False
    against: tuple[Finding, ...] = ()
    findings: tuple[Finding, ...] = ()
    error: str | None = None

    @property
    def stops(self) -> tuple[Finding, ...]:
        """Findings against it that forbid it until a clinician overrides them."""
        return tuple(finding for finding in self.against if finding.severity == "stop")

    @property
    def asks(self) -> int:
        """How many questions stand against it; one that a date in the visit book settles is not counted."""
        return sum(f.severity == "ask" and f.id not in _SETTLED_BY_A_DATE for f in self.against)

    @property
    def may_be_proposed(self) -> bool:
        """Whether a plan can be made, without a stop, and the regimen is made for this patient or for everybody."""
        return self.error is None and not self.stops and not self.unsuited and not self.for_others


@dataclass(frozen=True)
class Proposal:
    """Every regimen, the best first. ``chosen`` is the id of the first, ``None`` where none may be proposed."""

    candidates: tuple[Candidate, ...]
    chosen: str | None


def propose(case: Case, clinic: Clinic) -> Proposal:
    """Return the regimens of ``clinic`` in the order in which they fit ``case``.

    The case's own ``plan.regimen`` and ``drop_changes`` are ignored: each regimen is looked at as if it were given.

    1. What may not be proposed comes last: unsuited to this patient, then a stop against it, then no plan possible.
    2. What suits something that happened in the operation comes before what was foreseen; then, the more of its
       situations the patient has, the higher.
    3. Of those without any, regimens made for situations come last and are not proposed; the clinic's own counts as
       made for everybody.
    4. The fewer asks against it, the higher. A missing visit is not counted: it asks for a date.
    5. The clinic's own regimen (``drops.regimen``) before others.
    6. The order of the file.

    Findings that do not tell regimens apart are left out of ``against``: those that a patient without any drops of
    ours draws too (such as one on a long-standing drop, or eyes that disagree), and asks that every regimen with
    drops draws (such as allergies not asked). Raises ``DropsError`` if the clinic's drugs or regimens are not in order.
    """
    holding = situations_of(case)
    formulary = read_formulary(clinic)
    regimens = read_regimens(clinic, formulary).values()
    candidates = _telling([_candidate(regimen, case, clinic, formulary, holding) for regimen in regimens])
    ranked = sorted(candidates, key=lambda candidate: _rank(candidate, clinic.drops.regimen))
    best = next(iter(ranked), None)
    return Proposal(tuple(ranked), best.regimen.id if best and best.may_be_proposed else None)


def _candidate(
    regimen: Regimen,
    case: Case,
    clinic: Clinic,
    formulary: Formulary,
    holding: Mapping[Situation, tuple[str, ...]],
) -> Candidate:
    reasons, unsuited = (
        tuple(Reason(situation, holding[situation]) for situation in named if situation in holding)
        for named in (regimen.suits, regimen.unsuited)
    )
    for_others = bool(regimen.suits) and not reasons and regimen.id != clinic.drops.regimen
    candidate = Candidate(regimen, reasons, unsuited, for_others)
    try:
        findings = findings_of(regimen, case, clinic, formulary)
    except DropsError as error:
        return replace(candidate, error=str(error))
    return replace(
        candidate, findings=findings, against=tuple(finding for finding in findings if finding.severity != "note")
    )


def findings_of(regimen: Regimen, case: Case, clinic: Clinic, formulary: Formulary) -> tuple[Finding, ...]:
    """Return every finding that ``regimen`` draws in ``case``, as if it were given from the day of surgery."""
    plan = case.plan.model_copy(update={"regimen": regimen.id})
    done = case.done.model_copy(update={"regimen": None}) if case.done else None
    ordered = case.model_copy(update={"plan": plan, "done": done, "drop_changes": ()})
    return check_drops(plan_drops(ordered, clinic), ordered, formulary)


def _telling(candidates: Sequence[Candidate]) -> list[Candidate]:
    """``candidates`` without the findings that do not tell them apart."""
    planned = [candidate for candidate in candidates if candidate.error is None]
    given = [one for one in planned if not one.regimen.drop_free]
    without = [one for one in planned if one.regimen.drop_free]
    anyway = {_key(f) for one in without for f in one.against} & {_key(f) for one in given for f in one.against}
    asked = [{f.id for f in one.against if f.severity == "ask"} for one in given]
    alike = set.intersection(*asked) if asked else set()
    return [replace(one, against=tuple(_left(one.against, anyway, alike))) for one in candidates]


def _left(findings: Iterable[Finding], anyway: set[tuple[object, ...]], alike: set[str]) -> Iterable[Finding]:
    for finding in findings:
        drawn_by_all = finding.severity == "ask" and finding.id in alike
        if not drawn_by_all and _key(finding) not in anyway:
            yield finding


def _key(finding: Finding) -> tuple[object, ...]:
    return finding.id, finding.severity, finding.facts


def _rank(candidate: Candidate, default: str) -> tuple[int, bool, int, bool, int, bool]:
    last = 3 if candidate.error is not None else 2 if candidate.stops else 1 if candidate.unsuited else 0
    own = candidate.regimen.id == default
    foreseen = not any(reason.situation in _HAPPENED for reason in candidate.reasons)
    return last, foreseen, -len(candidate.reasons), candidate.for_others, candidate.asks, not own
