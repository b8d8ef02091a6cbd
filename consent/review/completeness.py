"""Proves on the composed form that nothing required is missing: an anchor with no text does not count."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Literal

from pydantic import Field

from consent.case import Answer, Case, DecisionBasis
from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data


class Element(Part):
    id: str = Field(pattern=r"^[A-Z]{2}-\d{2}$")
    level: Literal["MUST", "SHOULD", "MUST NOT"]
    text: str
    source: str
    verified: Literal["full text", "abstract", "quoted", "memory", "inference"]
    when: str | None = None
    forbidden_words: tuple[str, ...] = ()


class Profile(Part):
    id: str
    title: str
    dated: dt.date
    review_by: dt.date
    caution: str
    elements: tuple[Element, ...]


@dataclass(frozen=True)
class Anchor:
    """A place in a composed sheet that answers one element of a profile."""

    element: str
    text: str
    sheet: str
    section: str


class State(StrEnum):
    """How an element stands."""

    MET = "met"
    UNMET = "unmet"
    NOT_APPLICABLE = "not applicable"


@dataclass(frozen=True)
class Row:
    """One element of the profile against the composed form; ``where`` is sheet and section of each anchor."""

    element: Element
    state: State
    where: tuple[str, ...]

    @property
    def blocks(self) -> bool:
        """Whether this row alone forbids sign-off."""
        return self.state is State.UNMET and self.element.level != "SHOULD"


@cache
def profile(name: str) -> Profile:
    """The shipped profile called ``name``."""
    return read_model(package_data("review", "profiles", f"{name}.toml"), Profile, ConsentError)


def completeness(chosen: Profile, case: Case, anchors: Iterable[Anchor], texts: Iterable[str]) -> tuple[Row, ...]:
    """One row per element. ``anchors`` and ``texts`` come from the composed form, not from a promise of the code."""
    held: dict[str, list[Anchor]] = {}
    for anchor in anchors:
        if anchor.text.strip():
            held.setdefault(anchor.element, []).append(anchor)
    whole = "\n".join(texts).casefold()
    return tuple(_row(element, case, held.get(element.id, []), whole) for element in chosen.elements)


def _row(element: Element, case: Case, anchors: list[Anchor], whole: str) -> Row:
    if element.when is not None and not CONDITIONS[element.when](case):
        return Row(element, State.NOT_APPLICABLE, ())
    if element.level == "MUST NOT":
        found = tuple(words for words in element.forbidden_words if words.casefold() in whole)
        return Row(element, State.UNMET if found else State.MET, found)
    where = tuple(dict.fromkeys(f"{anchor.sheet} / {anchor.section}" for anchor in anchors))
    return Row(element, State.MET if where else State.UNMET, where)


def _decides(case: Case) -> bool:
    return case.patient.decision.basis is DecisionBasis.SELF


def _cannot_read(case: Case) -> bool:
    return _decides(case) and case.patient.reads is not Answer.YES


def _cannot_write(case: Case) -> bool:
    return _decides(case) and case.patient.writes_name is not Answer.YES


CONDITIONS: dict[str, Callable[[Case], bool]] = {
    "extra steps contemplated": lambda case: bool(case.plan.extra_steps),
    "patient decides": _decides,
    "someone else decides": lambda case: not _decides(case),
    "cannot read": _cannot_read,
    "cannot write": _cannot_write,
    "cannot read or write": lambda case: _cannot_read(case) or _cannot_write(case),
    "camp patient": lambda case: case.plan.camp is Answer.YES,
    "interpreter used": lambda case: case.patient.interpreter is not None,
}
