"""Invariants 10 to 15: counts by day, by drug and in all, and that nothing but the order moves them."""

from __future__ import annotations

import datetime as dt
import json
from collections import Counter
from random import Random
from typing import Any

import pytest

from consent.case import Case
from consent.clinic import Clinic, read_clinic
from consent.drops import DropPlan
from consent.errors import DropsError
from consent.pack import compose_pack
from consent.pack.data import assessment_data
from tests.conftest import shipped_case
from tests.property import drop_checks
from tests.property.drop_checks import on_every_plan, some_plans
from tests.property.random_orders import Ordered, random_order


def test_counts_are_the_formula() -> None:
    """Invariant 10: sum over days = sum over phases of frequency x drops each time x days x eyes."""
    on_every_plan(drop_checks.counts_are_the_formula)


def test_daily_totals_add_up() -> None:
    """Invariant 11: the row of all drugs is the sum of the drug rows, every day."""
    on_every_plan(drop_checks.daily_totals_add_up)


def test_silent_days_are_noughts() -> None:
    """Invariant 12: a silent day stands with 0, and the first silent day of a row is its last date + 1."""
    on_every_plan(drop_checks.silent_days_are_noughts)
    assert any(day.total == 0 for made in some_plans() for day in made.plan.days)


def test_as_many_times_as_doses() -> None:
    """Invariant 13: as many clock times of a drug on a day as its frequency that day."""
    on_every_plan(drop_checks.as_many_times_as_doses)


def test_a_telephone_holds_every_drop() -> None:
    """Invariant 13: what a telephone's calendar holds is every drop with a clock time, once, and no other."""
    on_every_plan(drop_checks.runs_hold_every_drop)


def by_name(plan: DropPlan) -> Any:
    """Everything countable of a plan, without the numbers on the bottles."""
    rows = plan.rows
    counts = Counter(
        {
            (day.date, rows[place].drug.id, rows[place].side): count
            for day in plan.days
            for place, count in enumerate(day.counts)
        }
    )
    clocks = {(row.drug.id, row.side, day.date): day.times_of(row.number) for row in rows for day in plan.sessions}
    supplies = {(supply.drug.id, frozenset(supply.sides)): (supply.count, supply.openings) for supply in plan.supplies}
    return counts, clocks, supplies, [day.total for day in plan.days]


def reordered(ordered: Ordered, draw: Random) -> Ordered:
    """The same regimens with their drugs in another order."""
    tables = {
        name: {**table, "items": draw.sample(table["items"], len(table["items"]))}
        for name, table in ordered.clinic.regimens.items()
    }
    return Ordered(ordered.order, ordered.clinic.model_copy(update={"regimens": tables}))


def test_order_of_the_drugs_changes_no_number() -> None:
    """Invariant 14: the drugs in another order: the same days, counts, clock times and bottles."""
    draw, moved = Random(14), 0
    for made in some_plans():
        ordered = made.ordered
        if "evening of surgery" in {table["start"] for table in ordered.clinic.regimens.values()} and ordered.other_day:
            continue  # on the evening of one eye and a day of the other, two drugs may tie for most doses
        drugs = [(row.drug.id, row.side) for row in made.plan.rows]
        if len(set(drugs)) < len(drugs):
            continue
        other = reordered(ordered, draw).plan()
        assert by_name(other) == by_name(made.plan), made.seed
        moved += [(row.drug.id, row.side) for row in other.rows] != drugs
    assert moved > 100


@pytest.fixture(scope="module")
def clinic() -> Clinic:
    return read_clinic()


def drops_of(case: Case, clinic: Clinic, *tags: str) -> Any:
    """The drops of a case as other programs read them."""
    return assessment_data(compose_pack(case, clinic, tags))["drops"]


def test_language_and_size_of_print_change_no_number(clinic: Clinic) -> None:
    """Invariant 14: in Bengali, in English, and in large print the drops are the same, to the letter."""
    case = shipped_case("hard")
    large = case.model_copy(update={"patient": case.patient.model_copy(update={"large_print": "yes"})})
    english = drops_of(case, clinic, "en")
    assert drops_of(case, clinic, "bn") == english
    assert drops_of(large, clinic, "en") == english
    other_digits = clinic.model_copy(update={"digits": "native" if clinic.digits == "latin" else "latin"})
    assert drops_of(case, other_digits, "bn") == english


def test_the_same_order_makes_the_same_plan() -> None:
    """Invariant 15: made again, the plan is equal in every date, clock time, count and bottle."""
    for made in some_plans():
        assert random_order(Random(made.seed)).plan() == made.plan


def test_the_same_case_makes_the_same_bytes(clinic: Clinic) -> None:
    """Invariant 15: the drops of a case as data, twice, byte for byte."""
    case = shipped_case("ordinary")
    assert json.dumps(drops_of(case, clinic, "en")) == json.dumps(drops_of(case, clinic, "en"))


def test_waking_hours_change_no_count() -> None:
    """Counts are ordered, not worked out from the clock: other waking hours, the same drops from day 1 on."""
    compared = 0
    for made in some_plans()[:100]:
        try:
            later = made.ordered.with_order(waking_from=dt.time(5), waking_to=dt.time(22, 30)).plan()
        except DropsError:
            continue  # so many drops on the evening of surgery that they do not fit before bed
        compared += 1
        assert [day.counts for day in later.days if day.number >= 1] == [
            day.counts for day in made.plan.days if day.number >= 1
        ]
    assert compared > 90
