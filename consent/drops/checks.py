"""Runs every check of a drop plan against the case and gives back what the surgeon must see."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from consent.case import Case
from consent.drops.allergy_checks import ALLERGY_CHECKS
from consent.drops.bottle_checks import BOTTLE_CHECKS
from consent.drops.formulary import Formulary
from consent.drops.grounds import Ground, Severity, read_checks
from consent.drops.limits import read_limits
from consent.drops.nsaid_checks import NSAID_CHECKS
from consent.drops.own_drop_checks import OWN_DROP_CHECKS
from consent.drops.plan import DropPlan
from consent.drops.pressure_checks import PRESSURE_CHECKS
from consent.drops.pupil_checks import PUPIL_CHECKS
from consent.drops.regimen_checks import REGIMEN_CHECKS
from consent.drops.regimens import Ends
from consent.drops.schedule import Row
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
_GRAVEST_FIRST = ("stop", "ask", "note")


@dataclass(frozen=True)
class Finding:
    """One thing the surgeon must see: its id, how grave, the facts that fired it, the rows, its ground.

    ``ordered`` is what those rows order, in signs without words: not printed, but an answer holds only while it stays.
    """

    id: str
    severity: Severity
    facts: tuple[str, ...]
    rows: tuple[int, ...]
    ground: Ground
    ordered: tuple[str, ...] = ()


def check_drops(plan: DropPlan, case: Case, formulary: Formulary) -> tuple[Finding, ...]:
    """Return the findings on ``plan``, the gravest first, then in the order of the checks.

    ``formulary`` tells what the patient's long-standing drops hold; it is the one the plan was made with.
    Raises ``DropsError`` if the files of thresholds, grounds or theatre drugs are not in order.
    """
    texts = read_checks()
    subject = Subject(plan, case, read_limits(), texts, read_theatre(), formulary)
    findings = [
        Finding(check_id, hit.severity, hit.facts, hit.rows, texts.findings[check_id], _ordered(plan, hit.rows))
        for check_id, check in CHECKS.items()
        for hit in check(subject)
    ]
    return tuple(sorted(findings, key=lambda finding: _GRAVEST_FIRST.index(finding.severity)))


def _ordered(plan: DropPlan, rows: tuple[int, ...]) -> tuple[str, ...]:
    return tuple(" ".join(_order(plan.row(number))) for number in rows)


def _order(row: Row) -> Iterator[str]:
    """Drug, eye and every step of a row. A long-standing drop has no last day: that only says how far a print goes."""
    yield from (row.drug.id, row.side.value)
    if row.drops_before_surgery:
        yield f"before:{row.drops_before_surgery}"
    for phase in row.phases:
        goes_on = row.ends is Ends.LONG_STANDING and phase is row.phases[-1]
        yield f"{phase.first_day}..{'' if goes_on else phase.last_day}:{phase.times_a_day}x{phase.drops_per_dose}"
