"""The shipped cases and clinic, and ways to change one fact at a time."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import consent
from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Audit, Clinic, read_clinic
from consent.errors import CaseError
from consent.evidence import OddsModel, library
from consent.risk import Estimate, assess_risks

EXAMPLES = Path(consent.__file__).parent / "case" / "examples"
REMOVED = object()


def changed(name: str = "ordinary", **changes: object) -> Case:
    """The shipped case ``name`` with dotted keys changed: ``eye__side="left"`` sets ``eye.side``; ``None`` removes."""
    data: dict[str, Any] = copy.deepcopy(tomllib.loads((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")))
    for key, value in changes.items():
        *path, last = key.split("__")
        table = data
        for part in path:
            table = table.setdefault(part, {})
        if value is None:
            table.pop(last, None)
        else:
            table[last] = value
    return validate(data, Case, CaseError, "case.toml")


# Every factor of Narendran 2009 at its reference level: a woman of 55, consultant surgeon, large pupil, axial length
# below 26 mm, and none of the others (Eye 2009;23:31-37).
REFERENCE: dict[str, object] = {
    "patient__birth_date": None,
    "patient__age_years": 55,
    "patient__sex": "female",
    "eye__glaucoma": "none",
    "eye__retinopathy": "none",
    "eye__nucleus__grade": "medium",
    "eye__white": "no",
    "eye__fundus_seen": "yes",
    "eye__pseudoexfoliation": "no",
    "eye__phacodonesis": "no",
    "eye__pupil_grade": "large",
    "eye__axial_length_mm": 23.5,
    "health__alpha_blocker": {"ever": "no"},
    "health__can_lie_flat": "yes",
    "plan__surgeon__grade": "consultant",
    "plan__operation": "phacoemulsification",
}


@pytest.fixture
def case() -> Callable[..., Case]:
    """The function that gives a shipped case with some keys changed."""
    return changed


@pytest.fixture
def reference() -> Callable[..., Case]:
    """The function that gives an eye at every reference level of the model, with some keys changed."""
    return lambda **changes: changed("ordinary", **{**REFERENCE, **changes})


@pytest.fixture
def clinic() -> Clinic:
    """The shipped invented clinic: south Asia, no audit."""
    return read_clinic()


@pytest.fixture
def audited(clinic: Clinic) -> Clinic:
    """The same clinic with an audit."""
    audit = Audit(operations=1000, events=12, expected_events=15.0, years="2025")
    return clinic.model_copy(update={"audit": audit})


@pytest.fixture
def model() -> OddsModel:
    """The odds model of Narendran 2009."""
    found = library().one("narendran-2009").model
    assert found is not None
    return found


@pytest.fixture
def estimates() -> Callable[[Case, Clinic], dict[str, Estimate]]:
    """The function that gives the estimates of a case by outcome."""
    return lambda case, clinic: {estimate.outcome: estimate for estimate in assess_risks(case, clinic)}


@pytest.fixture
def rupture(estimates: Callable[[Case, Clinic], dict[str, Estimate]]) -> Callable[[Case, Clinic], Estimate]:
    """The function that gives the estimate of capsule rupture."""
    return lambda case, clinic: estimates(case, clinic)["capsule_rupture"]
