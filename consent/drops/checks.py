"""Runs every check of a drop plan against the case and gives back what the surgeon must see."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Case
from consent.drops.allergy_checks import ALLERGY_CHECKS
from consent.drops.anti_inflammatory_checks import ANTI_INFLAMMATORY_CHECKS
from consent.drops.grounds import Ground, Severity, read_checks
from consent.drops.limits import read_limits
from consent.drops.plan import DropPlan
from consent.drops.regimen_checks import REGIMEN_CHECKS
from consent.drops.subject import Check, Subject

CHECKS: dict[str, Check] = {**ALLERGY_CHECKS, **ANTI_INFLAMMATORY_CHECKS, **REGIMEN_CHECKS}
_GRAVEST_FIRST = ("stop", "ask", "note")


@dataclass(frozen=True)
class Finding:
    """One thing the surgeon must see: its id, how grave, the facts that fired it, the rows, its ground."""

    id: str
    severity: Severity
    facts: tuple[str, ...]
    rows: tuple[int, ...]
    ground: Ground


def check_drops(plan: DropPlan, case: Case) -> tuple[Finding, ...]:
    """Return the findings on ``plan``, the gravest first, then in the order of the checks.

    Raises ``DropsError`` if the files of thresholds or grounds are not in order.
    """
    texts = read_checks()
    subject = Subject(plan, case, read_limits(), texts.words)
    findings = [
        Finding(check_id, hit.severity, hit.facts, hit.rows, texts.findings[check_id])
        for check_id, check in CHECKS.items()
        for hit in check(subject)
    ]
    return tuple(sorted(findings, key=lambda finding: _GRAVEST_FIRST.index(finding.severity)))
