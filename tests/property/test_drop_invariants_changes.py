"""Invariants 44 to 46: a change in mid-course, the second eye, and what is not there."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest
from pydantic import ValidationError

from consent.case import Case, DropChange, OwnDrop
from consent.clinic import DropSettings
from consent.drops import DropPlan, Ends, plan_drops
from consent.errors import ConsentError, DropsError
from tests.conftest import shipped_case
from tests.editing import case_maker
from tests.property import drop_checks
from tests.property.drop_checks import on_every_plan, some_plans
from tests.property.random_orders import CLINIC, Ordered, random_order

ONE_DAY = dt.timedelta(days=1)


@cache
def changed_plans() -> tuple[tuple[Ordered, DropPlan, DropPlan], ...]:
    """Orders whose last change is struck out and put back: the order, the plan before it and the plan with it."""
    found = []
    for seed in range(500):
        ordered = random_order(Random(seed))
        if ordered.order.changes:
            try:
                before = ordered.plan(changes=ordered.order.changes[:-1])
                found.append((ordered, before, ordered.plan()))
            except DropsError:
                continue
    assert len(found) > 120
    return tuple(found)


def test_changes_are_told() -> None:
    """Invariant 44: a changed row ends the day before the change and is told by its number."""
    on_every_plan(drop_checks.changes_are_told)
    assert any(row.ends is Ends.CHANGED for made in some_plans() for row in made.plan.rows)


def test_the_past_stays_as_it_was_printed() -> None:
    """Invariant 44: before the day of the change every count, sitting, clock time and bottle number is as it was."""
    for ordered, before, after in changed_plans():
        day = first_open_day(ordered, before)
        assert past(before, day) == past(after, day), ordered.order


def first_open_day(ordered: Ordered, before: DropPlan) -> int:
    """The day of the last change, or where the earlier print ended before it, the day after its last drop."""
    day = (ordered.order.changes[-1].on - ordered.order.surgery).days
    return min(day, before.days[-1].number + 1 if before.days else day)


def past(plan: DropPlan, day: int) -> Any:
    """All that an earlier print told of the days before ``day``."""
    numbers = [row.number for row in plan.rows]
    counts = [
        (each.date, {number: count for number, count in zip(numbers, each.counts, strict=True) if count})
        for each in plan.days
        if each.number < day and each.total
    ]
    sittings = [
        (each.date, each.sessions, each.moved, each.untimed)
        for each in plan.sessions
        if each.number < day and (each.sessions or each.untimed)
    ]
    names = {row.number: (row.drug.id, row.side) for row in plan.rows if row.first_day < day}
    return counts, sittings, names


def test_bottles_opened_before_a_change_stay_open() -> None:
    """Invariant 44: the bottles opened before the day of a change are those of the print before it, same dates."""
    for ordered, before, after in changed_plans():
        day = first_open_day(ordered, before)
        opened = [
            {
                (supply.drug.id, opening.opened, opening.discard_after)
                for supply in plan.supplies
                for opening in supply.openings
                if opening.day < day
            }
            for plan in (before, after)
        ]
        assert opened[0] == opened[1], ordered.order


def test_a_number_is_never_given_to_another_bottle() -> None:
    """Invariant 44: whatever a print called bottle 3 is bottle 3, or no bottle, on every later print."""
    for _, before, after in changed_plans():
        named = {row.number: (row.drug.id, row.side) for row in before.rows}
        for row in after.rows:
            assert named.get(row.number, (row.drug.id, row.side)) == (row.drug.id, row.side)


def test_from_the_change_on_only_the_new_drops() -> None:
    """Invariant 44: from its day on the operated course is the new regimen's alone; nothing of the old one goes on."""
    for ordered, _, after in changed_plans():
        order = ordered.order
        if order.own_drops or order.other_eye:
            continue
        day = (order.changes[-1].on - order.surgery).days
        new = ordered.regimens[order.changes[-1].regimen]
        in_force: Counter[Any] = Counter()
        for item in new.items:
            for side in drop_checks.sides_of(item, order.side):
                for step in item.steps:
                    for place in range(step.from_day, step.last_day + 1):
                        if place >= 1:
                            in_force[day - 1 + place, item.drug, side] += step.times_a_day * step.drops_per_dose
        assert counts(after, day) == +in_force


def counts(plan: DropPlan, first: int = -1_000) -> Counter[Any]:
    """Drops by day, drug and eye from day ``first`` on."""
    found: Counter[Any] = Counter()
    for day in plan.days:
        if day.number >= first:
            for row, count in zip(plan.rows, day.counts, strict=True):
                found[day.number, row.drug.id, row.side] += count
    return +found


