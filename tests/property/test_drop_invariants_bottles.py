"""Invariants 23 to 29: how many bottles, when they are opened and thrown away, whose they are."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from consent.case import Side
from tests.property import drop_checks
from tests.property.drop_checks import Made, on_every_plan, some_plans
from tests.property.random_orders import SOURCED, Ordered, plain

SURGERY = dt.date(2027, 2, 24)


def test_enough_is_handed_out() -> None:
    """Invariant 23: drops supplied at the planning drops per mL, after loss, cover the drops needed."""
    on_every_plan(drop_checks.enough_is_handed_out)


def test_nothing_from_an_old_bottle() -> None:
    """Invariant 24: no drop comes from a bottle after the day it was opened + life - 1."""
    on_every_plan(drop_checks.nothing_from_an_old_bottle)
    assert sum(len(supply.openings) > 1 for made in some_plans() for supply in made.plan.supplies) > 100


def test_never_fewer_than_the_volume() -> None:
    """Invariant 25: counted by the drop and the days open, never fewer than the volume says, often more."""
    on_every_plan(drop_checks.never_fewer_than_the_volume)
    more = [
        supply
        for made in some_plans()
        for supply in made.plan.supplies
        if supply.openings and supply.count > 1 and supply.openings[0].drops < 10
    ]
    assert more


def test_bottles_carry_their_dates() -> None:
    """Invariant 26: each bottle its open-on and its discard-after date; unit doses are counted in units, not mL."""
    on_every_plan(drop_checks.bottles_carry_their_dates)
    containers = {supply.container for made in some_plans() for supply in made.plan.supplies}
    assert containers == {"bottle", "tube", "unit dose"}


def test_eyes_do_not_share() -> None:
    """Invariant 27: with a fresh bottle per eye, which is the default, no bottle is for two eyes."""
    on_every_plan(drop_checks.eyes_do_not_share)


def test_a_fresh_bottle_per_eye_is_the_default() -> None:
    """Invariant 27: nothing set, one drug in each eye: two bottles, each of one eye."""
    steps = [{"from_day": 1, "days": 7, "times_a_day": 2}]
    items = [{"drug": "moxifloxacin", "eyes": "each", "steps": steps, **SOURCED}]
    made = plain({"own": {"title": "own", "items": items}}, SURGERY).plan()
    assert [supply.sides for supply in made.supplies] == [(Side.RIGHT,), (Side.LEFT,)]


def counts(ordered: Ordered, **drops: Any) -> list[int]:
    """Bottles, tubes and units of each supply at other settings."""
    return [supply.count for supply in ordered.with_settings(**drops).plan().supplies]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 250), st.floats(10, 55), st.floats(0, 90), st.integers(1, 90), st.data())
def test_more_room_never_costs_a_bottle(
    seed: int, drops_per_ml: float, loss: float, life: int, data: st.DataObject
) -> None:
    """Invariant 28: a longer life or more drops per mL never adds a bottle; more loss never saves one."""
    ordered = some_plans()[seed].ordered
    usual = {"drops_per_ml": drops_per_ml, "wastage_percent": loss, "days_after_opening": life}
    fewer = counts(ordered, **usual)
    better = {
        "drops_per_ml": data.draw(st.floats(drops_per_ml, 60)),
        "wastage_percent": data.draw(st.floats(0, loss)),
        "days_after_opening": data.draw(st.integers(life, 365)),
    }
    for name, value in better.items():
        assert all(now <= before for now, before in zip(counts(ordered, **usual | {name: value}), fewer, strict=True))


def with_bigger_bottles(ordered: Ordered, more: float) -> Ordered:
    """The same order with every bottle of the clinic's own bigger."""
    own = {
        name: {**drug, "bottle_ml": drug["bottle_ml"] + more} if "bottle_ml" in drug else drug
        for name, drug in ordered.clinic.formulary.items()
    }
    return Ordered(ordered.order, ordered.clinic.model_copy(update={"formulary": own}))


def test_a_bigger_bottle_never_costs_one() -> None:
    """Invariant 28: the clinic's bottles 0.1 mL and 5 mL bigger."""
    saved = 0
    for made in some_plans()[:150]:
        usual = {supply.rows: supply.count for supply in made.plan.supplies}
        for more in (0.1, 5.0):
            for supply in with_bigger_bottles(made.ordered, more).plan().supplies:
                assert supply.count <= usual[supply.rows], made.seed
                saved += supply.count < usual[supply.rows]
    assert saved > 10


def test_millilitres_are_for_show() -> None:
    """Invariant 29: mL = drops / drops per mL, rounded up to 0.01, and no bottle is counted by it."""
    on_every_plan(drop_checks.millilitres_are_for_show)


def test_millilitres_by_hand() -> None:
    """Invariant 29: 28 drops at 30 per mL are 0.9333... mL, shown as 0.94; one 5 mL bottle gives 150."""
    steps = [{"from_day": 1, "days": 7, "times_a_day": 4}]
    items = [{"drug": "moxifloxacin", "steps": steps, **SOURCED}]
    ordered = plain({"own": {"title": "own", "items": items}}, SURGERY).with_settings(drops_per_ml=30.0)
    (supply,) = ordered.plan().supplies
    assert (supply.ml, supply.count) == (Decimal("0.94"), 1)


def test_a_check_that_is_given_wrong_bottles_fails() -> None:
    """The checks themselves: bottles that may stay open longer than the clinic says are found out."""
    for made in some_plans():
        longer = made.ordered.with_settings(days_after_opening=365).plan()
        if [s.openings for s in longer.supplies] != [s.openings for s in made.plan.supplies]:
            try:
                drop_checks.bottles_carry_their_dates(Made(made.ordered, longer))
            except AssertionError:
                continue
            raise ValueError(made.seed)
