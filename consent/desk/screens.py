"""Which questions stand on which screen, in which order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from consent.case import Case
from consent.case.reading import read_model
from consent.desk.fields import Field as Question
from consent.desk.fields import fields_of
from consent.errors import ConsentError
from consent.resources import package_data


class _Screen(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    id: str
    source: Literal["patient", "notes", "plan"] = Field(alias="from")
    rest_no: bool = False
    questions: tuple[str, ...]


class _Screens(BaseModel):
    """The whole of screens.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    folded: tuple[str, ...]
    together: tuple[tuple[str, ...], ...]
    found_on: tuple[str, ...]
    of_mothers: frozenset[str]
    no_is_a_finding: frozenset[str]
    screens: tuple[_Screen, ...]
    elsewhere: dict[str, str]


@dataclass(frozen=True)
class Screen:
    """One subject with its questions, in the order in which they are asked; ``source``: where its answers come from;
    ``rest_no``: those of its questions that can be answered with "no" all at once."""

    id: str
    source: str
    fields: tuple[Question, ...]
    rest_no: frozenset[str] = frozenset()

    @property
    def words(self) -> str:
        """Id of the message that names it."""
        return f"screen.{self.id}"


@cache
def _read() -> _Screens:
    return read_model(package_data("desk", "screens.toml"), _Screens, ConsentError)


@cache
def screens() -> tuple[Screen, ...]:
    """Every screen, in the order of the talk."""
    return tuple(_screen(one, tuple(_asked(one.questions))) for one in _read().screens)


def _screen(one: _Screen, fields: tuple[Question, ...]) -> Screen:
    plain = {field.path for field in fields if field.kind == "answer"} - _read().no_is_a_finding
    return Screen(one.id, one.source, fields, frozenset(plain if one.rest_no else ()))


@cache
def screen(name: str) -> Screen:
    """The screen ``name``. ``KeyError`` where there is none."""
    return {one.id: one for one in screens()}[name]


@cache
def screen_of(path: str) -> str | None:
    """Id of the screen on which the key ``path`` is entered, or that of the key it lies in; None for what is entered
    elsewhere."""
    for one in screens():
        if any(path == field.path or path.startswith(f"{field.path}.") for field in one.fields):
            return one.id
    return None


def elsewhere() -> dict[str, str]:
    """What is entered on no screen, and what enters it."""
    return _read().elsewhere


def folded() -> frozenset[str]:
    """Keys that are asked in a fold: only needed sometimes."""
    return frozenset(_read().folded)


@cache
def sent_with(path: str) -> str:
    """Name of the group with which ``path`` is sent, as one of them alone may not agree; empty where it is in none."""
    return next((group[0] for group in _read().together if path in group), "")


def found_on() -> tuple[str, ...]:
    """Keys that hold the day on which something was measured."""
    return _read().found_on


def of_mothers() -> frozenset[str]:
    """Keys that are asked of women who may bear a child."""
    return _read().of_mothers


def _asked(questions: tuple[str, ...]) -> Iterator[Question]:
    for wanted in questions:
        found = [one for one in fields_of(Case, "") if one.path == wanted or one.path.startswith(f"{wanted}.")]
        if not found:
            raise KeyError(wanted)
        yield from found
