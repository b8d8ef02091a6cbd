"""The shipped cases as raw tables, and small ways to change one and read it again."""

from __future__ import annotations

import copy
import datetime as dt
import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import consent
from consent.case import Case
from consent.case.reading import validate
from consent.errors import CaseError, Problem

EXAMPLES = Path(consent.__file__).parent / "case" / "examples"
REMOVED = object()


def iso(value: object) -> str:
    """TOML's dates and times as RFC 3339 text, for JSON."""
    assert isinstance(value, dt.date | dt.time)
    return value.isoformat()


def put(table: dict[str, Any], key: str, value: object) -> None:
    """Set or remove (``REMOVED``) the dotted ``key``, making the tables on the way."""
    *path, last = key.split(".")
    for part in path:
        table = table.setdefault(part, {})
    if value is REMOVED:
        del table[last]
    else:
        table[last] = value


def table(name: str = "ordinary", **changes: object) -> dict[str, Any]:
    """The shipped case ``name`` as TOML gives it; ``eye__side="left"`` sets ``eye.side``."""
    data = copy.deepcopy(tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")))
    for key, value in changes.items():
        put(data, key.replace("__", "."), value)
    return data


def refused(data: dict[str, Any]) -> tuple[Problem, ...]:
    """The problems of ``data``; fails if it is accepted."""
    with pytest.raises(CaseError) as caught:
        validate(data, Case, CaseError, "case.toml")
    return caught.value.problems


@pytest.fixture
def examples() -> Path:
    """Folder of the shipped cases."""
    return EXAMPLES


@pytest.fixture
def raw() -> Callable[..., dict[str, Any]]:
    """The function that gives a shipped case as a table."""
    return table


@pytest.fixture
def accepted() -> Callable[[dict[str, Any]], Case]:
    """The function that reads a table as a case."""
    return lambda data: validate(data, Case, CaseError, "case.toml")


@pytest.fixture
def problems() -> Callable[[dict[str, Any]], tuple[Problem, ...]]:
    """The function that gives the problems of a table."""
    return refused


@pytest.fixture
def removed() -> object:
    """What to give a key to take it out."""
    return REMOVED


@pytest.fixture
def as_json() -> Callable[[dict[str, Any]], str]:
    """The function that writes a table as JSON."""
    return lambda data: json.dumps(data, default=iso)
