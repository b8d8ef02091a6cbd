"""The reference odds of the model: moved to the clinic's population, or to the centre's own audit."""

from __future__ import annotations

from dataclasses import dataclass

from consent.clinic import Audit, Clinic
from consent.evidence import Cited, OddsModel, library
from consent.risk.estimate import Step, printed
from consent.risk.odds import odds
from consent.risk.plan import RiskPlan
from consent.risk.recalibration import (
    mean_composite,
    population_odds,
    shrink,
    shrink_interval,
    shrink_rate,
    shrink_rate_interval,
)
from consent.wording import Remark, remark


@dataclass(frozen=True)
class Intercept:
    """Reference odds with the range they may have, and the lines that explain them."""

    value: float
    low: float
    high: float
    steps: tuple[Step, ...]
    assumptions: tuple[Remark, ...] = ()


def find_intercept(clinic: Clinic, plan: RiskPlan, model: OddsModel) -> Intercept:
    """The reference odds for this clinic, with their range, the lines that explain them and what was assumed."""
    series = library().one(plan.composite.model)
    overall, reference = series.figure(model.overall_probability), series.figure(model.reference_probability)
    ratio = mean_composite(overall.probability, reference.probability)
    usual, other = plan.population(clinic.population), other_population(plan, clinic)
    steps = (
        Step("overall rate of the model's own series", printed(Cited(series, overall)), f"{series.id}/{overall.id}"),
        Step("its reference probability", printed(Cited(series, reference)), f"{series.id}/{reference.id}"),
        Step("average composite odds ratio = overall odds / reference odds", f"{ratio:.2f}"),
    )
    audit = usable_audit(clinic, plan)
    if audit is not None and audit.expected_events is not None:
        return _audited(audit, plan, odds(reference.probability), usual, overall.probability, steps)
    if audit is not None:
        return _crude(audit, plan, usual, ratio, steps)
    value = population_odds(usual.figure.probability, ratio)
    second = population_odds(other.figure.probability, ratio)
    return Intercept(
        value,
        min(value, second),
        max(value, second),
        (
            *steps,
            Step("overall rate of the clinic's reference population", printed(usual), usual.reference),
            Step("reference odds = its overall odds / average composite", f"{value:.6f}"),
        ),
        (remark("assume.same-mix"), *_unused(clinic, plan)),
    )


def usable_audit(clinic: Clinic, plan: RiskPlan) -> Audit | None:
    """The clinic's audit, if it is large enough to move the intercept."""
    audit = clinic.audit
    return audit if audit is not None and audit.operations >= plan.shrinkage.minimum_operations else None


def _unused(clinic: Clinic, plan: RiskPlan) -> tuple[Remark, ...]:
    if clinic.audit is None:
        return ()
    least = plan.shrinkage.minimum_operations
    return (remark("assume.audit-too-small", operations=clinic.audit.operations, least=least),)


def _crude(audit: Audit, plan: RiskPlan, usual: Cited, fallback: float, steps: tuple[Step, ...]) -> Intercept:
    """The intercept from a crude rate: shrunk to the reference population, divided by the list's composite."""
    prior, size = usual.figure.probability, plan.shrinkage.operations
    rate = shrink_rate(audit.events, audit.operations, prior, size)
    low, high = shrink_rate_interval(audit.events, audit.operations, prior, size)
    composite_ratio = audit.mean_composite or fallback
    note = () if audit.mean_composite else (remark("assume.fallback-composite", ratio=round(fallback, 2)),)
    return Intercept(
        odds(rate) / composite_ratio,
        odds(low) / composite_ratio,
        odds(high) / composite_ratio,
        (
            *steps,
            Step("the centre's own audit, raw, without case inputs", _raw(audit)),
            Step(f"shrunk to {usual.reference} with the weight of {size:g} operations", percent_span(low, high)),
            Step("posterior mean of its rate", f"{100 * rate:.2f} %"),
            Step("reference odds = its odds / average composite of the list", f"{odds(rate) / composite_ratio:.6f}"),
        ),
        (remark("assume.grade-off"), remark("assume.crude-audit"), *note),
    )


def _raw(audit: Audit) -> str:
    expected = f"; the model expected {audit.expected_events:g}" if audit.expected_events is not None else ""
    return f"{audit.events} of {audit.operations} ({audit.years}){expected}"


def _audited(
    audit: Audit, plan: RiskPlan, reference: float, usual: Cited, overall: float, steps: tuple[Step, ...]
) -> Intercept:
    expected = audit.expected_events or 0.0
    prior, strength = usual.figure.probability / overall, plan.shrinkage.events
    ratio = shrink(audit.events, expected, prior, strength)
    low, high = shrink_interval(audit.events, expected, prior, strength)
    return Intercept(
        reference * ratio,
        reference * low,
        reference * high,
        (
            *steps,
            Step("the centre's own audit, raw", _raw(audit)),
            Step("where an unaudited centre starts, against the model", f"{prior:.2f}", usual.reference),
            Step(f"shrunk with the strength of {strength:g} events ({plan.shrinkage.source})", f"{ratio:.3f}"),
            Step("reference odds = the model's odds x that ratio", f"{reference * ratio:.6f}"),
        ),
        (remark("assume.grade-off"),),
    )


def other_population(plan: RiskPlan, clinic: Clinic) -> Cited:
    """Overall capsule-rupture figure of the population the clinic did not choose."""
    name = next(name for name in plan.populations if name != clinic.population)
    return plan.population(name)


def percent_span(low: float, high: float) -> str:
    """Two proportions as a span in percent."""
    return f"{100 * low:.2f} to {100 * high:.2f} %"
