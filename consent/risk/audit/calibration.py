"""Compares what happened in a centre's own operations with what the published model expected of them.

Observed against expected is calibration in the large (Van Calster 2019, BMC Med 17:230, PMID 31842878); only the
intercept is updated (Steyerberg 2004, doi:10.1002/sim.1844), and it is shrunk (Dimick 2010,
doi:10.1111/j.1475-6773.2010.01158.x). The centre is shrunk towards the benchmark with the shipped strength. How much
its surgeons differ shrinks them towards the centre, and never the centre towards the benchmark: in 400 simulated
centres that gave intervals that held the truth in 66 to 75 %, the shipped strength in 94 to 98 %.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from consent.clinic import Audit, Clinic
from consent.evidence import library, wilson
from consent.risk.audit.columns import audit_rules
from consent.risk.odds import combine, odds
from consent.risk.plan import RiskPlan, Shrinkage
from consent.risk.recalibration import gamma_quantile, shrink, shrink_interval, strength_by_moments

Limits = tuple[float, float]
NO_SURGEON = ""


@dataclass(frozen=True, slots=True)
class AuditedEye:
    """One operation of the audit. Composite odds ratios: unknown factors absent, and unknown factors present."""

    event: bool
    composite: float
    highest: float
    unknown: tuple[str, ...] = ()
    surgeon: str = NO_SURGEON
    year: int | None = None


@dataclass(frozen=True)
class Scale:
    """Where the model and an unaudited centre stand: the model's reference odds, and the prior mean of the ratio."""

    reference_odds: float
    prior_mean: float


@dataclass(frozen=True)
class Tally:
    """Operations, events, and the events the model expected of the same operations."""

    operations: int
    events: int
    expected: float

    @property
    def ratio(self) -> float:
        """Observed over expected events."""
        return self.events / self.expected

    @property
    def rate(self) -> float:
        """Observed events as a proportion of operations."""
        return self.events / self.operations

    @property
    def expected_rate(self) -> float:
        """Expected events as a proportion of operations."""
        return self.expected / self.operations

    @property
    def rate_limits(self) -> Limits:
        """95 % Wilson limits of the observed rate, as proportions."""
        return wilson(self.events, self.operations)


@dataclass(frozen=True)
class Calibration:
    """What an audit says. ``expected_at_most``: expected events with every unknown factor present.

    ``strength`` (events) draws the centre to the benchmark, ``between`` each surgeon to the centre; None: too few.
    """

    total: Tally
    expected_at_most: float
    mean_composite: float
    scale: Scale
    strength: float
    between: float | None
    surgeons: dict[str, Tally]
    groups: tuple[Tally, ...]
    unknown: dict[str, int]
    years: str

    @property
    def ratio_limits(self) -> Limits:
        """95 % exact Poisson limits of observed over expected."""
        return poisson_ratio_limits(self.total.events, self.total.expected)

    @property
    def shrunk(self) -> float:
        """Observed over expected, shrunk: what the model's reference odds are multiplied by."""
        return shrink(self.total.events, self.total.expected, self.scale.prior_mean, self.strength)

    @property
    def shrunk_limits(self) -> Limits:
        """95 % limits of the shrunk ratio."""
        return shrink_interval(self.total.events, self.total.expected, self.scale.prior_mean, self.strength)

    def surgeon_shrunk(self, tally: Tally) -> float | None:
        """Observed over expected of one surgeon, shrunk towards the centre's own; None: too few.

        Without limits: those of the shrinkage alone leave out how uncertain ``between`` and the centre's ratio are.
        """
        return None if self.between is None else shrink(tally.events, tally.expected, self.total.ratio, self.between)

    def as_audit(self, years: str) -> Audit:
        """The counts as the clinic's settings hold them, rounded as they are printed."""
        return Audit(
            operations=self.total.operations,
            events=self.total.events,
            expected_events=round(self.total.expected, 3),
            mean_composite=round(self.mean_composite, 3),
            years=years,
        )


def poisson_ratio_limits(events: int, expected: float, level: float = 0.95) -> Limits:
    """Exact limits of observed over expected when events are Poisson; the low one is 0 where there were no events.

    Source: Garwood 1936, Biometrika 28:437-442 (gamma quantiles). Raises ``ValueError`` where nothing was expected.
    """
    if expected <= 0:
        raise ValueError("no events were expected")
    tail = (1 - level) / 2
    low = gamma_quantile(tail, events) if events else 0.0
    return low / expected, gamma_quantile(1 - tail, events + 1) / expected


