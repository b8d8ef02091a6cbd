"""Tables that look at any fact of the case: pairs that do not go together, plausible ranges, steps to be agreed."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Literal

from pydantic import RootModel

from consent.case import Case, ExtraStep
from consent.case.condition import Between, Condition, values_at
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data

Kind = Literal["never", "hardly"]


class _Pair(Part):
    one: Condition
    other: Condition


class _Pairs(RootModel[dict[Kind, dict[str, _Pair]]]):
    """The whole of contradictions.toml."""


class _Ranges(RootModel[dict[str, Between]]):
    """The whole of plausible.toml."""


class _Step(Part):
    when: Condition


class _Steps(RootModel[dict[ExtraStep, _Step]]):
    """The whole of steps.toml."""


@cache
def pairs() -> dict[Kind, dict[str, _Pair]]:
    """Pairs of facts that never, or hardly, go together, by id."""
    return read_model(package_data("review", "contradictions.toml"), _Pairs, ConsentError).root


@cache
def plausible() -> dict[str, Between]:
    """The range in which most values lie, by key of the case."""
    return read_model(package_data("review", "plausible.toml"), _Ranges, ConsentError).root


@cache
def _steps() -> dict[ExtraStep, _Step]:
    return read_model(package_data("review", "steps.toml"), _Steps, ConsentError).root


def contradictions(case: Case, kind: Kind) -> tuple[str, ...]:
    """Ids of the pairs of which the case holds both facts."""
    return tuple(name for name, pair in pairs()[kind].items() if pair.one.holds(case) and pair.other.holds(case))


def unusual(case: Case) -> Iterator[tuple[str, float]]:
    """Key and value of each number that lies outside its plausible range."""
    for key, span in plausible().items():
        for value in values_at(case, key):
            if isinstance(value, int | float) and not span.holds(value):
                yield key, value


def foreseeable_steps(case: Case) -> tuple[ExtraStep, ...]:
    """The extra steps this eye may need, agreed or not."""
    return tuple(step for step, rule in _steps().items() if rule.when.holds(case))
