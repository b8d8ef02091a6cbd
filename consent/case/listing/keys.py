"""Walks the model of the case by dotted keys: what may be said there, and setting and finding values."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from consent.case.model import Case


def choices(key: str) -> tuple[str, ...]:
    """The closed list of words that may be said at ``key``, or in a list there; nothing where any text may."""
    kind = kind_at(key)
    if get_origin(kind) is Literal:
        return tuple(map(str, get_args(kind)))
    if isinstance(kind, type) and issubclass(kind, Enum):
        return tuple(str(one.value) for one in kind)
    return ()


def kind_at(key: str) -> Any:
    """The type at the dotted ``key`` of a case, that of one entry where there is a list; ``KeyError`` without it."""
    kind: Any = Case
    for part in key.split("."):
        if not part.isdigit():
            kind = _plain(kind.model_fields[part].annotation)
    return kind


def _plain(kind: Any) -> Any:
    """``kind`` without limits, "or nothing", and "a list of"."""
    origin, inner = get_origin(kind), get_args(kind)
    if origin is Annotated or origin is tuple:
        return _plain(inner[0])
    if origin in (Union, UnionType):
        return _plain(next(one for one in inner if one is not type(None)))
    return kind


def nested(facts: Mapping[str, Any]) -> dict[str, Any]:
    """``facts`` by dotted keys as the nested table of a case; numbered entries become a list, without gaps."""
    table: dict[str, Any] = {}
    for key, value in facts.items():
        *path, last = key.split(".")
        inner = table
        for part in path:
            inner = inner.setdefault(part, {})
        inner[last] = value
    return {name: _with_lists(value) for name, value in table.items()}


def _with_lists(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    inner = {name: _with_lists(entry) for name, entry in value.items()}
    if inner and all(name.isdigit() for name in inner):
        return [inner[name] for name in sorted(inner, key=int)]
    return inner


def _entry(values: tuple[Any, ...], place: int) -> Any:
    return values[place] if place < len(values) else None


def found_at(case: BaseModel, key: str) -> Any:
    """The value at the dotted ``key`` of ``case``; ``None`` where there is none."""
    value: Any = case
    for part in key.split("."):
        if value is None:
            return None
        value = _entry(value, int(part)) if part.isdigit() else getattr(value, part)
    return value