def model_scale(clinic: Clinic, plan: RiskPlan) -> Scale:
    """The model's reference odds, and its clinic's reference population against the model's own series."""
    series = library().one(plan.composite.model)
    if series.model is None:
        raise ValueError(f"{series.id} holds no model")
    reference = series.figure(series.model.reference_probability).probability
    overall = series.figure(series.model.overall_probability).probability
    return Scale(odds(reference), plan.population(clinic.population).figure.probability / overall)


def calibrate(eyes: Sequence[AuditedEye], scale: Scale, shrinkage: Shrinkage) -> Calibration:
    """Observed against expected over all ``eyes``, by surgeon and by groups of equal expected events.

    E = sum of o c / (1 + o c), o the model's reference odds and c the composite odds ratio of an eye without a
    surgeon's grade. Raises ``ValueError`` for none.
    """
    if not eyes:
        raise ValueError("there are no operations to compare")
    risks = [combine(scale.reference_odds, [eye.composite]) for eye in eyes]
    surgeons = _by_surgeon(eyes, risks)
    return Calibration(
        total=_tally(zip(eyes, risks, strict=True)),
        expected_at_most=sum(combine(scale.reference_odds, [eye.highest]) for eye in eyes),
        mean_composite=sum(eye.composite for eye in eyes) / len(eyes),
        scale=scale,
        strength=shrinkage.events,
        between=_between(surgeons, shrinkage),
        surgeons=surgeons,
        groups=risk_groups(eyes, risks, audit_rules().limits.groups),
        unknown=dict(Counter(factor for eye in eyes for factor in eye.unknown).most_common()),
        years=_years(eyes),
    )


def risk_groups(eyes: Sequence[AuditedEye], risks: Sequence[float], most: int) -> tuple[Tally, ...]:
    """At most ``most`` groups of rising risk with about equal expected events, at least one expected in each.

    Eyes of the same risk stay together, so there may be fewer groups.
    """
    total = sum(risks)
    wanted = max(1, min(most, int(total)))
    pairs = sorted(zip(eyes, risks, strict=True), key=lambda pair: pair[1])
    cut: dict[int, list[tuple[AuditedEye, float]]] = {}
    below = 0.0
    for risk, same in groupby(pairs, key=lambda pair: pair[1]):
        block = list(same)
        middle = below + risk * len(block) / 2
        cut.setdefault(min(wanted - 1, int(wanted * middle / total)), []).extend(block)
        below += risk * len(block)
    return tuple(_tally(cut[place]) for place in sorted(cut))


def _tally(pairs: Iterable[tuple[AuditedEye, float]]) -> Tally:
    found = list(pairs)
    return Tally(len(found), sum(eye.event for eye, _ in found), sum(risk for _, risk in found))


def _by_surgeon(eyes: Sequence[AuditedEye], risks: Sequence[float]) -> dict[str, Tally]:
    """One tally for each surgeon by name; operations without a surgeon stand last, under an empty name."""
    pairs: dict[str, list[tuple[AuditedEye, float]]] = {}
    for eye, risk in zip(eyes, risks, strict=True):
        pairs.setdefault(eye.surgeon, []).append((eye, risk))
    return {name: _tally(pairs[name]) for name in sorted(pairs, key=lambda name: (name == NO_SURGEON, name))}


def _between(surgeons: dict[str, Tally], shrinkage: Shrinkage) -> float | None:
    """How alike the surgeons are, as a strength in events; None for too few of them, or no events at all."""
    named = [(tally.events, tally.expected) for name, tally in surgeons.items() if name != NO_SURGEON]
    if len(named) < audit_rules().limits.surgeons or not any(events for events, _ in named):
        return None
    return strength_by_moments(named, shrinkage.most_events)


def _years(eyes: Sequence[AuditedEye]) -> str:
    years = {eye.year for eye in eyes if eye.year is not None}
    if not years:
        return ""
    return f"{min(years)}-{max(years)}" if len(years) > 1 else str(min(years))
