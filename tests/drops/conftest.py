"""The shipped cases, and small ways to change them."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import consent
from consent.case import Case, read_case
from consent.clinic import Clinic, read_clinic

EXAMPLES = Path(consent.__file__).parent / "case" / "examples"


def changed(case: Case, **parts: dict[str, Any]) -> Case:
    """``case`` with the given keys of its parts replaced, such as ``eye={"axial_length_mm": 27.0}``."""
    data = case.model_dump(mode="json", by_alias=True)
    for part, keys in parts.items():
        data[part] = {**data[part], **keys}
    return Case.model_validate_json(json.dumps(data), strict=True)


@pytest.fixture
def clinic() -> Clinic:
    """The shipped invented clinic."""
    return read_clinic()


@pytest.fixture
def ordinary() -> Case:
    """The shipped ordinary case."""
    return read_case(EXAMPLES / "ordinary.toml")


@pytest.fixture
def hard() -> Case:
    """The shipped hard case."""
    return read_case(EXAMPLES / "hard.toml")


@pytest.fixture
def change() -> Callable[..., Case]:
    """The function that changes a case."""
    return changed
