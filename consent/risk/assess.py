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
from consent.risk.score import score_check
from consent.wording import Remark, remark


def assess_risks(case: Case, clinic: Clinic, plan: RiskPlan | None = None) -> tuple[Estimate, ...]:
    """One estimate per outcome, in the order of importance to the patient. Probabilities are proportions."""
    plan = plan or risk_plan()
    rupture = replace(capsule_rupture(case, clinic, plan), crosscheck=score_check(case, plan.crosscheck.series))
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
    usual = library().cited(group.usual or "")
    this = library().cited(group.this) if group.this else usual
    found = _published(outcome, usual, this, assumed)
    return replace(found, other_population=_elsewhere(outcome, clinic))


def _elsewhere(outcome: Outcome, clinic: Clinic) -> float | None:
    """The rate in the population the clinic did not choose, where the outcome has one of its own."""
    named = {name: group for name, group in outcome.groups.items() if name in risk_plan().populations}
    others = [group for name, group in named.items() if name != clinic.population]
    return library().cited(others[0].usual or "").figure.probability if others else None


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
        return replace(
            _published(outcome, library().cited(group.usual or ""), other, assumed), assumptions=(*assumed, note)
        )
    usual, intact_figure = library().cited(group.usual or ""), library().cited(group.intact or "")
    present = [library().cited(entry.ratio) for entry in group.also if FACTS[entry.fact](case) is Answer.YES]
    if present:
        assumed = (*assumed, remark("assume.independent"))
    intact = _multiplied(_arm(intact_figure), present)
    ruptured, second, kind = _ruptured_arm(group, intact, present)
    p = rupture.probability
    spread = rupture.interval
    low, high = mix_interval((p, spread.low, spread.high) if spread else (p, p, p), ruptured, intact)
    value = mix(p, ruptured.value, intact.value)
    steps = (
        Step("probability of capsule rupture in this eye", f"{100 * p:.2f} %", "capsule_rupture"),
        Step(f"with rupture: {second.figure.group}", printed(second), second.reference),
        Step(f"without rupture: {intact_figure.figure.group}", printed(intact_figure), intact_figure.reference),
        *(Step(f"both arms times: {entry.figure.group}", printed(entry), entry.reference) for entry in present),
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
        *(as_source(entry, "another disease of the eye, both arms") for entry in present),
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


def _multiplied(arm: Arm, ratios: list[Cited]) -> Arm:
    """An arm times published ratios: point by point, and limit by limit, capped at certainty."""
    value, low, high = arm.value, arm.low, arm.high
    for cited in ratios:
        ratio = cited.figure.value or 1.0
        least, most = cited.figure.limits or (ratio, ratio)
        value, low, high = value * ratio, low * least, high * most
    return Arm(min(1.0, value), min(1.0, low), min(1.0, high))


def _share(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    group, _ = _pick(outcome, case, clinic)
    if group is None or group.share is None or rupture.probability is None:
        return _unknown(outcome, remark("assume.no-figure-for-case"))
    share, p, spread = library().cited(group.share), rupture.probability, rupture.interval
    part = _arm(share)
    least, most = (spread.low, spread.high) if spread else (p, p)
    low, high = mix_interval((p, least, most), part, Arm(0.0, 0.0, 0.0))
    usual = rupture.usual * part.value if rupture.usual is not None else None
    return replace(
        rupture,
        outcome=outcome.id,
        horizon=outcome.horizon,
        region=share.series.region,
        population=share.series.setting,
        years=share.series.years,
        probability=p * part.value,
        interval=Range(low, high, "arms over rupture"),
        usual=usual,
        usual_interval=None,
        other_population=None,
        crosscheck=None,
        assumptions=(remark("assume.share-elsewhere"),),
        sources=(as_source(share, "share of ruptures"), *rupture.sources),
        chain=(
            Step("probability of capsule rupture in this eye", f"{100 * p:.2f} %", "capsule_rupture"),
            Step(f"share of ruptures: {share.figure.group}", printed(share), share.reference),
            Step("rupture x share", f"{100 * p * part.value:.3f} %"),
        ),
    )


def _ruptured_arm(group: Group, intact: Arm, present: list[Cited]) -> tuple[Arm, Cited, RangeKind]:
    if group.ratio is None:
        cited = library().cited(group.ruptured or "")
        return _multiplied(_arm(cited), present), cited, "arms over rupture"
    cited = library().cited(group.ratio)
    ratio = cited.figure.value or 1.0
    low, high = cited.figure.limits or (ratio, ratio)
    return Arm(intact.value * ratio, intact.value * low, intact.value * high), cited, "ratio interval only"


_METHODS: dict[str, Callable[[Outcome, Case, Clinic, Estimate], Estimate]] = {
    "none": _none,
    "rate": _rate,
    "by fact": _rate,
    "share": _share,
    "mixture": _mixture,
    "ratio": _mixture,
}
