"""Reads which published figure stands for which outcome: the table in outcomes.toml, checked against the library."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import Field, model_validator

from consent.case.model import Part
from consent.case.reading import read_model
from consent.errors import EvidenceError
from consent.evidence import Cited, library
from consent.resources import package_data

Method = Literal["odds model", "mixture", "ratio", "rate", "by fact", "none"]


class Group(Part):
    """Figures of one group of eyes, as ``series/figure``."""

    usual: str
    this: str | None = None
    ruptured: str | None = None
    intact: str | None = None
    ratio: str | None = None


class Outcome(Part):
    id: str
    method: Method
    horizon: str
    fact: str | None = None
    unknown: Literal["yes", "no"] = "no"
    only_if: Literal["yes"] | None = None
    benefit: bool = False
    groups: dict[str, Group] = Field(default_factory=dict)


class Composite(Part):
    model: str
    doubling: float = Field(gt=1)
    doubling_source: str


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


class RiskPlan(Part):
    composite: Composite
    shrinkage: Shrinkage
    populations: dict[str, dict[str, str]]
    sensitivity: tuple[Sensitivity, ...]
    outside_model: dict[str, str]
    outcomes: tuple[Outcome, ...]

    @model_validator(mode="after")
    def _every_reference_exists(self) -> RiskPlan:
        for reference in self.references():
            library().cited(reference)
        if len({outcome.id for outcome in self.outcomes}) != len(self.outcomes):
            raise ValueError("an outcome stands twice")
        return self

    def references(self) -> tuple[str, ...]:
        """Every figure of the library that drives a default."""
        groups = [group for outcome in self.outcomes for group in outcome.groups.values()]
        named = [reference for group in groups for reference in group.model_dump().values() if reference]
        named += [entry["capsule_rupture"] for entry in self.populations.values()]
        named += [entry.figure for entry in self.sensitivity]
        return tuple(dict.fromkeys([*named, *self.outside_model.values()]))

    def population(self, name: str) -> Cited:
        """Overall capsule-rupture figure of a reference population."""
        return library().cited(self.populations[name]["capsule_rupture"])


@cache
def risk_plan() -> RiskPlan:
    """The shipped plan; raises ``EvidenceError`` if it names a figure that the library does not have."""
    return read_model(package_data("risk", "outcomes.toml"), RiskPlan, EvidenceError)
