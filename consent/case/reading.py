"""Reads a case from TOML or JSON and reports every problem at once, with the field, its unit and its range."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Iterator
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from consent.case.model import SCHEMA_VERSION, Case
from consent.errors import CaseError, ConsentError, Problem

ModelT = TypeVar("ModelT", bound=BaseModel)
_LARGEST_FILE_BYTES = 1_000_000


def read_case(path: Path) -> Case:
    """Return the case in the TOML or JSON file at ``path``.

    Raises ``CaseError`` with one problem per fault: the file, the key, the value found, what is allowed.
    """
    return read_model(path, Case, CaseError)


def read_model(path: Path, model: type[ModelT], error: type[ConsentError], where: str = "") -> ModelT:
    """Return ``model`` read from the TOML or JSON file at ``path``; raises ``error`` listing every fault.

    ``where`` names the file in them; without it, its own name does.
    """
    return validate(_load(path, error), model, error, where or path.name)


def validate(data: dict[str, Any], model: type[ModelT], error: type[ConsentError], where: str) -> ModelT:
    """Return ``model`` made from ``data`` (as TOML or JSON gives it); raises ``error`` listing every fault."""
    if broken := list(_unwritable(data, "")):
        raise error(
            Problem("this text holds half a character", f"{where}: {key}", remedy="type it again") for key in broken
        )
    try:
        return model.model_validate_json(json.dumps(data, default=_iso), strict=True)
    except ValidationError as failure:
        raise error(_problem(fault, model, where) for fault in failure.errors()) from failure


def case_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a case file, for editors."""
    schema = Case.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Case", **schema}


def _iso(value: object) -> str:
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    raise TypeError(type(value).__name__)


def _load(path: Path, error: type[ConsentError]) -> dict[str, Any]:
    data = _parse(path, error)
    if not isinstance(data, dict):
        raise error(Problem("the file holds no table of keys", str(path), remedy="start from a shipped example"))
    schema = data.get("schema", SCHEMA_VERSION)
    if isinstance(schema, bool) or schema != SCHEMA_VERSION:
        raise error(
            Problem(
                f"schema = {schema!r} is not known here (this version reads schema = {SCHEMA_VERSION})",
                f"{path.name}: schema",
                remedy="use the version of the program that wrote the file, or a newer one",
            )
        )
    return data


def _parse(path: Path, error: type[ConsentError]) -> Any:
    is_json = path.suffix.lower() == ".json"
    try:
        if path.stat().st_size > _LARGEST_FILE_BYTES:
            raise error(Problem("the file is larger than one megabyte", str(path), remedy="give the file of one case"))
        text = path.read_text(encoding="utf-8-sig")
        return json.loads(text, object_pairs_hook=_no_key_twice) if is_json else tomllib.loads(text)
    except OSError as failure:
        reason = failure.strerror or "cannot be read"
        raise error(Problem(f"the file cannot be read ({reason})", str(path), remedy="check the name")) from failure
    except UnicodeDecodeError as failure:
        raise error(Problem("the file is not UTF-8 text", str(path), remedy="save it again as UTF-8")) from failure
    except RecursionError as failure:
        raise error(
            Problem("tables lie too deep in one another", str(path), remedy="start from an example")
        ) from failure
    except ValueError as failure:  # TOMLDecodeError, JSONDecodeError, a number of thousands of digits, a name with NUL
        kind = "JSON" if is_json else "TOML"
        raise error(Problem(f"the file is not {kind}: {failure}", str(path), remedy="mend the line named")) from failure


def _no_key_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f'the key "{key}" stands twice in one table')
        found[key] = value
    return found


def _unwritable(value: Any, key: str) -> Iterator[str]:
    """Keys whose text cannot be written as UTF-8: half of a surrogate pair, which JSON lets through."""
    if isinstance(value, str):
        if any("\ud800" <= letter <= "\udfff" for letter in value):
            yield key
    elif isinstance(value, dict):
        for name, entry in value.items():
            yield from _unwritable(entry, f"{key}.{name}" if key else str(name))
    elif isinstance(value, list):
        for place, entry in enumerate(value):
            yield from _unwritable(entry, f"{key}.{place}")


def _problem(fault: ErrorDetails, model: type[BaseModel], where: str) -> Problem:
    location = [part for part in fault["loc"] if part != "function-after"]
    key = ".".join(str(part) for part in location) or "file"
    given = fault.get("input")
    unit = _description(model, location)
    if fault["type"] == "extra_forbidden":
        near = difflib.get_close_matches(str(location[-1]), _keys_beside(model, location), n=1, cutoff=0.6)
        guess = f'did you mean "{near[0]}"?' if near else "remove it"
        return Problem("this key is not known", f"{where}: {key}", remedy=guess)
    if fault["type"] == "missing":
        remedy = f"add it ({unit})" if unit else "add it"
        return Problem("this key is needed and is not there", f"{where}: {key}", remedy=remedy)
    message = fault["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    if fault["type"] in {"enum", "literal_error"}:
        remedy = f"write {message}"
        choices = re.findall(r"'([^']*)'", message)
        near = difflib.get_close_matches(str(given), choices, n=1, cutoff=0.6)
        if near:
            remedy = f'did you mean "{near[0]}"? Allowed: {message}'
        return Problem(f"{given!r} is not one of the answers", f"{where}: {key}", remedy=remedy)
    if fault["type"] == "value_error":
        return Problem(message, f"{where}: {key}")
    shown = f"{given!r} is not allowed; it should be {message[0].lower()}{message[1:]}"
    return Problem(shown, f"{where}: {key}", remedy=f"give {unit}" if unit else "")


def _models(model: type[BaseModel], location: list[int | str]) -> Iterator[tuple[type[BaseModel], str]]:
    current: type[BaseModel] | None = model
    for part in location:
        if current is None or isinstance(part, int):
            continue
        yield current, part
        current = _model_of(current, part)


def _model_of(model: type[BaseModel], name: str) -> type[BaseModel] | None:
    field = model.model_fields.get(name)
    if field is None:
        return None
    pending: list[Any] = [field.annotation]
    while pending:
        annotation = pending.pop()
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            return annotation
        pending.extend(getattr(annotation, "__args__", ()))
    return None


def _keys_beside(model: type[BaseModel], location: list[int | str]) -> list[str]:
    keys: list[str] = []
    for parent, _ in _models(model, location):
        keys = [field.alias or name for name, field in parent.model_fields.items()]
    return keys


def _description(model: type[BaseModel], location: list[int | str]) -> str:
    text = ""
    for parent, name in _models(model, location):
        field = parent.model_fields.get(name)
        text = (field.description or "") if field else ""
    return text
