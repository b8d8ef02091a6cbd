"""All that was worked out for one case, before any of it is composed into sheets."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from consent.case import Case
from consent.clinic import Clinic
from consent.drops import DropPlan, Finding, Proposal, check_drops, plan_drops, propose, read_formulary
from consent.review.answering import COMPLETENESS, with_answers
from consent.review.point import Point, check_clinic_elements, check_clinic_points
from consent.review.review import by_severity, drop_points, points
from consent.risk import Estimate, assess_risks


@dataclass(frozen=True)
class SignOff:
    """Who reviewed what is printed and signed it off: name, registration, and when, with its time zone."""

    by: str
    registration: str
    at: dt.datetime

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("a sign-off needs a time zone: paper names the time on the clinic's clock")


@dataclass(frozen=True)
class Assessment:
    """Risks in order of importance to the patient, the drop plan with its findings, the points with their answers."""

    case: Case
    clinic: Clinic
    risks: Mapping[str, Estimate]
    drops: DropPlan
    findings: tuple[Finding, ...]
    points: tuple[Point, ...]
    signed_off: SignOff | None = None

    @cached_property
    def proposal(self) -> Proposal:
        """The clinic's regimens in the order in which they fit the case, with what speaks for and against each."""
        return propose(self.case, self.clinic)


def assess(case: Case, clinic: Clinic, signed_off: SignOff | None = None) -> Assessment:
    """Return the assessment of ``case`` at ``clinic``, with its sign-off where there is one.

    Raises ``DropsError`` or ``ClinicError``.
    """
    check_clinic_points(clinic)
    check_clinic_elements(clinic)
    risks = {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}
    drops = plan_drops(_with_regimen(case, clinic), clinic)
    findings = check_drops(drops, case, read_formulary(clinic))
    fired = (*points(case, clinic, risks), *drop_points(findings))
    answers = (answer for answer in case.answers if answer.point != COMPLETENESS)
    return Assessment(case, clinic, risks, drops, findings, by_severity(with_answers(fired, answers)), signed_off)


def _with_regimen(case: Case, clinic: Clinic) -> Case:
    """``case`` with the regimen put forward where it names none; a point says that the surgeon has yet to choose."""
    if case.regimen is not None:
        return case
    chosen = propose(case, clinic).chosen
    return case.model_copy(update={"plan": case.plan.model_copy(update={"regimen": chosen})})
