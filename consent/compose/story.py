"""What is different about this eye: text units brought by rules, read on topic by topic as one explanation."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from pydantic import Field, model_validator

from consent.case import Case
from consent.case.condition import Condition, values_at
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data
from consent.wording import Remark, remark


class Unit(Part):
    """One text unit: brought by a condition of the case or by a point of the review, and what it rests on."""

    topic: str
    says: str | None = None
    when: Condition | None = None
    point: str | None = None
    never_with: tuple[str, ...] = ()
    answers: tuple[str, ...] = ()
    slots: dict[str, str] = Field(default_factory=dict)
    rests_on: str = Field(min_length=8)

    @model_validator(mode="after")
    def _one_rule(self) -> Unit:
        if (self.when is None) == (self.point is None):
            raise ValueError("a unit is brought by when, or by a point, and not by both")
        return self


class _Story(Part):
    """The whole of story.toml."""

    topics: tuple[str, ...]
    topics_of_the_plan: tuple[str, ...]
    units: dict[str, Unit]

    @model_validator(mode="after")
    def _known(self) -> _Story:
        for name, unit in self.units.items():
            if unit.topic not in (*self.topics, *self.topics_of_the_plan):
                raise ValueError(f"units.{name}: no topic {unit.topic}")
            for other in unit.never_with:
                if other not in self.units or name not in self.units[other].never_with:
                    raise ValueError(f"units.{name}: never_with {other} is not said by both")
        return self


@dataclass(frozen=True)
class Paragraph:
    """The units of one topic, in order; ``answers`` are the elements that single units of it answer."""

    topic: str
    units: tuple[Remark, ...]
    answers: tuple[tuple[Remark, tuple[str, ...]], ...] = ()


@cache
def story_rules() -> _Story:
    """The shipped units by id, and the order of their topics."""
    return read_model(package_data("compose", "story.toml"), _Story, ConsentError)


def story(case: Case, points: Iterable[str] = ()) -> tuple[Paragraph, ...]:
    """What sets this eye apart, one paragraph a topic; empty where nothing does.

    ``points`` are the ids of the points that fired: some units rest on a limit the clinic sets.
    """
    return _told(case, frozenset(points), story_rules().topics)


def plan_story(case: Case) -> tuple[Paragraph, ...]:
    """What kind of cataract it is, how the new lens is built, and where it focuses."""
    return _told(case, frozenset(), story_rules().topics_of_the_plan)


def _told(case: Case, fired: frozenset[str], topics: tuple[str, ...]) -> tuple[Paragraph, ...]:
    brought = {
        name: unit
        for name, unit in story_rules().units.items()
        if (unit.when.holds(case) if unit.when is not None else unit.point in fired)
    }
    told = []
    for topic in topics:
        said = [(_said(name, unit, case), unit.answers) for name, unit in brought.items() if unit.topic == topic]
        answers = tuple((words, elements) for words, elements in said if elements)
        told.append(Paragraph(topic, tuple(words for words, _ in said), answers))
    return tuple(paragraph for paragraph in told if paragraph.units)


def _said(name: str, unit: Unit, case: Case) -> Remark:
    slots = {slot: ", ".join(str(value) for value in values_at(case, key)) for slot, key in unit.slots.items()}
    return remark(unit.says or f"different.{name}", **slots)


def unit_ids() -> tuple[str, ...]:
    """Every text unit there is."""
    return tuple(story_rules().units)
