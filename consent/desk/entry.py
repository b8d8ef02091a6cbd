"""A form read back into the case: what is right is kept, what is not is named where it stands."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Mapping, Set
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from consent.case import Case
from consent.desk.fields import Field, optional_tables
from consent.desk.form import Sent
from consent.desk.typed import NOTHING, Tree, at, put, rows_of, takes_groups, value_of, without_empty_tables
from consent.language import Quoted
from consent.wording import Remark, remark

ASKED = "asked"
"""Name of the hidden fields that tell which questions a form holds: an unticked box sends nothing."""


@dataclass(frozen=True)
class Entered:
    """What a form says. ``data``: the case with all that can be kept of it; ``faults``: what cannot, by the name of the
    field, or under ``""`` where it is no single field's; ``held_back``: the questions whose answers were not kept."""

    data: Tree
    faults: Mapping[str, Remark] = field(default_factory=dict)
    held_back: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Slip:
    """An answer that the case could hold and nobody can mean. ``where``: the question at which it is said; ``about``:
    the questions that say it together."""

    where: str
    said: Remark
    about: frozenset[str]


Slips = Callable[[Mapping[str, Any]], Iterable[Slip]]
"""Finds them in the data of a case."""


def read_entry(
    form: Sent,
    fields: Iterable[Field],
    data: Mapping[str, Any],
    zone: ZoneInfo,
    model: type[BaseModel] = Case,
    slips: Slips = lambda _: (),
) -> Entered:
    """The case in ``data`` (or another ``model``) with what ``form`` says to those of ``fields`` it asks.

    A question whose answer the case cannot hold keeps what it said before, and its fault is named; the others are kept.
    So is one that slipped, where the form says it and the case did not.
    """
    every = tuple(fields)
    asked = [one for one in every if one.path in set(form.texts(ASKED))]
    wanted = {one.path: _in_old_order(value_of(form, one, one.path, zone), at(data, one.path)) for one in asked}
    new = {path for path, value in wanted.items() if value != at(data, path)}
    rows = {one.path: tuple(rows_of(form, one, one.path, zone)) for one in asked if one.kind == "rows"}
    faults: dict[str, Remark] = {}
    held: set[str] = set()
    while True:
        made = _with(data, {path: value for path, value in wanted.items() if path not in held}, every, model)
        left = wanted.keys() - held
        slipped = [one for one in slips(made) if one.about & new & left]
        found = _faults(made, asked, model)
        named = {_named(name, asked, rows, held): said for name, said in found.items()}
        faults = {**{one.where: one.said for one in slipped}, **named, **faults}
        if not found and not slipped:
            return Entered(made, faults, frozenset(held))
        back = _with_their_tables({path for name in found for path in _to_hold(name, left)}, left, model)
        back |= {path for one in slipped for path in one.about & left}
        if not back:
            return Entered(dict(data), faults, frozenset(wanted))
        held |= back


def read_new(form: Sent, fields: Iterable[Field], data: Mapping[str, Any], zone: ZoneInfo) -> Entered:
    """A case that is not there yet, begun as ``data``: all of it is right, or what is wrong or missing is named, that
    alone, and all that was typed is held back."""
    every = tuple(fields)
    wanted = {one.path: value_of(form, one, one.path, zone) for one in every}
    made = _with(data, wanted, every, Case)
    faults = _faults(made, list(every), Case)
    return Entered(dict(data), faults, frozenset(wanted)) if faults else Entered(made)


def _named(name: str, asked: list[Field], rows: Mapping[str, tuple[int, ...]], held: Set[str]) -> str:
    """``name`` as the form has it: a row by its place there, where others are empty or taken out (``rows`` are those
    that say something); a table of several questions by the first of them."""
    for path, places in rows.items():
        found = re.match(rf"{re.escape(path)}\.(\d+)(?=\.|$)", name)
        if found and path not in held and int(found[1]) < len(places):
            return f"{path}.{places[int(found[1])]}{name[found.end() :]}"
    plain = re.sub(r"\.\d+", "", name)
    if not plain or any(plain == one.path or plain.startswith(f"{one.path}.") for one in asked):
        return name
    return next((one.path for one in asked if one.path.startswith(f"{plain}.")), name)


def _to_hold(name: str, kept: Set[str]) -> set[str]:
    """Which of the questions ``kept`` a fault at ``name`` is about; where they are held back already, those of the
    table around it, such as the name that goes with a time that could not be kept."""
    while name:
        if found := _of(name, kept):
            return found
        name = name.rpartition(".")[0]
    return set()


