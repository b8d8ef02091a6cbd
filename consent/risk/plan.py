"""Reads which published figure stands for which outcome: the table in outcomes.toml, checked against the library."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import Field, model_validator

from consent.case import Answer, Case
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import EvidenceError
from consent.evidence import Cited, Use, library
from consent.resources import package_data
from consent.risk.factors import READERS
from consent.risk.facts import FACTS
from consent.risk.mixture import mix

Method = Literal["odds model", "mixture", "ratio", "share", "rate", "by fact", "none"]


class Also(Part):
    """A disease of the eye that multiplies both arms of a mixture, and its published ratio."""

    fact: str
    ratio: str


class Special(Part):
    """Eyes with a figure of their own, which then stands instead of the general one."""

    fact: str
    figure: str


class Group(Part):
    """Figures of one group of eyes, as ``series/figure``."""

    usual: str | None = None
    this: str | None = None
    ruptured: str | None = None
    intact: str | None = None
    ratio: str | None = None
    share: str | None = None
    also: tuple[Also, ...] = ()

    def references(self) -> tuple[str, ...]:
        """Every figure the group names."""
        named = (self.usual, self.this, self.ruptured, self.intact, self.ratio, self.share)
        return tuple(name for name in (*named, *(entry.ratio for entry in self.also)) if name)


class Outcome(Part):
    id: str
    method: Method
    horizon: str
    fact: str | None = None
    unknown: Literal["yes", "no"] = "no"
    only_if: Literal["yes"] | None = None
    benefit: bool = False
    groups: dict[str, Group] = Field(default_factory=dict)
    special: tuple[Special, ...] = ()
    beside: tuple[str, ...] = Field((), description="figures shown to the surgeon and not mixed in")


class Composite(Part):
    model: str
    doubling: float = Field(gt=1)
    doubling_source: str


class Alternative(Part):
    """Two published figures of one outcome, one for each way of going on."""

    id: str
    one: str
    other: str
    fact: str | None = None

    def concerns(self, case: Case) -> bool:
        """Whether the figures describe eyes such as this one."""
        return self.fact is None or FACTS[self.fact](case) is Answer.YES


class Crosscheck(Part):
    series: str


class Shrinkage(Part):
    events: float = Field(gt=0)
    source: str
    most_events: float = Field(gt=0)
    most_events_source: str
    operations: float = Field(gt=0)
    operations_source: str
    minimum_operations: int = Field(gt=0)
    minimum_source: str


class Sensitivity(Part):
    factor: str
    figure: str
    not_if: str | None = None


class RiskPlan(Part):
    composite: Composite
    crosscheck: Crosscheck
    shrinkage: Shrinkage
    populations: dict[str, dict[str, str]]
    sensitivity: tuple[Sensitivity, ...]
    outside_model: dict[str, str]
    outcomes: tuple[Outcome, ...]
    alternatives: tuple[Alternative, ...] = ()

    @model_validator(mode="after")
    def _every_reference_exists(self) -> RiskPlan:
        beside = [reference for outcome in self.outcomes for reference in outcome.beside]
        for reference in (*self.references(), *beside):
            if library().cited(reference).figure.use is Use.NOT_FOR_CALCULATION:
                raise ValueError(f"{reference} is not for calculation")
        if unread := sorted(self.factor_names() - READERS.keys()):
            raise ValueError(f'no fact of a case answers the factor "{unread[0]}" of {self.composite.model}')
        for way in self.alternatives:
            _same_outcome(way)
        for outcome in self.outcomes:
            for name, group in outcome.groups.items():
                check_pair(f"{outcome.id}, {name}", group, self.factor_names())
        if len({outcome.id for outcome in self.outcomes}) != len(self.outcomes):
            raise ValueError("an outcome stands twice")
        return self

    def references(self) -> tuple[str, ...]:
        """Every figure of the library that the program computes with or prints to the patient."""
        groups = [group for outcome in self.outcomes for group in outcome.groups.values()]
        named = [reference for group in groups for reference in group.references()]
        named += [entry["capsule_rupture"] for entry in self.populations.values()]
        named += [entry.figure for entry in self.sensitivity]
        named += [entry.figure for outcome in self.outcomes for entry in outcome.special]
        named += [name for way in self.alternatives for name in (way.one, way.other)]
        return tuple(dict.fromkeys([*named, *self.outside_model.values()]))

    def factor_names(self) -> frozenset[str]:
        """Factors that already raise the probability of rupture."""
        model = library().one(self.composite.model).model
        return frozenset(factor.id for factor in model.factors) if model else frozenset()

    def population(self, name: str) -> Cited:
        """Overall capsule-rupture figure of a reference population."""
        return library().cited(self.populations[name]["capsule_rupture"])


def _same_outcome(way: Alternative) -> None:
    one, other = (library().cited(name).figure for name in (way.one, way.other))
    if (one.outcome, one.horizon) != (other.outcome, other.horizon):
        raise ValueError(f"alternative {way.id}: outcome or horizon of its two figures differ")


def check_pair(where: str, group: Group, factors: frozenset[str]) -> None:
    """Raises ``ValueError`` where figures that are to be mixed do not belong together.

    Same outcome, same horizon, same series (so same definition and same policy), no factor counted twice, and, where
    the source prints counts, its own share of ruptures must give back its own overall rate.
    """
    cited = [library().cited(name) for name in (group.usual, group.intact, group.ruptured, group.ratio) if name]
    cited += [library().cited(entry.ratio) for entry in group.also]
    if group.intact is None:
        return
    for what, values in (
        ("outcomes", {entry.figure.outcome for entry in cited}),
        ("horizons", {entry.figure.horizon for entry in cited}),
        ("series, so definitions and policies,", {entry.series.id for entry in cited}),
    ):
        if len(values) > 1:
            raise ValueError(f"{where}: {what} differ: {', '.join(sorted(values))}")
    twice = [entry.fact for entry in group.also if entry.fact in factors]
    if twice:
        raise ValueError(f"{where}: {twice[0]} already raises the probability of rupture and would count twice")
    _check_identity(where, group)


def _check_identity(where: str, group: Group) -> None:
    if not (group.usual and group.ruptured and group.intact):
        return
    whole, torn, intact = (library().cited(name).figure for name in (group.usual, group.ruptured, group.intact))
    if whole.eyes is None or torn.eyes is None or whole.events is None:
        return
    back = mix(torn.eyes / whole.eyes, torn.probability, intact.probability)
    if abs(back * whole.eyes - whole.events) > 1:
        raise ValueError(
            f"{where}: the arms give back {back * whole.eyes:.1f} events, the source counts {whole.events}"
        )


@cache
def risk_plan() -> RiskPlan:
    """The shipped plan; raises ``EvidenceError`` if it names a figure that the library does not have."""
    return read_model(package_data("risk", "outcomes.toml"), RiskPlan, EvidenceError)