def test_a_change_needs_a_new_version() -> None:
    """Invariant 44: a change without a higher version is refused, so that an older print can be told and voided."""
    make = case_maker()
    change = {"on": dt.date(2027, 3, 1), "regimen": "weekly-6-5-4-3-2-1", "by": "Dr A", "why": "inflamed"}
    with pytest.raises(ConsentError, match="version"):
        make({"drop_changes": [change]})
    assert make({"drop_changes": [change], "version": 2}).version == 2
    with pytest.raises(ConsentError, match="later"):
        make({"drop_changes": [{**change, "on": dt.date(2027, 2, 24)}], "version": 2})


@pytest.mark.parametrize("key", ["by", "why", "on", "regimen"])
def test_a_change_says_who_why_and_when(key: str) -> None:
    """Invariant 44: none of them is filled in by the program."""
    change = {"on": dt.date(2027, 3, 1), "regimen": "weekly-6-5-4-3-2-1", "by": "Dr A", "why": "inflamed"}
    with pytest.raises(ConsentError, match=rf"drop_changes\.0\.{key}"):
        case_maker()({"drop_changes": [{k: v for k, v in change.items() if k != key}], "version": 2})


@cache
def two_eyes() -> tuple[tuple[Ordered, DropPlan, DropPlan, DropPlan], ...]:
    """Orders for a second eye: the plan of both, the plan of the first by itself, the plan of the second by itself."""
    found = []
    for seed in range(600):
        ordered = random_order(Random(seed)).with_order(own_drops=(), start=None)
        order = ordered.order
        if order.other_eye is None:
            continue
        regimen, operated_on = order.other_eye
        try:
            both = ordered.plan()
            first = ordered.plan(
                regimen=regimen, side=order.side.other, surgery=operated_on, other_eye=None, changes=()
            )
            second = ordered.plan(other_eye=None)
        except DropsError:
            continue
        found.append((ordered, both, first, second))
    assert len(found) > 120
    return tuple(found)


def by_date(plan: DropPlan) -> Counter[Any]:
    """Drops by date, drug and eye."""
    found: Counter[Any] = Counter()
    for day in plan.days:
        for row, count in zip(plan.rows, day.counts, strict=True):
            found[day.date, row.drug.id, row.side] += count
    return +found


def test_a_second_eye_adds_and_alters_nothing() -> None:
    """Invariant 45: for every date, drug and eye, the plan of both eyes is the sum of the plans of each."""
    for ordered, both, first, second in two_eyes():
        assert by_date(both) == by_date(first) + by_date(second), ordered.order
        totals = Counter({day.date: day.total for day in first.days})
        totals.update({day.date: day.total for day in second.days})
        assert {day.date: day.total for day in both.days if day.total} == dict(+totals)


def test_the_first_eyes_bottles_keep_their_numbers() -> None:
    """Invariant 45: bottle 1 of the first eye's print is bottle 1 when the second eye is added; new ones come after."""
    for _, both, first, second in two_eyes():
        numbers = {row.number: (row.drug.id, row.side) for row in both.rows}
        assert {row.number: (row.drug.id, row.side) for row in first.rows}.items() <= numbers.items()
        assert len(both.rows) == len(first.rows) + len(second.rows)


def test_the_first_eyes_bottles_are_opened_on_the_same_dates() -> None:
    """Invariant 45: with a fresh bottle per eye and no drug in common, every bottle of either print is the same."""
    same = 0
    for ordered, both, first, second in two_eyes():
        drugs = [{(row.drug.id, row.side) for row in plan.rows} for plan in (first, second)]
        if drugs[0] & drugs[1] or not ordered.clinic.drops.fresh_bottle_per_eye:
            continue
        assert bottles(both) == bottles(first) | bottles(second)
        same += 1
    assert same > 100


def bottles(plan: DropPlan) -> dict[Any, Any]:
    """Dates and drops of every bottle."""
    return {
        (supply.drug.id, supply.sides): (supply.count, [(o.opened, o.discard_after, o.drops) for o in supply.openings])
        for supply in plan.supplies
    }


def test_long_standing_drops_keep_their_numbers_when_decided_otherwise() -> None:
    """Invariant 45: continue, pause, stop or undecided: no bottle of another drug gets another number."""
    for made in some_plans():
        order = made.ordered.order
        if order.own_drops:
            stopped = tuple(own.model_copy(update={"decision": "stop", "pause_until": None}) for own in order.own_drops)
            other = made.ordered.plan(own_drops=stopped)
            numbers = {row.number: (row.drug.id, row.side) for row in made.plan.rows}
            assert {row.number: (row.drug.id, row.side) for row in other.rows}.items() <= numbers.items(), made.seed