def _with_their_tables(back: set[str], left: Set[str], model: type[BaseModel]) -> set[str]:
    """``back``, and what of ``left`` belongs to the same whole: half of a new lens is not put over half of the old."""
    tables = [table for table in optional_tables(model) if any(path.startswith(f"{table}.") for path in back)]
    return back | {path for path in left for table in tables if path.startswith(f"{table}.")}


def _in_old_order(new: Any, old: Any) -> Any:
    """``new``, or ``old`` where both hold the same in another order: boxes on a page stand in an order of their own."""
    both = isinstance(new, list) and isinstance(old, list)
    return old if both and all(isinstance(one, str) for one in (*new, *old)) and sorted(new) == sorted(old) else new


def _with(
    data: Mapping[str, Any], values: Mapping[str, Any], fields: tuple[Field, ...], model: type[BaseModel]
) -> Tree:
    made = dict(data)
    for path, value in values.items():
        made = put(made, path, value)
    return without_empty_tables(made, optional_tables(model), fields)


def _of(name: str, wanted: Set[str]) -> set[str]:
    """The questions that a fault at ``name`` is about: the one it lies in, or all within a table."""
    plain = re.sub(r"\.\d+", "", name)
    return {
        path
        for path in wanted
        if plain == path or plain.startswith(f"{path}.") or (plain and path.startswith(f"{plain}."))
    }


def _faults(data: Mapping[str, Any], asked: list[Field], model: type[BaseModel]) -> dict[str, Remark]:
    try:
        model.model_validate_json(json.dumps(data), strict=True)
    except ValidationError as failure:
        return dict(_fault(error, asked) for error in failure.errors())
    return {}


def _fault(error: ErrorDetails, asked: list[Field]) -> tuple[str, Remark]:
    location = ".".join(str(part) for part in error["loc"] if part != "function-after")
    if error["type"] == "value_error":
        return _disagreement(location, error["msg"].removeprefix("Value error, "), asked)
    found = _field(location, asked)
    return location, _said(error, found)


def _field(location: str, asked: list[Field]) -> Field | None:
    plain = re.sub(r"\.\d+", "", location)
    every = [inner for one in asked for inner in (one, *one.inner)]
    return next((one for one in every if one.path == plain), None)


def _disagreement(location: str, told: str, asked: list[Field]) -> tuple[str, Remark]:
    """Where two answers do not agree: the question that the model's own words begin with, and what is said of it."""
    first = re.match(r"[a-z0-9_.]+", told)
    named = first[0].rstrip(".") if first else ""
    last = location.rpartition(".")[2]
    name = location if named in ("", last) else ".".join(part for part in (location, named) if part)
    plain = re.sub(r"\.\d+", "", name)
    if plain in _OWN_WORDS:
        return name, remark(f"error.at.{plain}")
    if (found := _field(location, asked)) is not None and found.kind == "acuity":
        return location, remark("error.acuity")
    known = any(plain == one.path or plain.startswith(f"{one.path}.") for one in asked)
    return (name if known else location), remark("error.as-told", told=Quoted(told))


_OWN_WORDS = frozenset(
    {
        "health.allergies",
        "health.alpha_blocker",
        "patient.birth_date",
        "patient.waking_to",
        "other_eye.regimen",
        "plan.date",
        "own_drops",
        "own_drops.decision",
        "own_drops.at_bedtime",
        "visits.date",
    }
)
"""Disagreements between answers that have words of their own."""


def _said(error: ErrorDetails, asked: Field | None) -> Remark:
    if error["type"] == "missing":
        return remark("error.needed")
    if asked is not None and asked.kind in ("number", "whole"):
        return _number(error, asked)
    if error["type"] == "string_too_long":
        return remark("error.long", most=int(error["ctx"]["max_length"]))
    if asked is not None and f"error.{asked.kind}" in _KINDS:
        return remark(f"error.{asked.kind}")
    if error["type"] == "string_pattern_mismatch":
        return remark("error.record-number")
    return remark("error.as-told", told=Quoted(error["msg"]))


_KINDS = frozenset({"error.date", "error.time", "error.moment", "error.answer", "error.choice", "error.acuity"})


def _number(error: ErrorDetails, asked: Field) -> Remark:
    if error["type"].startswith(("greater_than", "less_than")) and asked.low is not None and asked.high is not None:
        return remark("error.range", low=asked.low, high=asked.high)
    if takes_groups(asked) and "," in str(error["input"]):
        return remark("error.comma")
    return remark("error.whole" if asked.kind == "whole" else "error.number")


def shown(data: Mapping[str, Any], path: str) -> Any:
    """What a form shows of ``data`` at ``path``: None where there is nothing."""
    value = at(data, path)
    return None if value is NOTHING else value
