"""The surgeon's regimens: which drug, from which day, how often, until when."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from enum import StrEnum
from functools import cache
from itertools import pairwise
from types import MappingProxyType
from typing import Any, Literal

from pydantic import Field, ValidationInfo, field_validator

from consent.case.part import LongText, Part, ShortText
from consent.case.reading import read_model
from consent.case.sourced import Sourced, Verified
from consent.clinic import Clinic
from consent.drops.formulary import Form, Formulary, Id, shipped_formulary
from consent.drops.situations import Situation
from consent.drops.tables import nearest, parse_named
from consent.errors import DropsError, Problem
from consent.resources import package_data


class Start(StrEnum):
    """When the first drop is given at home."""

    DAY_1 = "day 1"
    EVENING = "evening of surgery"


class Ends(StrEnum):
    """Why a row of the calendar ends."""

    COURSE_END = "course end"
    UNTIL_REVIEW = "until review"
    LONG_STANDING = "long-standing"
    CHANGED = "changed"


class Step(Part):
    """Some days in a row at one frequency. Day 0 is the day of surgery."""

    from_day: int = Field(ge=-30, le=365, description="first day, day 0 is the day of surgery")
    days: int = Field(ge=1, le=400, description="how many days")
    times_a_day: int = Field(ge=1, le=16, description="times a day")
    drops_per_dose: int = Field(1, ge=1, le=2, description="drops each time")
    at_bedtime: bool = Field(False, description="once a day, at bedtime instead of at waking")
    pause_before: bool = Field(False, description="no drops between the step before and this one, on purpose")
    more_on_purpose: bool = Field(False, description="more drops a day than the step before, on purpose")

    @field_validator("at_bedtime")
    @classmethod
    def _bedtime_once(cls, at_bedtime: bool, info: ValidationInfo) -> bool:
        if at_bedtime and info.data.get("times_a_day") != 1:
            raise ValueError("at_bedtime goes with times_a_day = 1")
        return at_bedtime

    @property
    def last_day(self) -> int:
        """Last day of the step."""
        return self.from_day + self.days - 1


class Item(Sourced):
    """One drug of a regimen."""

    drug: Id
    eyes: Literal["operated", "other", "each"] = "operated"
    steps: tuple[Step, ...]
    ends: Literal["course end", "until review", "long-standing"] | None = Field(
        None, description='"course end", "until review" or "long-standing"'
    )
    drops_before_surgery: int = Field(0, ge=0, le=6, description="drops on day 0 in the hours before surgery")
    reason: LongText | None = Field(None, description="why an NSAID goes on beyond its label")

    @field_validator("steps")
    @classmethod
    def _some(cls, steps: tuple[Step, ...]) -> tuple[Step, ...]:
        if not steps:
            raise ValueError("a drug needs at least one step")
        return steps


class Regimen(Part):
    """A named set of drugs with their days.

    ``suits`` and ``unsuited`` name what about an eye or a patient asks for it or speaks against it, on the ground of
    its own ``source``; the drugs have theirs.
    """

    id: Id
    title: ShortText
    suits: tuple[Situation, ...] = ()
    unsuited: tuple[Situation, ...] = ()
    start: Start = Start.DAY_1
    drop_free: bool = False
    items: tuple[Item, ...] = ()
    source: LongText | None = None
    verified: Verified | None = None


Regimens = Mapping[str, Regimen]


class _File(Part):
    schema_version: Literal[1] = Field(alias="schema")
    regimens: dict[str, dict[str, Any]]


def _contiguous(item: Item) -> Iterator[tuple[str, str]]:
    for key in ("pause_before", "more_on_purpose"):
        if getattr(item.steps[0], key):
            yield f"steps.0.{key}", "the first step has no step before it; leave this out"
    for number, (before, after) in enumerate(pairwise(item.steps), start=1):
        yield from _gap(f"steps.{number}", before, after)
        yield from _rise(f"steps.{number}", before, after)


def _gap(place: str, before: Step, after: Step) -> Iterator[tuple[str, str]]:
    next_day = before.last_day + 1
    starts = f"starts on day {after.from_day}, but the step before it ends on day {before.last_day}; it must start on"
    if after.pause_before and after.from_day == next_day:
        yield f"{place}.pause_before", f"there is no pause: day {next_day} follows at once; leave this out"
    elif after.pause_before and after.from_day < next_day:
        yield f"{place}.from_day", f"{starts} day {next_day + 1} or later, after a pause of at least one day"
    elif not after.pause_before and after.from_day != next_day:
        yield f"{place}.from_day", f"{starts} day {next_day} (a pause on purpose is written pause_before = true)"


def _rise(place: str, before: Step, after: Step) -> Iterator[tuple[str, str]]:
    rises = after.times_a_day * after.drops_per_dose > before.times_a_day * before.drops_per_dose
    if rises and not after.more_on_purpose:
        what = "more drops a day than the step before; a course never rises"
        yield f"{place}.times_a_day", f"{what} (a rise on purpose is written more_on_purpose = true)"
    elif after.more_on_purpose and not rises:
        yield f"{place}.more_on_purpose", "not more drops a day than the step before; leave this out"


def _known_drug(item: Item, formulary: Formulary) -> Iterator[tuple[str, str]]:
    if item.drug not in formulary:
        yield "drug", f'no drug is called "{item.drug}"; {nearest(item.drug, formulary)}'
        return
    drug = formulary[item.drug]
    if drug.lowers_pressure and item.ends is None:
        yield "ends", f'{drug.name} lowers the pressure: say how it ends ("long-standing", "until review", ...)'
    if drug.form is Form.OINTMENT and any(step.drops_per_dose > 1 for step in item.steps):
        yield "steps", "an ointment is applied once each time (drops_per_dose = 1)"


def _each_drug_once(regimen: Regimen) -> Iterator[tuple[str, str]]:
    seen: set[tuple[str, str]] = set()
    for number, item in enumerate(regimen.items):
        eyes = {"operated", "other"} if item.eyes == "each" else {item.eyes}
        pairs = {(item.drug, eye) for eye in eyes}
        if seen & pairs:
            yield f"items.{number}.drug", f'"{item.drug}" stands twice for the same eye; give it further steps instead'
        seen |= pairs


def _situations(regimen: Regimen) -> Iterator[tuple[str, str]]:
    named = (*regimen.suits, *regimen.unsuited)
    for situation in sorted({situation for situation in named if named.count(situation) > 1}):
        yield "suits", f'"{situation}" stands twice under suits and unsuited'
    if named and (regimen.source is None or regimen.verified is None):
        yield "source", "a regimen that names situations needs its own source and verified: on what ground it does"


def _faults(regimen: Regimen, formulary: Formulary) -> Iterator[tuple[str, str]]:
    if regimen.drop_free == bool(regimen.items):
        yield "items", "drop_free = true goes with no items, and only then"
    if regimen.drop_free and (regimen.source is None or regimen.verified is None):
        yield "source", "a regimen without items needs its own source and verified"
    for number, item in enumerate(regimen.items):
        for key, what in (*_contiguous(item), *_known_drug(item, formulary)):
            yield f"items.{number}.{key}", what
    yield from _each_drug_once(regimen)
    yield from _situations(regimen)


def parse_regimens(tables: Mapping[str, Mapping[str, Any]], formulary: Formulary, where: str) -> Regimens:
    """Return the regimens of ``tables`` (id -> keys) by id; every drug must be in ``formulary``.

    Raises ``DropsError`` with one problem per fault: ``where``, the id and the key.
    """
    return parse_named(tables, Regimen, where, lambda regimen: _faults(regimen, formulary))


@cache
def shipped_tables() -> Mapping[str, dict[str, Any]]:
    """The shipped regimens as their tables, by id."""
    return read_model(package_data("drops", "regimens.toml"), _File, DropsError).regimens


def _shipped_with(formulary: Formulary) -> Regimens:
    return parse_regimens(shipped_tables(), formulary, "regimens.toml: regimens")


@cache
def _parsed_as_shipped() -> Regimens:
    return _shipped_with(shipped_formulary())


def read_regimens(clinic: Clinic, formulary: Formulary) -> Regimens:
    """Return the regimens by id: the shipped ones, each replaced whole where the clinic has its own of that id.

    Raises ``DropsError`` naming file and key.
    """
    shipped = _parsed_as_shipped() if not clinic.formulary else _shipped_with(formulary)
    own = parse_regimens(clinic.regimens, formulary, "clinic settings: regimens")
    return MappingProxyType({**shipped, **own})


def find_regimen(regimens: Regimens, regimen_id: str, where: str) -> Regimen:
    """Return the regimen called ``regimen_id``; raises ``DropsError`` at ``where``, naming the nearest id there is."""
    if regimen_id not in regimens:
        raise DropsError(Problem(f'no regimen is called "{regimen_id}"', where, remedy=nearest(regimen_id, regimens)))
    return regimens[regimen_id]
