"""Runs every check of a drop plan against the case and gives back what the surgeon must see."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from consent.case import Case
from consent.drops.allergy_checks import ALLERGY_CHECKS
from consent.drops.bottle_checks import BOTTLE_CHECKS
from consent.drops.formulary import Drug
from consent.drops.grounds import Ground, Severity, read_checks
from consent.drops.limits import read_limits
from consent.drops.nsaid_checks import NSAID_CHECKS
from consent.drops.own_drop_checks import OWN_DROP_CHECKS
from consent.drops.plan import DropPlan
from consent.drops.pressure_checks import PRESSURE_CHECKS
from consent.drops.pupil_checks import PUPIL_CHECKS
from consent.drops.regimen_checks import REGIMEN_CHECKS
from consent.drops.steroid_checks import STEROID_CHECKS
from consent.drops.subject import Check, Subject
from consent.drops.theatre import read_theatre

CHECKS: dict[str, Check] = {
    **REGIMEN_CHECKS,
    **ALLERGY_CHECKS,
    **STEROID_CHECKS,
    **NSAID_CHECKS,
    **PRESSURE_CHECKS,
    **PUPIL_CHECKS,
    **OWN_DROP_CHECKS,
    **BOTTLE_CHECKS,
}
_NO_FORMULARY: Mapping[str, Drug] = MappingProxyType({})
_GRAVEST_FIRST = ("stop", "ask", "note")


@dataclass(frozen=True)
class Finding:
    """One thing the surgeon must see: its id, how grave, the facts that fired it, the rows, its ground."""

    id: str
    severity: Severity
    facts: tuple[str, ...]
    rows: tuple[int, ...]
    ground: Ground


def check_drops(plan: DropPlan, case: Case, formulary: Mapping[str, Drug] = _NO_FORMULARY) -> tuple[Finding, ...]:
    """Return the findings on ``plan``, the gravest first, then in the order of the checks.

    ``formulary`` tells what the patient's long-standing drops hold; without it their ids are read as names.
    Raises ``DropsError`` if the files of thresholds, grounds or theatre drugs are not in order.
    """
    texts = read_checks()
    subject = Subject(plan, case, read_limits(), texts.words, read_theatre(), formulary)
    findings = [
        Finding(check_id, hit.severity, hit.facts, hit.rows, texts.findings[check_id])
        for check_id, check in CHECKS.items()
        for hit in check(subject)
    ]
    return tuple(sorted(findings, key=lambda finding: _GRAVEST_FIRST.index(finding.severity)))
