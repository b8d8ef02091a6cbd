"""Published rates as they stand, and the choice of the group of figures that a case belongs to."""

from __future__ import annotations

from dataclasses import replace

from consent.case import Answer, Case
from consent.clinic import Clinic
from consent.evidence import Cited, library
from consent.risk.estimate import Estimate, Step, as_source, printed, rate_range
from consent.risk.facts import FACTS
from consent.risk.plan import Group, Outcome, risk_plan
from consent.wording import Remark, remark


def unknown(outcome: Outcome, why: Remark) -> Estimate:
    """An outcome of which nothing is known, and why."""
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


def no_figure(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    """An outcome that was looked for and not found."""
    del case, clinic, rupture
    return unknown(outcome, remark("assume.not-found"))


def pick(outcome: Outcome, case: Case, clinic: Clinic) -> tuple[Group | None, tuple[Remark, ...]]:
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


def published_rate(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    """One published rate: of the group the case belongs to, or of eyes with a figure of their own."""
    del rupture
    if outcome.only_if and outcome.fact and FACTS[outcome.fact](case) is Answer.NO:
        why = Step("this operation cannot have it")
        return replace(unknown(outcome, remark("assume.does-not-apply")), applies=False, chain=(why,))
    group, assumed = pick(outcome, case, clinic)
    if group is None:
        return unknown(outcome, remark("assume.no-figure-for-case"))
    usual = library().cited(group.usual or "")
    special = next((entry for entry in outcome.special if FACTS[entry.fact](case) is Answer.YES), None)
    own = special.figure if special else group.this
    this = library().cited(own) if own else usual
    found = in_group(published(outcome, usual, this, assumed), special.fact if special else outcome.fact, assumed)
    return _beside(outcome, replace(found, other_population=_elsewhere(outcome, clinic)))


def in_group(found: Estimate, fact: str | None, assumed: tuple[Remark, ...]) -> Estimate:
    """``found`` with the name of the group that it was counted in, where it is not the usual eye's figure."""
    if found.personal:
        return replace(found, group=fact, group_assumed=bool(assumed))
    return replace(found, unlooked=fact if assumed else None)


def _beside(outcome: Outcome, found: Estimate) -> Estimate:
    """``found`` with the ratios that another definition or follow-up keeps out of it, for the surgeon to weigh."""
    if not outcome.beside:
        return found
    aside = [library().cited(reference) for reference in outcome.beside]
    steps = tuple(
        Step(
            f"not mixed in: {cited.series.definition}; {cited.figure.group}",
            f"{printed(cited)} ({cited.figure.verified.value})",
            cited.reference,
        )
        for cited in aside
    )
    ratios = "; ".join(f"{cited.reference} {printed(cited)}" for cited in aside)
    note = remark("assume.not-mixed", ratios=ratios)
    return replace(found, chain=(*found.chain, *steps), assumptions=(*found.assumptions, note))


def _elsewhere(outcome: Outcome, clinic: Clinic) -> float | None:
    """The rate in the population the clinic did not choose, where the outcome has one of its own."""
    named = {name: group for name, group in outcome.groups.items() if name in risk_plan().populations}
    others = [group for name, group in named.items() if name != clinic.population]
    return library().cited(others[0].usual or "").figure.probability if others else None


def published(outcome: Outcome, usual: Cited, this: Cited, assumed: tuple[Remark, ...]) -> Estimate:
    """The estimate that is a published rate, beside the usual eye's."""
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
        interval=rate_range(this),
        usual=usual.figure.probability if usual.figure.value is not None else None,
        usual_interval=rate_range(usual),
        personal=this != usual,
        single_figure=single,
        benefit=outcome.benefit,
        assumptions=assumed,
        sources=tuple(as_source(cited, "published rate") for cited in ([this] if this == usual else [this, usual])),
        chain=tuple(steps),
    )