def test_long_standing_drops_keep_their_numbers_for_the_second_eye() -> None:
    """Invariant 45: the first eye's rows and its long-standing drops keep their numbers in the second eye's print."""
    checked = 0
    for seed in range(400):
        ordered = random_order(Random(seed))
        order = ordered.order
        if order.other_eye is None or not order.own_drops:
            continue
        regimen, operated_on = order.other_eye
        go_on = tuple(drop.model_copy(update={"decision": "continue", "pause_until": None}) for drop in order.own_drops)
        alone = {"regimen": regimen, "side": order.side.other, "surgery": operated_on, "other_eye": None, "changes": ()}
        try:
            first, both = ordered.plan(**alone, own_drops=go_on), ordered.plan(own_drops=go_on)
        except DropsError:
            continue
        numbers = {row.number: (row.drug.id, row.side) for row in both.rows}
        assert {row.number: (row.drug.id, row.side) for row in first.rows}.items() <= numbers.items(), seed
        checked += 1
    assert checked > 20


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"regimen": "nobody-knows"}, "regimen"),
        ({"other_eye": ("nobody-knows", dt.date(2027, 2, 1))}, r"other_eye\.regimen"),
        (
            {"changes": (DropChange(on=dt.date(2100, 1, 1), regimen="nobody-knows", by="Dr A", why="why"),)},
            r"drop_changes\.0\.regimen",
        ),
        (
            {"own_drops": (OwnDrop(drug="nobody-knows", eyes="right", times_a_day=1, decision="continue"),)},
            r"own_drops\.0\.drug",
        ),
    ],
)
def test_what_nobody_knows_is_refused_where_it_stands(changes: dict[str, Any], where: str) -> None:
    """Invariant 46: an unknown regimen or drug is a refusal that names the key, never the nearest instead."""
    with pytest.raises(DropsError, match=where):
        some_plans()[1].ordered.plan(**changes)


@pytest.mark.parametrize(
    "key", ["eye.side", "plan.side", "plan.date", "patient.record_number", "patient.language", "patient.name"]
)
def test_a_case_without_it_is_refused(key: str) -> None:
    """Invariant 46: the eye, the date and the patient are never guessed; the refusal names the key."""
    data = shipped_case("ordinary").model_dump(mode="json", by_alias=True)
    table, name = key.split(".")
    del data[table][name]
    with pytest.raises(ValidationError) as caught:
        Case.model_validate(data)
    assert any(error["loc"] == (table, name) for error in caught.value.errors())


@pytest.mark.parametrize("key", ["bottle_ml", "form", "components", "preservative", "shake"])
def test_a_drug_without_it_is_refused(key: str) -> None:
    """Invariant 46: neither the container nor the form of a drug is guessed."""
    drug = CLINIC.formulary["short-life"]
    clinic = CLINIC.model_copy(update={"formulary": {"own": {k: v for k, v in drug.items() if k != key}}})
    with pytest.raises(DropsError, match=r"clinic settings: formulary\.own"):
        plan_drops(shipped_case("ordinary"), clinic)


def test_hours_that_do_not_hold_the_doses_are_refused() -> None:
    """Invariant 46: too few hours are a refusal, not fewer doses."""
    ordered = some_plans()[1].ordered
    for first, last in ((dt.time(7), dt.time(7)), (dt.time(23, 50), dt.time(23, 59)), (dt.time(7), dt.time(7, 14))):
        with pytest.raises(DropsError, match="waking_from"):
            make_with_hours(ordered, first, last)


def make_with_hours(ordered: Ordered, first: dt.time, last: dt.time) -> DropPlan:
    """The plan at other waking hours."""
    plain = replace(ordered, clinic=ordered.clinic.model_copy(update={"drops": DropSettings()}))
    return plain.plan(waking_from=first, waking_to=last)


def test_a_pause_beyond_the_six_weeks_makes_the_calendar_longer() -> None:
    """Invariant 46: a paused drop is on the calendar again for a fortnight; a pause of half a year is refused."""
    case = shipped_case("ordinary")
    until = case.plan.date + dt.timedelta(days=60)
    drop = OwnDrop(drug="timolol", eyes="left", times_a_day=2, decision="pause", pause_until=until)
    plan = plan_drops(case.model_copy(update={"own_drops": (drop,)}), CLINIC)
    (row,) = [row for row in plan.rows if row.drug.id == "timolol"]
    assert (row.first, row.last_day) == (until, 73)
    assert [(told.word, told.date, told.number) for told in plan.told] == [("pause", until, row.number)]
    late = drop.model_copy(update={"pause_until": case.plan.date + dt.timedelta(days=121)})
    with pytest.raises(DropsError, match=r"own_drops\.0\.pause_until: the pause lasts until 121 days"):
        plan_drops(case.model_copy(update={"own_drops": (late,)}), CLINIC)
