"""What a form asks, read off the models of the case: kind of answer, choices, limits, unit; never a second list."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import Enum
from functools import cache
from typing import Annotated, Any, Literal, get_args, get_origin

import annotated_types
from pydantic import AwareDatetime, BaseModel
from pydantic.fields import FieldInfo

from consent.case import Answer, Case
from consent.case.annotation import kinds_of
from consent.case.part import AcuityText, LanguageTag

Kind = Literal[
    "answer", "choice", "several", "number", "whole", "text", "long text", "texts", "date", "time", "tick", "rows",
    "moment", "acuity", "language",
]  # fmt: skip


@dataclass(frozen=True)
class Choice:
    """One word of a closed list: as the case holds it, and the id of the message that says it."""

    value: str
    words: str


@dataclass(frozen=True)
class Field:
    """One question of a form. ``path``: dotted key of the case, without places in lists.

    ``low`` and ``high`` are the limits that the model holds a number to; ``longest`` the signs of a text. ``inner`` are
    the questions of one row, where rows are asked. ``default`` is what the case says where nothing was entered.
    ``family``: first part of the ids of its words.
    """

    path: str
    kind: Kind
    needed: bool = False
    choices: tuple[Choice, ...] = ()
    low: float | None = None
    high: float | None = None
    longest: int | None = None
    default: Any = None
    inner: tuple[Field, ...] = ()
    family: str = "field"

    @property
    def name(self) -> str:
        """The last part of the path."""
        return self.path.rpartition(".")[2]

    @property
    def unit(self) -> str | None:
        """Id of the message that names the unit, by the end of the name; none for a text."""
        return next((words for ending, words in _UNITS.items() if self.name.endswith(ending)), None)

    @property
    def words(self) -> str:
        """Id of the message that asks it."""
        return f"{self.family}.{self.path}"

    @property
    def help(self) -> str:
        """Id of the message that explains it; not every question has one."""
        return f"help.{self.path}"


_UNITS = {
    "_mmhg": "unit.mmhg",
    "_per_mm2": "unit.per-mm2",
    "_mm": "unit.mm",
    "_mg_dl": "unit.mg-dl",
    "_d": "unit.dioptres",
    "_years": "unit.years",
}


def slug(text: str) -> str:
    """``text`` as the last part of a message id: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")


@cache
def field(path: str) -> Field:
    """The question of the dotted key ``path``. ``KeyError`` where no case has the key."""
    model: type[BaseModel] = Case
    *tables, last = path.split(".")
    for name in tables:
        model = _model(model.model_fields[name].annotation)
    return _field(path, model.model_fields[last])


@cache
def fields_of(model: type[BaseModel], path: str, family: str = "field") -> tuple[Field, ...]:
    """Every question of ``model``, which lies at ``path``; tables within it opened."""
    return tuple(replace(one, family=family) for one in _walk(model, path))


@cache
def optional_tables(model: type[BaseModel] = Case) -> tuple[str, ...]:
    """Tables of ``model`` that are there whole or not at all, such as the lens of the plan."""
    return tuple(_optional(model, ""))


def _optional(model: type[BaseModel], path: str) -> Iterator[str]:
    for name, info in model.model_fields.items():
        kind = next(kinds_of(info.annotation))
        if not _is_list(info.annotation) and _is_model(kind):
            here = f"{path}.{name}" if path else name
            yield from _optional(kind, here)
            if not info.is_required() and info.get_default(call_default_factory=True) is None:
                yield here


def _walk(model: type[BaseModel], path: str) -> Iterator[Field]:
    for name, info in model.model_fields.items():
        here = f"{path}.{name}" if path else name
        kinds = list(kinds_of(info.annotation))
        if not _is_list(info.annotation) and _is_model(kinds[0]):
            yield from fields_of(kinds[0], here)
        else:
            yield _field(here, info)


def _field(path: str, info: FieldInfo) -> Field:
    kinds = list(kinds_of(info.annotation))
    default = None if info.is_required() else info.get_default(call_default_factory=True)
    plain = default.value if isinstance(default, Enum) else default
    metadata = [*info.metadata, *_metadata(info.annotation)]
    low = _limit(metadata, annotated_types.Ge, "ge", annotated_types.Gt, "gt")
    high = _limit(metadata, annotated_types.Le, "le", annotated_types.Lt, "lt")
    kind = _kind(path, info, kinds)
    inner = fields_of(kinds[0], path) if kind == "rows" else ()
    return Field(
        path, kind, info.is_required(), _choices(path, kinds), low=low,
        high=high, longest=_longest(metadata), default=plain,
        inner=inner,
    )  # fmt: skip


def _kind(path: str, info: FieldInfo, kinds: list[Any]) -> Kind:
    first = kinds[0]
    if _is_list(info.annotation):
        return "rows" if _is_model(first) else "several" if _choices(path, kinds) else "texts"
    if first is Answer:
        return "answer"
    if _choices(path, kinds):
        return "choice"
    if first is str:
        return _text(info)
    return _SIMPLE.get(first, "text")


_SIMPLE: dict[Any, Kind] = {
    bool: "tick",
    int: "whole",
    float: "number",
    dt.date: "date",
    dt.time: "time",
    dt.datetime: "moment",
    AwareDatetime: "moment",
}


def _text(info: FieldInfo) -> Kind:
    """The kind of a text, by what checks it."""
    checks = {getattr(item, "func", None) for item in (*info.metadata, *_metadata(info.annotation))}
    named: tuple[tuple[Kind, Any], ...] = (("acuity", AcuityText), ("language", LanguageTag))
    for kind, alias in named:
        if checks & {item.func for item in alias.__metadata__ if hasattr(item, "func")}:
            return kind
    return "long text" if (_longest([*info.metadata, *_metadata(info.annotation)]) or 0) > _SHORT else "text"


_SHORT = 200
"""A text of more signs gets several lines."""


def _choices(path: str, kinds: list[Any]) -> tuple[Choice, ...]:
    first = kinds[0]
    if isinstance(first, type) and issubclass(first, Enum):
        named = re.sub(r"(?<!^)(?=[A-Z])", "-", first.__name__).lower()
        return tuple(Choice(member.value, f"choice.{named}.{slug(member.value)}") for member in first)
    if get_origin(first) is Literal and isinstance(get_args(first)[0], str):
        return tuple(Choice(value, f"choice.{path}.{slug(value)}") for value in get_args(first))
    return ()


def _is_model(kind: Any) -> bool:
    return isinstance(kind, type) and issubclass(kind, BaseModel)


def _is_list(annotation: Any) -> bool:
    return get_origin(annotation) is tuple


def _model(annotation: Any) -> type[BaseModel]:
    found: type[BaseModel] = next(kind for kind in kinds_of(annotation) if _is_model(kind))
    return found


def _metadata(annotation: Any) -> Iterator[Any]:
    if get_origin(annotation) is Annotated:
        yield from annotation.__metadata__
    for inner in get_args(annotation):
        yield from _metadata(inner)


def _limit(metadata: list[Any], *names: Any) -> float | None:
    for item in metadata:
        for kind, attribute in zip(names[::2], names[1::2], strict=True):
            if isinstance(item, kind):
                return float(getattr(item, attribute))
    return None


def _longest(metadata: list[Any]) -> int | None:
    found = [getattr(item, "max_length", None) for item in metadata]
    return next((length for length in found if length is not None), None)
