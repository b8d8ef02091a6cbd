"""Conditions on a case, written as data: which key, which values. A key or value no case can hold is refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from enum import Enum
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_origin

from pydantic import BaseModel, Field, RootModel, model_validator

from consent.case.acuity import parse_acuity
from consent.case.annotation import kinds_of
from consent.case.model import Case
from consent.case.part import Part

NOTHING = "nothing"
"""Stands for a key left out, an empty list, a table not there."""


class Between(Part):
    """A number from ``at_least`` on and ``below`` an upper limit; either may be left out. Nothing recorded: no."""

    at_least: float | None = None
    below: float | None = None

    @model_validator(mode="after")
    def _has_a_limit(self) -> Between:
        if self.at_least is None and self.below is None:
            raise ValueError("a range needs at_least, below, or both")
        if self.at_least is not None and self.below is not None and self.at_least >= self.below:
            raise ValueError("a range begins below its end")
        return self

    def holds(self, value: object) -> bool:
        """Whether ``value`` is a number within the limits."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False
        return (self.at_least is None or value >= self.at_least) and (self.below is None or value < self.below)


class Other(Part):
    """Any value but these."""

    not_: tuple[str, ...] = Field(alias="not", min_length=1)


class Words(Part):
    """A text in which one of these words stands, whatever its case."""

    holds_one_of: tuple[str, ...] = Field(min_length=1)


class WorseThan(Part):
    """An acuity worse than a logMAR value; counting fingers and less are worse than any."""

    worse_than_logmar: float


Test = tuple[str, ...] | Between | Other | Words | WorseThan
Every = Annotated[dict[str, Test], Field(min_length=1)]


class Condition(RootModel[tuple[Every, ...]]):
    """Holds if one of its tables holds; a table holds if each of its keys does. Lists hold if one member does."""

    model_config = {"frozen": True, "strict": True}

    @model_validator(mode="after")
    def _can_hold(self) -> Condition:
        if not self.root:
            raise ValueError("a condition needs a table; one without can never hold")
        if faults := [fault for table in self.root for key, test in table.items() for fault in _faults(key, test)]:
            raise ValueError("; ".join(faults))
        return self

    def holds(self, case: Case) -> bool:
        """Whether the case meets the condition."""
        return any(all(_meets(case, key, test) for key, test in table.items()) for table in self.root)

    def keys(self) -> tuple[str, ...]:
        """The keys of the case it looks at, each once, in order."""
        return tuple(dict.fromkeys(key for table in self.root for key in table))


def values_at(case: Case, key: str) -> tuple[object, ...]:
    """What the case holds under a dotted key: each member where lists lie on the way, nothing if it is not there."""
    found: list[object] = [case]
    for name in key.split("."):
        found = [inner for value in found for inner in _members(getattr(value, name, None))]
    return tuple(found)


def _members(value: object) -> tuple[object, ...]:
    if value is None:
        return ()
    return tuple(value) if isinstance(value, tuple) else (value,)


def _meets(case: Case, key: str, test: Test) -> bool:
    values = values_at(case, key)
    if isinstance(test, Between):
        return any(test.holds(value) for value in values)
    if isinstance(test, WorseThan):
        return any(_worse(str(value), test.worse_than_logmar) for value in values)
    texts = [_text(value) for value in values] or [NOTHING]
    if isinstance(test, Words):
        return any(word.casefold() in text.casefold() for word in test.holds_one_of for text in texts)
    if isinstance(test, Other):
        return not any(text in test.not_ for text in texts)
    return any(text in test for text in texts)


def _worse(written: str, limit: float) -> bool:
    logmar = parse_acuity(written).logmar
    return logmar is None or logmar > limit


def _text(value: object) -> str:
    if isinstance(value, Enum):
        return str(value.value)
    return "something" if isinstance(value, BaseModel) else str(value)


def _faults(key: str, test: Test) -> Iterator[str]:
    kinds = _kinds(key)
    if not kinds:
        yield f"no case has the key {key}"
        return
    if isinstance(test, Between):
        if not {int, float} & set(kinds):
            yield f"{key} is not a number"
    elif isinstance(test, Words | WorseThan):
        if str not in kinds:
            yield f"{key} is not a text"
        elif isinstance(test, WorseThan) and "acuity" not in key.rpartition(".")[2]:
            yield f"{key} is not an acuity"
    else:
        allowed = _words(kinds)
        named = test.not_ if isinstance(test, Other) else test
        if not named:
            yield f"{key} names no value"
        yield from (f'{key} is never "{word}"' for word in named if allowed is not None and word not in allowed)


def _words(kinds: Sequence[Any]) -> frozenset[str] | None:
    """The closed words of a key; None where any text may stand."""
    found = {NOTHING}
    for kind in kinds:
        if get_origin(kind) is Literal:
            found.update(str(value) for value in get_args(kind))
        elif isinstance(kind, type) and issubclass(kind, Enum):
            found.update(str(member.value) for member in kind)
        elif isinstance(kind, type) and issubclass(kind, BaseModel):
            found.add("something")
        elif kind in (int, float, bool):
            continue
        else:
            return None
    return frozenset(found)


@cache
def _kinds(key: str) -> tuple[Any, ...]:
    """The types that may stand under a dotted key; empty if no case has the key."""
    kinds: tuple[Any, ...] = (Case,)
    for name in key.split("."):
        kinds = tuple(inner for kind in kinds for inner in _field_kinds(kind, name))
    return kinds


def _field_kinds(kind: Any, name: str) -> tuple[Any, ...]:
    if not (isinstance(kind, type) and issubclass(kind, BaseModel)):
        return ()
    if name in kind.model_fields:
        return tuple(kinds_of(kind.model_fields[name].annotation))
    member = getattr(kind, name, None)
    return tuple(kinds_of(_returned(member))) if isinstance(member, property) else ()


def _returned(member: property) -> Any:
    from typing import get_type_hints

    return get_type_hints(member.fget).get("return") if member.fget else None
