"""Choosing drops: every regimen with what speaks for and against it, and what an order would raise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from consent.desk.here import Visitor
from consent.drops import Finding
from consent.drops.formulary import read_formulary
from consent.drops.proposal import Candidate
from consent.record.moves import State
from consent.record.state import AFTERCARE, CaseState, case_of
from consent.record.voiding import voided_by
from consent.review import Assessment, Point, Severity, assess

_FIRST = 3
"""Regimens shown open; the others are a tap away."""


@dataclass(frozen=True)
class Drug:
    """One drug of a regimen: its name, how often a day step by step, and its days. ``eyes`` as in the regimen."""

    name: str
    steps: str
    days: int
    eyes: str


@dataclass(frozen=True)
class Choosable:
    """One regimen as it is offered. ``ordered``: it is what the case says now."""

    candidate: Candidate
    drugs: tuple[Drug, ...]
    ordered: bool
    own: bool

    @property
    def id(self) -> str:
        return self.candidate.regimen.id

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All that it would raise, the gravest first."""
        return self.candidate.findings


@dataclass(frozen=True)
class Choice:
    """The regimens put forward first, then the others."""

    first: tuple[Choosable, ...]
    others: tuple[Choosable, ...]


def choice(here: Visitor, case: CaseState) -> Choice:
    """Every regimen of the clinic in the order in which it fits ``case``."""
    assessment = here.office.shelf.assessment(case)
    every = [_choosable(candidate, assessment) for candidate in assessment.proposal.candidates]
    fitting = [one for one in every if one.candidate.may_be_proposed][:_FIRST]
    first = [one for one in every if one in fitting or one.ordered]
    return Choice(tuple(first), tuple(one for one in every if one not in first))


def _choosable(candidate: Candidate, assessment: Assessment) -> Choosable:
    regimen, clinic = candidate.regimen, assessment.clinic
    formulary = read_formulary(clinic)
    drugs = tuple(
        Drug(
            formulary[item.drug].name,
            "-".join(str(step.times_a_day) for step in item.steps),
            sum(step.days for step in item.steps),
            item.eyes,
        )
        for item in regimen.items
    )
    return Choosable(candidate, drugs, regimen.id == _ordered(assessment), regimen.id == clinic.drops.regimen)


def _ordered(assessment: Assessment) -> str | None:
    changes = assessment.case.drop_changes
    return changes[-1].regimen if changes else assessment.case.regimen


@dataclass(frozen=True)
class Effect:
    """What an order would bring: points that were not there before, points it settles, signed papers it makes void."""

    raised: tuple[Point, ...]
    settled: tuple[Point, ...]
    void_version: int | None
    void_sheets: tuple[str, ...]

    @property
    def quiet(self) -> bool:
        """Whether there is nothing the surgeon must see before it is entered."""
        return self.void_version is None and not any(point.severity is not Severity.NOTE for point in self.raised)


def effect(here: Visitor, case: CaseState, kind: str, data: Mapping[str, Any]) -> Effect:
    """What the case in ``data`` brings beside ``case`` if it is entered as ``kind``.

    Raises ``CaseError`` or ``DropsError`` where it cannot be.
    """
    clinic = here.office.record.clinic
    after = case_of(data)
    before, then = here.office.shelf.assessment(case).points, assess(after, clinic).points
    old, new = {point.key for point in before}, {point.key for point in then}
    void = voided_by(kind, case, after, clinic)
    return Effect(
        tuple(point for point in then if point.key not in old and point.open),
        tuple(point for point in before if point.key not in new and point.open),
        void[0].version if void else None,
        void[1] if void else (),
    )


def nothing_went_home(case: CaseState) -> bool:
    """Whether no drops were printed to go home yet, so that an order takes the place of the planned one."""
    return not case.data.get("drop_changes") and not any(one.stage == AFTERCARE for one in case.sets)


def with_regimen(case: CaseState, order: Mapping[str, Any]) -> tuple[str, dict[str, Any]]:
    """The kind of entry that orders ``order["regimen"]``, and the case with it: in the plan; instead of the planned one
    while no papers went home; or from a day after surgery on."""
    if case.state is not State.DONE:
        return "changed", {**case.data, "plan": {**case.data["plan"], "regimen": order["regimen"]}}
    # Each change is a print of its own: the record gives it its version when it is entered.
    if nothing_went_home(case):
        done = {**case.data["done"], "regimen": order["regimen"]}
        return "drops-changed", {**case.data, "done": done, "version": max(2, case.version)}
    changes = [*case.data.get("drop_changes", ()), dict(order)]
    return "drops-changed", {**case.data, "drop_changes": changes, "version": case.version + 1}
