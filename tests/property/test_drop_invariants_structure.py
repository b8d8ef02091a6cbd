"""Invariants 1 to 9: what a row of the calendar is, its dates, its phases, its first and last day."""

from __future__ import annotations

import datetime as dt
from random import Random
from typing import Any

import pytest
from pydantic import ValidationError

from consent.case import OwnDrop, Side
from consent.drops import Ends
from consent.drops.regimens import parse_regimens
from consent.errors import DropsError
from tests.property import drop_checks
from tests.property.drop_checks import Made, on_every_plan, some_plans
from tests.property.random_orders import SOURCED, Ordered, formulary, plain, random_order

SURGERY = dt.date(2028, 2, 26)


def regimen(**item: Any) -> dict[str, dict[str, Any]]:
    """A regimen of one drug with keys of its only item replaced; a key set to ``None`` is left out."""
    steps = [{"from_day": 1, "days": 7, "times_a_day": 4}]
    keys = {"drug": "moxifloxacin", "eyes": "operated", "steps": steps, **SOURCED, **item}
    return {"own": {"title": "own", "items": [{key: value for key, value in keys.items() if value is not None}]}}


def refused(tables: dict[str, dict[str, Any]]) -> str:
    """What is said of a regimen that is refused."""
    with pytest.raises(DropsError) as caught:
        parse_regimens(tables, formulary(), "here")
    return str(caught.value)


def test_rows_are_complete() -> None:
    """Invariant 1: each row names drug, strength with unit, form, eye, drops each time, frequency, dates and end."""
    on_every_plan(drop_checks.rows_are_complete)
    on_every_plan(drop_checks.numbers_are_apart)
    assert {row.ends for made in some_plans() for row in made.plan.rows} == set(Ends)


@pytest.mark.parametrize("key", ["drug", "steps", "source", "verified"])
def test_an_item_without_one_of_its_parts_is_refused(key: str) -> None:
    """Invariant 1: nothing of a row is filled in by the program."""
    assert f"items.0.{key}: this key is needed" in refused(regimen(**{key: None}))


@pytest.mark.parametrize("key", ["from_day", "days", "times_a_day"])
def test_a_step_without_one_of_its_numbers_is_refused(key: str) -> None:
    """Invariant 1: a step says from when, how long and how often."""
    step = {"from_day": 1, "days": 7, "times_a_day": 4}
    del step[key]
    assert f"steps.0.{key}" in refused(regimen(steps=[step]))


def test_eye_is_right_or_left() -> None:
    """Invariant 2: a row is for one eye, in a full word."""
    on_every_plan(drop_checks.eye_is_one_word)


@pytest.mark.parametrize("eye", ["", "R", "OD", "OS", "OU", "re", "both", "Right", "right eye"])
def test_an_eye_in_other_words_is_refused(eye: str) -> None:
    """Invariant 2: neither blank nor abbreviated, in a regimen and in a long-standing drop."""
    assert "items.0.eyes" in refused(regimen(eyes=eye))
    with pytest.raises(ValidationError):
        OwnDrop.model_validate({"drug": "timolol", "eyes": eye, "times_a_day": 2})


def test_no_eye_beyond_those_entered() -> None:
    """Invariant 3: a drug of one eye never appears at the other; "each eye" makes two rows."""
    on_every_plan(drop_checks.no_eye_beyond_those_entered)


def test_each_eye_counts_double() -> None:
    """Invariant 3: the same item for each eye gives twice the drops of one eye, half of them in each."""
    for seed in range(60):
        order = random_order(Random(seed)).with_order(own_drops=(), changes=(), other_eye=None, start=None)
        totals = [sum_by_side(with_eyes(order, eyes)) for eyes in ("operated", "other", "each")]
        side = order.order.side
        assert totals[0][side.other] == totals[1][side] == 0
        assert totals[2] == {side: totals[0][side], side.other: totals[1][side.other]}


def with_eyes(ordered: Ordered, eyes: str) -> Ordered:
    """The regimen with every item for ``eyes``, each drug once, from day 1."""
    items = {item["drug"]: {**item, "eyes": eyes} for item in ordered.clinic.regimens["this"]["items"]}
    table = {"title": "random", "items": list(items.values())}
    settings = ordered.clinic.drops.model_copy(update={"gap_minutes": 5, "ointment_gap_minutes": 10})
    clinic = ordered.clinic.model_copy(update={"regimens": {"this": table}, "drops": settings})
    return Ordered(ordered.order, clinic).with_order(waking_from=dt.time(5), waking_to=dt.time(22))


def sum_by_side(ordered: Ordered) -> dict[Side, int]:
    """Drops into each eye."""
    plan = ordered.plan()
    return {side: sum(row.total for row in plan.rows if row.side is side) for side in Side}


def test_dates_follow_surgery() -> None:
    """Invariant 4: day n is the date of surgery + n calendar days; the random dates hold leap days and year ends."""
    on_every_plan(drop_checks.dates_follow_surgery)
    dates = {(day.date.month, day.date.day) for made in some_plans() for day in made.plan.days}
    assert {(2, 29), (12, 31), (1, 1), (3, 1)} <= dates


