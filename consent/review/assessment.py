"""All that was worked out for one case, before any of it is composed into sheets."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.drops import DropPlan, Finding, check_drops, plan_drops
from consent.review.point import Point, check_clinic_points
from consent.review.review import by_severity, drop_points, points
from consent.risk import Estimate, assess_risks


@dataclass(frozen=True)
class Assessment:
    """Risks in order of importance to the patient, the drop plan with its findings, and the points that fired."""

    case: Case
    clinic: Clinic
    risks: Mapping[str, Estimate]
    drops: DropPlan
    findings: tuple[Finding, ...]
    points: tuple[Point, ...]


def assess(case: Case, clinic: Clinic) -> Assessment:
    """Return the assessment of ``case`` at ``clinic``. Raises ``DropsError`` or ``ClinicError``."""
    check_clinic_points(clinic)
    risks = {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}
    drops = plan_drops(case, clinic)
    findings = check_drops(drops, case)
    fired = by_severity((*points(case, clinic, risks), *drop_points(findings)))
    return Assessment(case, clinic, risks, drops, findings, fired)
