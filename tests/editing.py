"""A small way to change one key of a shipped example at a time, read as strictly as a file of a clinic."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable, Mapping
from typing import Any

from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.errors import CaseError, ClinicError
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


def case_maker() -> MakeCase:
    """``make(changes, name="ordinary")``: a shipped example with the dotted keys of ``changes`` replaced."""
    files = {name: shipped("case", "examples", f"{name}.toml") for name in ("ordinary", "hard", "second-eye", "torn")}

    def make(changes: Changes | None = None, name: str = "ordinary") -> Case:
        return validate(edited(files[name], changes or {}), Case, CaseError, where="a changed example")

    return make


def torn(changes: Changes | None = None) -> Case:
    """The shipped example after surgery with the dotted keys of ``changes`` replaced."""
    return case_maker()(changes, "torn")


def clinic_maker() -> MakeClinic:
    """``make(changes)``: the shipped invented clinic with the dotted keys of ``changes`` replaced."""
    data = shipped("clinic", "demo.toml")

    def make(changes: Changes | None = None) -> Clinic:
        return validate(edited(data, changes or {}), Clinic, ClinicError, where="a changed clinic")

    return make