def test_days_over_a_leap_day_by_hand() -> None:
    """Invariant 4: surgery on 26 February 2028: day 3 is the 29th, day 4 the 1st of March; in 2027 day 3 is that."""
    tables = regimen()
    plan = plain(tables, SURGERY).plan()
    assert [f"{day.date:%d %m}" for day in plan.days[:4]] == ["27 02", "28 02", "29 02", "01 03"]
    plan = plain(tables, dt.date(2027, 2, 26)).plan()
    assert [f"{day.date:%d %m}" for day in plan.days[:4]] == ["27 02", "28 02", "01 03", "02 03"]


def test_phases_touch() -> None:
    """Invariant 5: next start = previous end + 1, but for a pause on purpose or a change."""
    on_every_plan(drop_checks.phases_touch)
    pauses = [made for made in some_plans() if drop_checks.starts_of(made.ordered, "pause_before")]
    assert len(pauses) > 10


@pytest.mark.parametrize(("from_day", "pause", "fault"), [(9, False, "from_day"), (7, False, "from_day")])
def test_a_gap_or_an_overlap_is_refused(from_day: int, pause: bool, fault: str) -> None:
    """Invariant 5: days 1 to 7, then from day 9 or day 7."""
    second = {"from_day": from_day, "days": 3, "times_a_day": 2, "pause_before": pause}
    text = refused(regimen(steps=[{"from_day": 1, "days": 7, "times_a_day": 4}, second]))
    assert f"items.0.steps.1.{fault}" in text
    assert "must start on day 8" in text


def test_a_pause_on_purpose_has_no_drop() -> None:
    """Invariant 5: days 1 to 7, a pause, days 10 to 12: 0 drops on days 8 and 9."""
    second = {"from_day": 10, "days": 3, "times_a_day": 2, "pause_before": True}
    steps = [{"from_day": 1, "days": 7, "times_a_day": 4}, second]
    plan = plain(regimen(steps=steps), SURGERY).plan()
    assert [day.total for day in plan.days] == [4, 4, 4, 4, 4, 4, 4, 0, 0, 2, 2, 2]


def test_courses_never_rise() -> None:
    """Invariant 6: no phase has more drops a day than the one before, unless the doctor marked it."""
    on_every_plan(drop_checks.courses_never_rise)
    assert any(drop_checks.starts_of(made.ordered, "more_on_purpose") for made in some_plans())


@pytest.mark.parametrize("more", [{"times_a_day": 5}, {"times_a_day": 3, "drops_per_dose": 2}])
def test_a_rise_is_refused(more: dict[str, int]) -> None:
    """Invariant 6: from 4 drops a day to 5, or to 3 times 2."""
    second = {"from_day": 8, "days": 3, **more}
    text = refused(regimen(steps=[{"from_day": 1, "days": 7, "times_a_day": 4}, second]))
    assert "items.0.steps.1.times_a_day" in text
    assert "never rises" in text


def test_every_row_ends() -> None:
    """Invariant 7: every row has a last date on which a drop is due, also one until the review."""
    on_every_plan(drop_checks.every_row_ends)


def test_a_course_until_review_ends_on_the_day_of_the_review() -> None:
    """Invariant 7: 7 days until review: the last date is the review's, and nothing is due on the next day."""
    plan = plain(regimen(ends="until review"), SURGERY).plan()
    (row,) = plan.rows
    assert (row.ends, row.last) == (Ends.UNTIL_REVIEW, dt.date(2028, 3, 4))
    assert row.drops_on(row.last_day + 1) == 0


def test_an_end_nobody_knows_is_refused() -> None:
    """Invariant 7: a step has its days; "until further notice" is no end."""
    assert "ends" in refused(regimen(ends="until further notice"))
    assert "days" in refused(regimen(steps=[{"from_day": 1, "days": None, "times_a_day": 4}]))


def test_nothing_too_early() -> None:
    """Invariant 8: no drop before the day entered, and on the day of surgery none before the evening by the clock."""
    on_every_plan(drop_checks.nothing_too_early)
    evenings = [made for made in some_plans() if any(day.number == 0 and day.sessions for day in made.plan.sessions)]
    assert len(evenings) > 20


def test_drops_before_surgery_stand_apart() -> None:
    """Invariant 9: drops before surgery have no clock time and do not count as aftercare."""
    on_every_plan(drop_checks.drops_before_surgery_stand_apart)
    assert any(row.drops_before_surgery for made in some_plans() for row in made.plan.rows)


def test_drops_before_surgery_by_hand() -> None:
    """Invariant 9: 3 a day from day -1 for 4 days and 2 before surgery: 14 drops, of which 6 are from day 1 on."""
    steps = [{"from_day": -1, "days": 4, "times_a_day": 3}]
    plan = plain(regimen(steps=steps, drops_before_surgery=2), SURGERY).plan()
    assert [(day.number, day.total) for day in plan.days] == [(-1, 3), (0, 5), (1, 3), (2, 3)]
    assert (plan.total, plan.total_from_day_1) == (14, 6)
    assert plan.sessions[1].sessions == ()
    assert plan.sessions[1].untimed == ((1, 5),)


def test_a_check_that_is_given_a_wrong_plan_fails() -> None:
    """The checks themselves: a plan whose days are one too late is found out."""
    made = some_plans()[0]
    late = made.ordered.with_order(surgery=made.ordered.order.surgery + dt.timedelta(days=1))
    with pytest.raises(AssertionError):
        drop_checks.dates_follow_surgery(Made(made.ordered, late.plan()))
