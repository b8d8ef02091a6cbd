"""The shipped examples, and a small way to change one key of them at a time."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

import pytest

from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.errors import CaseError, ClinicError, ConsentError
from consent.resources import package_data

Changes = Mapping[str, Any]
MakeCase = Callable[..., Case]
MakeClinic = Callable[..., Clinic]


def edited(data: dict[str, Any], changes: Changes) -> dict[str, Any]:
    """A copy of ``data`` with dotted keys replaced, such as ``{"eye.pupil_mm": 4.0}``; missing tables are made."""
    new = copy.deepcopy(data)
    for key, value in changes.items():
        *tables, last = key.split(".")
        table = new
        for name in tables:
            table = table.setdefault(name, {})
        table[last] = copy.deepcopy(value)
    return new


def shipped(*parts: str) -> dict[str, Any]:
    """A shipped TOML file as a dictionary."""
    return tomllib.loads(package_data(*parts).read_text(encoding="utf-8"))


def made(data: dict[str, Any], model: type[Any], error: type[ConsentError], changes: Changes | None) -> Any:
    """The model read from ``data`` with ``changes``, as strictly as from a file."""
    return validate(edited(data, changes or {}), model, error, where="a changed example")


@pytest.fixture(scope="session")
def make_case() -> MakeCase:
    """``make_case(changes, name="ordinary")``: a shipped example with the dotted keys of ``changes`` replaced."""
    files = {name: shipped("case", "examples", f"{name}.toml") for name in ("ordinary", "hard")}

    def make(changes: Changes | None = None, name: str = "ordinary") -> Case:
        return made(files[name], Case, CaseError, changes)

    return make


@pytest.fixture(scope="session")
def make_clinic() -> MakeClinic:
    """``make_clinic(changes)``: the shipped invented clinic with the dotted keys of ``changes`` replaced."""
    data = shipped("clinic", "demo.toml")

    def make(changes: Changes | None = None) -> Clinic:
        return made(data, Clinic, ClinicError, changes)

    return make
