"""Invariants 16 to 22: the hours of a day, the gaps, the order in a sitting, how many sittings."""

from __future__ import annotations

import datetime as dt
import re
from itertools import pairwise
from random import Random
from typing import Any

from consent.drops import Waking, check_drops, even_times
from consent.language import load_catalogue
from tests.conftest import shipped_case
from tests.drops.slow_engine import minutes
from tests.property import drop_checks
from tests.property.drop_checks import on_every_plan, some_plans
from tests.property.random_orders import SOURCED, formulary, plain, random_order

SURGERY = dt.date(2027, 2, 24)


def regimen(*drugs: tuple[str, int]) -> dict[str, dict[str, Any]]:
    """Drugs so often a day for three days."""
    items = [
        {
            "drug": drug,
            "ends": "until review",
            "steps": [{"from_day": 1, "days": 3, "times_a_day": times}],
            **SOURCED,
        }
        for drug, times in drugs
    ]
    return {"own": {"title": "own", "items": items}}


def first_day(*drugs: tuple[str, int], **order: Any) -> list[str]:
    """The clock times of day 1."""
    plan = plain(regimen(*drugs), SURGERY, **order).plan()
    return [f"{sitting.at:%H:%M}" for sitting in plan.sessions[0].sessions]


def test_times_inside_the_day() -> None:
    """Invariant 16: sittings begin in the waking hours and end before midnight."""
    on_every_plan(drop_checks.times_inside_the_day)


def test_gaps_are_even() -> None:
    """Invariant 17: alone to within 15 minutes, shared never more than twice the shortest gap, and the choice told."""
    on_every_plan(drop_checks.gaps_are_even)
    assert sum(bool(day.moved) for made in some_plans() for day in made.plan.sessions) > 100


def test_even_times_of_every_window() -> None:
    """Invariant 17: 1 to 16 doses in every window from 04:30 to 23:45 that is long enough, quarter by quarter."""
    for first in range(270, 600, 15):
        for last in range(first + 240, 1440, 45):
            waking = Waking(dt.time(*divmod(first, 60)), dt.time(*divmod(last, 60)), 15)
            for doses in range(1, 17):
                clocks = [minutes(clock) for clock in even_times(doses, waking)]
                gaps = [after - before for before, after in pairwise(clocks)]
                assert clocks[0] == first
                assert len(clocks) == doses
                assert not gaps or (clocks[-1] == last and max(gaps) - min(gaps) <= 15)


def test_times_lie_on_landmarks() -> None:
    """Invariant 17: by landmarks, a drug alone is on them from waking to bed wherever they are even enough."""
    on_every_plan(drop_checks.times_lie_on_landmarks)
    assert sum(made.plan.by_landmarks for made in some_plans()) > 50


def test_drops_lie_apart() -> None:
    """Invariant 18: two drops into one eye 5 minutes apart or more, ointment last and 10 minutes after or more."""
    on_every_plan(drop_checks.drops_lie_apart)


def test_thin_drops_first() -> None:
    """Invariant 19: solution, suspension or emulsion, gel, ointment; ties keep the order of the bottles' numbers."""
    on_every_plan(drop_checks.thin_drops_first)
    forms = {
        tuple(dict.fromkeys(made.rows[number].drug.form.place_in_session for number, _ in sitting.drops))
        for made in some_plans()
        for day in made.plan.sessions
        for sitting in day.sessions
    }
    assert {place for order in forms if len(order) > 1 for place in order} == {0, 1, 2, 3}


def test_fewest_sittings() -> None:
    """Invariant 20: sittings = most doses of a drug that day; only a bedtime dose or an uneven fit adds one."""
    on_every_plan(drop_checks.fewest_sittings)


def test_a_bedtime_dose_adds_a_sitting_on_purpose() -> None:
    """Invariant 20: once a day in the morning and once a day at bedtime are two sittings, though neither is twice."""
    tables = regimen(("moxifloxacin", 1), ("nepafenac", 1))
    assert len(plain(tables, SURGERY).plan().sessions[0].sessions) == 1
    tables["own"]["items"][1]["steps"][0]["at_bedtime"] = True
    assert [f"{s.at:%H:%M}" for s in plain(tables, SURGERY).plan().sessions[0].sessions] == ["07:00", "22:00"]


def test_length_of_sittings() -> None:
    """Invariant 21: a sitting's length is given, and the longest of the plan."""
    on_every_plan(drop_checks.length_of_sittings)


def test_a_sitting_over_twenty_minutes_is_warned_of() -> None:
    """Invariant 21: the surgeon is told exactly when a sitting lasts more than 20 minutes."""
    case = shipped_case("ordinary")
    long = 0
    for made in some_plans():
        longest = max((s.minutes for day in made.plan.sessions for s in day.sessions), default=0)
        told = [finding for finding in check_drops(made.plan, case, formulary()) if finding.id == "long-session"]
        if made.ordered.order.changes or made.ordered.other_day is not None:
            continue  # days that are over are no longer warned of
        assert bool(told) == (longest > 20), made.seed
        long += longest > 20
    assert long > 3


def test_times_a_day_is_not_every_so_many_hours() -> None:
    """Invariant 22: 4 times a day lies in the waking hours, not 6 hours apart; 2-hourly while awake is 8 doses."""
    assert first_day(("moxifloxacin", 4)) == ["07:00", "12:00", "17:00", "22:00"]
    assert first_day(("moxifloxacin", 3)) == ["07:00", "14:30", "22:00"]
    assert len(first_day(("moxifloxacin", 8))) == 8
    for times in range(2, 9):
        clocks = [dt.timedelta(hours=int(at[:2]), minutes=int(at[3:])) for at in first_day(("moxifloxacin", times))]
        assert all(after - before < dt.timedelta(hours=24) / times for before, after in pairwise(clocks)) == (times > 2)


def test_no_sheet_says_every_so_many_hours() -> None:
    """Invariant 22: no English words of the calendar turn a frequency into hours between doses."""
    messages = load_catalogue("en").messages
    words = {key: message for key, message in messages.items() if key.startswith(("calendar.", "bottle.", "home."))}
    assert "calendar.times-a-day" in words
    hourly = re.compile(r"every \S+ hours?|hourly", re.IGNORECASE)
    assert [key for key, message in words.items() if any(map(hourly.search, message.forms))] == []


def test_the_order_of_the_day_is_the_order_of_the_clock() -> None:
    """Sittings of a day are told in the order of the clock, none twice."""
    for seed in range(50):
        plan = random_order(Random(seed)).plan()
        for day in plan.sessions:
            clocks = [sitting.at for sitting in day.sessions]
            assert clocks == sorted(set(clocks))
