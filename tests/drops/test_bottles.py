"""Bottles, tubes and unit doses."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from consent.case import Case
from consent.clinic import Clinic, DropSettings
from consent.drops import Supply, plan_drops
from consent.errors import DropsError

Change = Callable[..., Case]
DRUG: dict[str, Any] = {
    "components": [{"generic": "ketorolac", "strength": "0.5%", "class": "nsaid"}],
    "form": "solution",
    "shake": False,
    "preservative": "none",
    "source": "invented",
    "verified": "memory",
}


def supply(clinic: Clinic, case: Case, change: Change, drug: dict[str, Any], **drops: Any) -> Supply:
    """The supply of ``drug`` 4 times a day, days 1 to 14: 56 drops."""
    steps = [{"from_day": 1, "days": 14, "times_a_day": 4}]
    item = {"drug": "own-drug", "steps": steps, "source": "invented", "verified": "memory"}
    own = {
        "formulary": {"own-drug": {**DRUG, **drug}},
        "regimens": {"own": {"title": "own", "items": [item]}},
        "drops": DropSettings(**drops),
    }
    return plan_drops(change(case, plan={"regimen": "own"}), clinic.model_copy(update=own)).supplies[0]


def test_unit_doses_are_counted_in_units(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """One unit each time, no millilitres, nothing to keep open."""
    units = supply(clinic, ordinary, change, {"unit_dose": True})
    assert (units.container, units.count, units.ml, units.openings) == ("unit dose", 56, None, ())


def test_own_days_after_opening(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """Ten days on the label: opened on day 1 and day 11, whatever the clinic's usual is."""
    bottles = supply(clinic, ordinary, change, {"bottle_ml": 5.0, "days_after_opening": 10}, days_after_opening=28)
    assert [opening.day for opening in bottles.openings] == [1, 11]


def test_own_drops_per_ml(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """At 40 drops per mL 1 mL gives 40 drops: the 41st, on day 11, opens another; 56 / 40 = 1.40 mL."""
    bottles = supply(clinic, ordinary, change, {"bottle_ml": 1.0, "drops_per_ml": 40.0}, drops_per_ml=20.0)
    assert [(opening.day, opening.drops) for opening in bottles.openings] == [(1, 40), (11, 16)]
    assert str(bottles.ml) == "1.4"


def test_millilitres_are_rounded_up(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """56 drops at 30 per mL are 1.866... mL: 1.87."""
    assert str(supply(clinic, ordinary, change, {"bottle_ml": 5.0}, drops_per_ml=30.0).ml) == "1.87"


def test_tubes(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """30 applications a tube: 56 need two; the loss counts too (30 / 1.5 = 20, three tubes)."""
    tube = {"form": "ointment", "doses_per_tube": 30}
    tubes = supply(clinic, ordinary, change, tube)
    assert (tubes.container, tubes.count, tubes.ml) == ("tube", 2, None)
    assert supply(clinic, ordinary, change, tube, wastage_percent=50.0).count == 3


def test_a_bottle_without_a_drop_is_refused(clinic: Clinic, ordinary: Case, change: Change) -> None:
    """0.05 mL at 20 drops per mL and half lost gives none."""
    with pytest.raises(DropsError, match="gives no drop"):
        supply(clinic, ordinary, change, {"bottle_ml": 0.05}, wastage_percent=100.0)
