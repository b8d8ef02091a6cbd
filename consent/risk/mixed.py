"""Outcomes mixed over capsule rupture, and what a rupture leads to."""

from __future__ import annotations

from dataclasses import replace

from consent.case import Answer, Case
from consent.clinic import Clinic
from consent.evidence import Cited, library
from consent.risk.estimate import Estimate, Range, RangeKind, Source, Step, as_source, printed
from consent.risk.facts import FACTS
from consent.risk.mixture import Arm, mix, mix_interval
from consent.risk.plan import Also, Group, Outcome
from consent.risk.rates import in_group, pick, published, unknown
from consent.wording import Remark, remark


def mixture(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    """P(outcome) = p r1 + (1 - p) r0; or the case's group's own rate, which already holds its ruptures.

    Where another disease of the eye gives a higher figure than the group's own rate, the higher one stands.
    """
    group, assumed = pick(outcome, case, clinic)
    if group is None or rupture.probability is None:
        return unknown(outcome, remark("assume.no-figure-for-case"))
    if group.this is None:
        return _mixed(outcome, group, case, rupture, assumed)
    own = published(outcome, library().cited(group.usual or ""), library().cited(group.this), assumed)
    own = in_group(replace(own, assumptions=(*assumed, remark("assume.own-rate"))), outcome.fact, assumed)
    base = outcome.groups.get(outcome.unknown)
    if base is None or not _present(base, case):
        return own
    other = _mixed(outcome, base, case, rupture, (*assumed, remark("assume.higher-of-two")))
    return other if (other.probability or 0.0) > (own.probability or 0.0) else own


def _present(group: Group, case: Case) -> list[Cited]:
    return [library().cited(entry.ratio) for entry in _diseases(group, case)]


def _diseases(group: Group, case: Case) -> list[Also]:
    """The other diseases of this eye that multiply both arms."""
    return [entry for entry in group.also if FACTS[entry.fact](case) is Answer.YES]


def _mixed(outcome: Outcome, group: Group, case: Case, rupture: Estimate, assumed: tuple[Remark, ...]) -> Estimate:
    usual, intact_figure = library().cited(group.usual or ""), library().cited(group.intact or "")
    present = _present(group, case)
    if present:
        assumed = (*assumed, remark("assume.independent"))
    intact = _multiplied(_arm(intact_figure), present)
    ruptured, second, kind = _ruptured_arm(group, intact, present)
    p = rupture.probability or 0.0
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
    return replace(
        published(outcome, usual, usual, ()),
        probability=value,
        interval=Range(low, high, kind),
        personal=rupture.personal,
        group=next((entry.fact for entry in _diseases(group, case)), None),
        unlooked=outcome.fact if any(note.id == "assume.fact-unknown" for note in assumed) else None,
        single_figure=rupture.single_figure,
        drivers=rupture.drivers,
        assumptions=(*assumed, remark("assume.arms-average")),
        sources=tuple({s.reference: s for s in (*cited, *rupture.sources)}.values()),
        chain=steps,
    )


def both_arms(outcome: Outcome, case: Case, clinic: Clinic) -> tuple[Arm | None, Arm | None, tuple[Source, ...]]:
    """Return the rate with the bag whole and with the bag torn, and their sources.

    None where no paper parts them, or where nobody has looked which of two groups the patient is of.
    """
    group, assumed = pick(outcome, case, clinic)
    if group is None or group.intact is None or assumed:
        return None, None, ()
    intact_figure, present = library().cited(group.intact), _present(group, case)
    intact = _multiplied(_arm(intact_figure), present)
    ruptured, second, _ = _ruptured_arm(group, intact, present)
    cited = ((intact_figure, "bag whole"), (second, "bag torn"), *((entry, "both arms") for entry in present))
    return intact, ruptured, tuple(as_source(entry, role) for entry, role in cited)


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


def share_of_ruptures(outcome: Outcome, case: Case, clinic: Clinic, rupture: Estimate) -> Estimate:
    """The probability of rupture times the published share of ruptures that end so."""
    group, _ = pick(outcome, case, clinic)
    if group is None or group.share is None or rupture.probability is None:
        return unknown(outcome, remark("assume.no-figure-for-case"))
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
    # A ratio of rates leads beyond one where other diseases of the eye already make the rate high.
    value, least, most = (min(1.0, intact.value * times) for times in (ratio, low, high))
    return Arm(value, least, most), cited, "ratio interval only"
