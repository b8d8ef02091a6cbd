"""Decides whether a personal figure may reach the patient: only accepted figures do."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.risk.estimate import Estimate


@dataclass(frozen=True)
class Permission:
    """Whether this eye's own figure may be shown to the patient, and if not, what is missing."""

    allowed: bool
    missing: tuple[str, ...] = ()


def unaccepted_series(estimate: Estimate, clinic: Clinic) -> tuple[str, ...]:
    """Series behind ``estimate`` whose figures were not read in their primary source and that nobody accepted."""
    weak = [source.series for source in estimate.sources if not source.verified.is_primary]
    return tuple(dict.fromkeys(series for series in weak if not clinic.accepts(series)))


def may_show_personal(estimate: Estimate, case: Case, clinic: Clinic) -> Permission:
    """Permission to print this eye's figure on patient paper or turn it to the patient on a screen.

    The surgeon must have accepted the figures for this case; a series not read in its primary source must also
    have been accepted by name by the clinic's licensed clinician.
    """
    missing: list[str] = []
    if case.figures_accepted is None:
        missing.append("the surgeon has not accepted the figures of this case")
    missing += [f"the clinic has not accepted the series {name}" for name in unaccepted_series(estimate, clinic)]
    if not estimate.known:
        missing.append("not known")
    return Permission(not missing, tuple(missing))
