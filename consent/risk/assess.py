"""Every outcome of the plan for one case: capsule rupture first, the rest mixed over it or as published."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from consent.case import Answer, Case
from consent.clinic import Clinic
from consent.evidence import Cited, library
from consent.risk.capsule import capsule_rupture
from consent.risk.estimate import Estimate, Range, RangeKind, Step, as_source, printed
from consent.risk.facts import FACTS
from consent.risk.mixture import Arm, mix, mix_interval
from consent.risk.plan import Group, Outcome, RiskPlan, risk_plan
from consent.wording import Remark, remark


def assess_risks(case: Case, clinic: Clinic, plan: RiskPlan | None = None) -> tuple[Estimate, ...]:
    """One estimate per outcome, in the order of importance to the patient. Probabilities are proportions."""
    plan = plan or risk_plan()
    rupture = capsule_rupture(case, clinic, plan)
    found: list[Estimate] = []
    for outcome in plan.outcomes:
        if outcome.method == "odds model":
            found.append(rupture)
        else:
            found.append(_METHODS[outcome.method](outcome, case, clinic, rupture))
    return tuple(found)


def _unknown(outcome: Outcome, why: Remark) -> Estimate:
    return Estimate(
        outcome=outcome.id,
        known=False,
        horizon=outcome.horizon,
        population="",
        region="not known",
        years="",
        benefit=outcome.benefit,
        assumptions=(why,),
        chain=(Step("not known: no published figure with a denominator was read for this"),),
    )


def _none(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    del case, clinic, rupture
    return _unknown(outcome, remark("assume.not-found"))


def _pick(outcome: Outcome, case: Case, clinic: Clinic) -> tuple[Group | None, tuple[Remark, ...]]:
    """The group of figures for this case, and what had to be assumed where the fact is not known."""
    if outcome.fact is None:
        return outcome.groups.get(clinic.population) or outcome.groups.get("any"), ()
    answer = FACTS[outcome.fact](case)
    if answer is not Answer.UNKNOWN:
        return outcome.groups.get(answer.value), ()
    note = remark(
        "assume.fact-unknown", fact=remark(f"group.{outcome.fact}"), shown=remark(f"answer.{outcome.unknown}")
    )
    return outcome.groups.get(outcome.unknown), (note,)


def _rate(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    del rupture
    if outcome.only_if and outcome.fact and FACTS[outcome.fact](case) is Answer.NO:
        return replace(_unknown(outcome, remark("assume.does-not-apply")), applies=False)
    group, assumed = _pick(outcome, case, clinic)
    if group is None:
        return _unknown(outcome, remark("assume.no-figure-for-case"))
    usual = library().cited(group.usual)
    this = library().cited(group.this) if group.this else usual
    return _published(outcome, usual, this, assumed)


def _published(outcome: Outcome, usual: Cited, this: Cited, assumed: tuple[Remark, ...]) -> Estimate:
    single = this.figure.value is not None
    steps = [Step(f"published rate: {this.figure.group}", printed(this), this.reference)]
    if this != usual:
        steps.append(Step(f"usual eye: {usual.figure.group}", printed(usual), usual.reference))
    return Estimate(
        outcome=outcome.id,
        known=True,
        horizon=outcome.horizon,
        population=usual.series.setting,
        region=usual.series.region,
        years=usual.series.years,
        probability=this.figure.probability if single else None,
        interval=_range(this),
        usual=usual.figure.probability if usual.figure.value is not None else None,
        usual_interval=_range(usual),
        personal=this != usual,
        single_figure=single,
        benefit=outcome.benefit,
        assumptions=assumed,
        sources=tuple(as_source(cited, "published rate") for cited in ([this] if this == usual else [this, usual])),
        chain=tuple(steps),
    )


def _range(cited: Cited) -> Range | None:
    limits = cited.figure.limits
    if limits is None:
        return None
    spread = cited.figure.interval == "spread over lens models"
    return Range(*limits, "spread over lens models" if spread else "95% interval")


def _mixture(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    group, assumed = _pick(outcome, case, clinic)
    if group is None or rupture.probability is None:
        return _unknown(outcome, remark("assume.no-figure-for-case"))
    if group.this is not None:
        other = library().cited(group.this)
        note = remark("assume.own-rate")
        return replace(_published(outcome, library().cited(group.usual), other, assumed), assumptions=(*assumed, note))
    usual, intact_figure = library().cited(group.usual), library().cited(group.intact or "")
    intact = _arm(intact_figure)
    ruptured, second, kind = _ruptured_arm(group, intact)
    p = rupture.probability
    spread = rupture.interval
    low, high = mix_interval((p, spread.low, spread.high) if spread else (p, p, p), ruptured, intact)
    value = mix(p, ruptured.value, intact.value)
    steps = (
        Step("probability of capsule rupture in this eye", f"{100 * p:.2f} %", "capsule_rupture"),
        Step(f"with rupture: {second.figure.group}", printed(second), second.reference),
        Step(f"without rupture: {intact_figure.figure.group}", printed(intact_figure), intact_figure.reference),
        Step("p x with + (1 - p) x without", f"{100 * value:.4f} %"),
        Step(
            "range: both arms' limits (Zou and Donner 2008), over the range of p",
            f"{100 * low:.4f} to {100 * high:.4f} %",
        ),
    )
    cited = [
        as_source(second, "with rupture"),
        as_source(intact_figure, "without rupture"),
        as_source(usual, "usual eye"),
    ]
    return Estimate(
        outcome=outcome.id,
        known=True,
        horizon=outcome.horizon,
        population=usual.series.setting,
        region=usual.series.region,
        years=usual.series.years,
        probability=value,
        interval=Range(low, high, kind),
        usual=usual.figure.probability,
        usual_interval=_range(usual),
        personal=rupture.personal,
        single_figure=rupture.single_figure,
        benefit=outcome.benefit,
        drivers=rupture.drivers,
        assumptions=(*assumed, remark("assume.arms-average")),
        sources=tuple({s.reference: s for s in (*cited, *rupture.sources)}.values()),
        chain=steps,
    )


def _arm(cited: Cited) -> Arm:
    value = cited.figure.probability
    low, high = cited.figure.limits or (value, value)
    return Arm(value, low, high)


def _ruptured_arm(group: Group, intact: Arm) -> tuple[Arm, Cited, RangeKind]:
    if group.ratio is None:
        cited = library().cited(group.ruptured or "")
        return _arm(cited), cited, "arms over rupture"
    cited = library().cited(group.ratio)
    ratio = cited.figure.value or 1.0
    low, high = cited.figure.limits or (ratio, ratio)
    return Arm(intact.value * ratio, intact.value * low, intact.value * high), cited, "ratio interval only"


_METHODS: dict[str, Callable[[Outcome, Case, Clinic, Estimate], Estimate]] = {
    "none": _none,
    "rate": _rate,
    "by fact": _rate,
    "mixture": _mixture,
    "ratio": _mixture,
}
