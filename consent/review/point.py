"""What a point for the surgeon is: severity, the facts that fired it, what settles it, its source."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from pydantic import BaseModel, ConfigDict, Field, RootModel

from consent.case import Case, PointAnswer
from consent.case.reading import read_model
from consent.clinic import Clinic
from consent.errors import ClinicError, ConsentError, Problem
from consent.resources import package_data
from consent.review.fingerprint import fingerprint
from consent.risk import Estimate
from consent.wording import Remark


class Severity(StrEnum):
    """How much a point weighs, heaviest first."""

    STOP = "stop"
    ASK = "ask"
    NOTE = "note"


class Rule(BaseModel):
    """One row of points.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    severity: Severity
    why: str = Field(min_length=10)
    source: str = Field(min_length=1)
    overridable: bool = True
    after_surgery: bool = False
    thresholds: dict[str, float] = Field(default_factory=dict)


class Rules(RootModel[dict[str, Rule]]):
    """The whole of points.toml."""


@dataclass(frozen=True)
class Situation:
    """All that a rule may look at."""

    case: Case
    clinic: Clinic
    risks: Mapping[str, Estimate]


@dataclass(frozen=True)
class Point:
    """One point that fired. ``title`` and ``settle`` are what to say; ``facts`` are what was found.

    ``ordered`` is what is ordered in the drops it is about; it is not said, but it is part of the key.
    ``answer`` is what a licensed clinician answered to these very facts. Where ``overridable`` is false an answer is
    shown and changes nothing.
    """

    id: str
    severity: Severity
    title: Remark
    settle: Remark
    facts: tuple[Remark, ...]
    source: str
    overridable: bool = True
    answer: PointAnswer | None = None
    ordered: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Eight hexadecimal digits: the same as long as id, severity, facts and orders are, in any language."""
        return fingerprint([self.id, self.severity.value, list(self.facts), *self.ordered])

    @property
    def open(self) -> bool:
        """Whether it still waits for somebody: not answered, or not to be settled by an answer."""
        return self.answer is None or not self.overridable

    @property
    def blocks(self) -> bool:
        """Whether the case cannot be signed off because of it."""
        return self.severity is Severity.STOP and self.open


Thresholds = Mapping[str, float]
Predicate = Callable[[Situation, Thresholds], Sequence[Remark]]
PREDICATES: dict[str, Predicate] = {}


def point(point_id: str) -> Callable[[Predicate], Predicate]:
    """Registers the predicate of the point ``point_id``; it returns the facts found, none if it does not fire."""

    def register(predicate: Predicate) -> Predicate:
        if point_id in PREDICATES:
            raise ValueError(f"{point_id} has two predicates")
        PREDICATES[point_id] = predicate
        return predicate

    return register


@cache
def rules() -> dict[str, Rule]:
    """The shipped rules, by id."""
    return read_model(package_data("review", "points.toml"), Rules, ConsentError).root


def thresholds(rule_id: str, clinic: Clinic) -> Thresholds:
    """The thresholds of a rule with the clinic's own put over them."""
    return {**rules()[rule_id].thresholds, **clinic.points.get(rule_id, {})}


def check_clinic_elements(clinic: Clinic) -> None:
    """Raises ``ClinicError`` where the clinic demands an element that no profile knows."""
    from consent.review.profile import element_ids

    unknown = [name for name in clinic.required_elements if name not in element_ids()]
    if unknown:
        remedy = "write ids such as UK-20 or ST-09; they stand in consent/review/elements"
        raise ClinicError(
            Problem("there is no such element", f"clinic: required_elements: {name}", remedy=remedy) for name in unknown
        )


def check_clinic_points(clinic: Clinic) -> None:
    """Raises ``ClinicError`` where the clinic sets a threshold that no rule has."""
    import difflib

    problems = []
    for rule_id, settings in clinic.points.items():
        known = rules()[rule_id].thresholds if rule_id in rules() else {}
        for key in [name for name in settings if name not in known]:
            pool = known if rule_id in rules() else list(rules())
            near = difflib.get_close_matches(key if rule_id in rules() else rule_id, pool, n=1)
            what = "this point has no such threshold" if rule_id in rules() else "there is no such point"
            remedy = f'did you mean "{near[0]}"?' if near else f"remove it; {what}"
            problems.append(Problem("no point has this threshold", f"clinic: points.{rule_id}.{key}", remedy=remedy))
    if problems:
        raise ClinicError(problems)
