"""Decides whether a personal figure may reach the patient: only accepted figures do."""

from __future__ import annotations

from collections.abc import Iterable
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


def accepted_figures(estimates: Iterable[Estimate]) -> tuple[str, ...]:
    """What a surgeon accepts who accepts ``estimates``: each figure that is known, per 1,000 with its range.

    Figures of the usual eye are among them, so that it is never empty for an eye that has any.
    """
    return tuple(_written(one) for one in estimates if one.known)


def has_lapsed(estimates: Iterable[Estimate], case: Case) -> bool:
    """Whether the surgeon accepted figures of this case, and one of this eye's is not the one that was accepted."""
    accepted = case.figures_accepted
    return accepted is not None and any(one.known and one.personal and not _is_accepted(one, case) for one in estimates)


def _is_accepted(estimate: Estimate, case: Case) -> bool:
    accepted = case.figures_accepted
    return accepted is not None and (not accepted.figures or _written(estimate) in accepted.figures)


def _written(estimate: Estimate) -> str:
    """A figure as it is accepted: a digit more than anybody is shown, so that what is shown cannot differ."""
    span = estimate.interval
    figures = [estimate.probability, *((span.low, span.high) if span else ())]
    told = " ".join("-" if one is None else f"{1000 * one:.5g}" for one in figures)
    return f"{estimate.outcome} {told}{'' if estimate.single_figure else ' range'}"


def may_show_personal(estimate: Estimate, case: Case, clinic: Clinic) -> Permission:
    """Permission to print this eye's figure on patient paper or turn it to the patient on a screen.

    The surgeon must have accepted this figure for this case; a series not read in its primary source must also
    have been accepted by name by the clinic's licensed clinician.
    """
    missing: list[str] = []
    if case.figures_accepted is None:
        missing.append("the surgeon has not accepted the figures of this case")
    elif not _is_accepted(estimate, case):
        missing.append("the figure is not the one that the surgeon accepted")
    missing += [f"the clinic has not accepted the series {name}" for name in unaccepted_series(estimate, clinic)]
    if not estimate.known:
        missing.append("not known")
    return Permission(not missing, tuple(missing))
