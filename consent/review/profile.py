"""Profiles of what a consent form must hold: elements as data, each with its source and how that was read."""

from __future__ import annotations

import datetime as dt
from functools import cache
from typing import Literal

from pydantic import Field, RootModel, model_validator

from consent.case.condition import Condition
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data

SETS = ("US", "UK", "IN", "EU", "SM", "ST", "UN", "RK")
Level = Literal["MUST", "SHOULD", "IF", "MUST NOT"]


class Element(Part):
    """One element. ``parts`` are what must each be answered; ``forbidden`` names a list of words.

    ``when`` is a condition of the case, ``setting`` one of the clinic; with neither it always applies, but for an IF
    whose ``parts`` may come out empty. ``check`` is a look at the text itself beside its being there. An ``optional``
    element is not applicable where nothing answers it.
    """

    level: Level
    text: str
    source: str = Field(min_length=5)
    verified: Literal["full text", "full text, part", "abstract", "quoted", "memory", "inference"]
    when: Condition | None = None
    setting: Literal["local law"] | None = None
    parts: tuple[str, ...] = ()
    optional: bool = False
    check: Literal["side", "reading", "signals"] | None = None
    forbidden: Literal["blanket", "minimising", "verbal"] | None = None

    @model_validator(mode="after")
    def _an_if_has_its_condition(self) -> Element:
        if self.level == "IF" and not (self.when or self.setting or self.parts or self.forbidden or self.optional):
            raise ValueError("an IF names its condition")
        return self


class Elements(RootModel[dict[str, Element]]):
    """One file of elements."""


class Forbidden(RootModel[dict[str, dict[str, tuple[str, ...]]]]):
    """Words that may not stand in a form: by kind and language."""


class _Listing(Part):
    """One profile as its file says: which sets it takes, and which of their elements it raises to MUST."""

    id: str
    title: str
    dated: dt.date
    review_by: dt.date
    caution: str
    sets: tuple[str, ...]
    must: tuple[str, ...] = ()


class NamedElement(Element):
    """An element with its id and the level it has in the profile at hand."""

    id: str


class Profile(Part):
    """What a form must hold in one place of use. A clinic may add to it and take nothing away."""

    id: str
    title: str
    dated: dt.date
    review_by: dt.date
    caution: str
    elements: tuple[NamedElement, ...]


@cache
def element_set(name: str) -> dict[str, Element]:
    """The elements of one set, by id. ``ConsentError`` naming file and key for a fault."""
    return read_model(package_data("review", "elements", f"{name}.toml"), Elements, ConsentError).root


@cache
def forbidden_words(kind: str) -> dict[str, tuple[str, ...]]:
    """The words of a kind that may not stand in a form, by language tag."""
    return read_model(package_data("review", "elements", "forbidden.toml"), Forbidden, ConsentError).root[kind]


@cache
def profile(name: str, also: tuple[str, ...] = ()) -> Profile:
    """The shipped profile ``name``; ``also`` are ids the clinic demands besides, as MUST, from any set.

    Raises ``ConsentError`` for a profile that is not there; ids are checked where the clinic's settings are.
    """
    listing = read_model(package_data("review", "profiles", f"{name}.toml"), _Listing, ConsentError)
    library = {key: element for part in SETS for key, element in element_set(part).items()}
    chosen = [key for key in library if key[:2] in listing.sets or key in also]
    raised = {*listing.must, *also}
    elements = tuple(_named(key, library[key], key in raised) for key in chosen)
    return Profile(**listing.model_dump(exclude={"sets", "must"}), elements=elements)


def element_ids() -> frozenset[str]:
    """Every id of every set."""
    return frozenset(key for name in SETS for key in element_set(name))


def _named(key: str, element: Element, raised: bool) -> NamedElement:
    level = "MUST" if raised and element.level == "SHOULD" else element.level
    fields = {name: getattr(element, name) for name in Element.model_fields}
    return NamedElement(**{**fields, "id": key, "level": level})
