"""Capsule rupture or vitreous loss: this eye's factors on the published model, or an observed rate outside it."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from consent.case import Answer, Case, NucleusGrade, Operation
from consent.clinic import Clinic
from consent.evidence import Cited, OddsModel, library
from consent.risk.estimate import Driver, Estimate, Range, Source, Step, as_source, printed, rate_range
from consent.risk.factors import FactorLevel, factor_levels
from consent.risk.facts import FACTS
from consent.risk.intercept import Intercept, find_intercept, other_population, percent_span, usable_audit
from consent.risk.odds import combine, composite, probability, product_limits
from consent.risk.plan import RiskPlan
from consent.risk.recalibration import mean_composite, population_odds
from consent.wording import Remark, remark


def capsule_rupture(case: Case, clinic: Clinic, plan: RiskPlan) -> Estimate:
    """Probability of capsule rupture, vitreous loss or both in this eye, with a range and its chain.

    The range is one of sensitivity (other published ratios, the other reference population, unknown factors
    present), because no confidence interval of the model could be read; it is never called a confidence interval.
    """
    outside = _outside_model(case, plan)
    if outside is not None:
        reference, why = outside
        return replace(_observed(clinic, plan, reference, why), group=_GROUPS.get(why.id))
    series = library().one(plan.composite.model)
    if series.model is None:
        raise ValueError(f"{series.id} holds no model")
    levels = factor_levels(case, series.model, grade_counts=usable_audit(clinic, plan) is None)
    intercept = find_intercept(clinic, plan, series.model)
    return _modelled(case, clinic, plan, levels, intercept, series.model)


_GROUPS = {
    "assume.posterior-polar": "posterior polar",
    "assume.small-incision-brunescent": "brunescent by hand",
}
"""The eyes a figure outside the model was counted in, by the reason for it."""


def _outside_model(case: Case, plan: RiskPlan) -> tuple[str, Remark] | None:
    """The figure to show instead of the model, and why, where this eye lies outside the model."""
    if case.eye.posterior_polar is Answer.YES:
        return plan.outside_model["posterior_polar"], remark("assume.posterior-polar")
    if case.plan.operation is Operation.PHACO:
        return None
    if case.plan.operation is Operation.SMALL_INCISION and case.eye.nucleus.grade is NucleusGrade.BRUNESCENT:
        reference = plan.outside_model["brunescent_small_incision"]
        return reference, remark("assume.small-incision-brunescent")
    return "", remark("assume.other-operation", operation=remark(f"operation.{case.plan.operation}"))


def _observed(clinic: Clinic, plan: RiskPlan, reference: str, why: Remark) -> Estimate:
    usual = plan.population(clinic.population)
    shown = library().cited(reference) if reference else usual
    return Estimate(
        outcome="capsule_rupture",
        known=True,
        horizon="operation",
        population=usual.series.setting,
        region=usual.series.region,
        years=usual.series.years,
        probability=shown.figure.probability,
        interval=rate_range(shown),
        usual=usual.figure.probability,
        usual_interval=rate_range(usual),
        personal=bool(reference),
        other_population=other_population(plan, clinic).figure.probability,
        assumptions=(why, *(() if reference else (remark("assume.no-figure-for-operation"),))),
        sources=_unique([as_source(shown, "observed rate"), as_source(usual, "usual eye")]),
        chain=(
            Step(f"outside the model: {why.id.removeprefix('assume.')}"),
            Step(f"observed rate: {shown.figure.group}", printed(shown), shown.reference),
            Step("usual eye: overall rate of the reference population", printed(usual), usual.reference),
        ),
    )


def _modelled(
    case: Case, clinic: Clinic, plan: RiskPlan, levels: tuple[FactorLevel, ...], intercept: Intercept, model: OddsModel
) -> Estimate:
    usual, other = plan.population(clinic.population), other_population(plan, clinic)
    value = combine(intercept.value, [level.odds_ratio for level in levels])
    low, high, variants = _sensitivity(case, plan, levels, intercept)
    unknown = [level for level in levels if not level.known and level.highest > 1]
    doubling = math.prod(level.highest for level in unknown) >= plan.composite.doubling
    return Estimate(
        outcome="capsule_rupture",
        known=True,
        horizon="operation",
        population=usual.series.setting,
        region=usual.series.region,
        years=usual.series.years,
        probability=value,
        interval=Range(low, high, "sensitivity range"),
        usual=usual.figure.probability,
        usual_interval=rate_range(usual),
        personal=True,
        single_figure=not doubling,
        other_population=_in_other_population(other, model, levels, plan),
        drivers=tuple(Driver(level.factor, level.highest, level.known) for level in levels if level.highest != 1.0),
        assumptions=(*intercept.assumptions, *(_unknown_note(level) for level in unknown)),
        sources=_model_sources(plan, model, usual, other, variants),
        chain=(*intercept.steps, *_chain(levels, intercept, value), *_range_steps(low, high, variants, unknown)),
    )


def _sensitivity(
    case: Case, plan: RiskPlan, levels: tuple[FactorLevel, ...], intercept: Intercept
) -> tuple[float, float, tuple[Cited, ...]]:
    """Lowest and highest probability over the published alternatives, and the alternatives that were tried."""
    lowest = {level.factor: level.odds_ratio for level in levels}
    highest = {level.factor: level.highest for level in levels}
    tried: list[Cited] = []
    for entry in plan.sensitivity:
        alternative = library().cited(entry.figure)
        ratio = alternative.figure.value
        level = next(level for level in levels if level.factor == entry.factor)
        excluded = entry.not_if is not None and FACTS[entry.not_if](case) is Answer.YES
        if ratio is None or level.highest == 1.0 or excluded:
            continue
        tried.append(alternative)
        if level.known:
            lowest[entry.factor] = min(lowest[entry.factor], ratio)
        highest[entry.factor] = max(highest[entry.factor], ratio)
    below, above = product_limits([level.limits for level in levels if level.limits is not None])
    low = combine(intercept.low * below, lowest.values())
    high = combine(intercept.high * above, highest.values())
    return low, high, tuple(tried)


def _chain(levels: tuple[FactorLevel, ...], intercept: Intercept, value: float) -> tuple[Step, ...]:
    lines = [Step(level.fact, _ratio_text(level)) for level in levels]
    product = composite(level.odds_ratio for level in levels)
    return (
        *lines,
        Step("composite = product of the odds ratios", f"{product:.3f}"),
        Step("odds = reference odds x composite", f"{intercept.value * product:.6f}"),
        Step("probability = odds / (1 + odds)", f"{100 * value:.2f} %"),
    )


def _range_steps(
    low: float, high: float, variants: tuple[Cited, ...], unknown: Iterable[FactorLevel]
) -> tuple[Step, ...]:
    tried = [Step(f"tried instead: {entry.figure.group}", printed(entry), entry.reference) for entry in variants]
    missing = [Step(f"tried as present: {level.factor}", f"x {level.highest:g}") for level in unknown]
    return (
        *tried,
        *missing,
        Step("range over these and over the range of the reference odds", percent_span(low, high)),
    )


def _in_other_population(other: Cited, model: OddsModel, levels: tuple[FactorLevel, ...], plan: RiskPlan) -> float:
    series = library().one(plan.composite.model)
    ratio = mean_composite(
        series.figure(model.overall_probability).probability, series.figure(model.reference_probability).probability
    )
    product = composite(level.odds_ratio for level in levels)
    return probability(population_odds(other.figure.probability, ratio) * product)


def _model_sources(
    plan: RiskPlan, model: OddsModel, usual: Cited, other: Cited, variants: tuple[Cited, ...]
) -> tuple[Source, ...]:
    series = library().one(plan.composite.model)
    ratios = as_source(Cited(series, series.figure(model.overall_probability)), "odds ratios of the factors")
    ratios = Source(
        **{
            **ratios.__dict__,
            "reference": f"{series.id}/model",
            "printed": "adjusted odds ratios, no intervals read",
            "group": "each factor against its reference level",
            "verified": model.verified,
            "read_in": model.read_in,
        }
    )
    base = [
        ratios,
        as_source(Cited(series, series.figure(model.overall_probability)), "scale of the intercept"),
        as_source(Cited(series, series.figure(model.reference_probability)), "scale of the intercept"),
        as_source(usual, "reference population and usual eye"),
        as_source(other, "other population, for the range"),
    ]
    return _unique([*base, *(as_source(entry, "alternative ratio, for the range") for entry in variants)])


def _unique(sources: list[Source]) -> tuple[Source, ...]:
    return tuple({source.reference: source for source in reversed(sources)}.values())[::-1]


def _ratio_text(level: FactorLevel) -> str:
    return f"x {level.odds_ratio:g}" if level.known else f"not known: taken as 1, could be {level.highest:g}"


def _unknown_note(level: FactorLevel) -> Remark:
    return remark("assume.factor-absent", factor=remark(f"factor.{level.factor}"), ratio=level.highest)
