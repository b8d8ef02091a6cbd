"""The ways open to this patient, no surgery among them: which of them are told is a rule, kept as data."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from pydantic import RootModel

from consent.case import Case
from consent.case.condition import Condition
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data
from consent.risk import Alternative, risk_plan


class _Rule(Part):
    when: Condition | None = None
    counts: tuple[str, ...] = ()


class _Rules(RootModel[dict[str, _Rule]]):
    """The whole of options.toml."""


@dataclass(frozen=True)
class Option:
    """One way, with the published comparisons that concern this eye."""

    id: str
    counts: tuple[Alternative, ...]


@cache
def _rules() -> dict[str, _Rule]:
    return read_model(package_data("review", "options.toml"), _Rules, ConsentError).root


def options(case: Case) -> tuple[Option, ...]:
    """Return the ways open to the patient of ``case``, the planned operation first, waiting last."""
    known = {way.id: way for way in risk_plan().alternatives}
    return tuple(
        Option(name, tuple(known[way] for way in rule.counts if known[way].concerns(case)))
        for name, rule in _rules().items()
        if rule.when is None or rule.when.holds(case)
    )


def option_ids() -> tuple[str, ...]:
    """Every option there is."""
    return tuple(_rules())
