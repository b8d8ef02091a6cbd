"""What must hold for every regimen, date, waking window and bottle, however it was chosen."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from consent.case import Side
from consent.clinic import Clinic, DropSettings, read_clinic
from consent.drops import DropPlan, Form, Row, Start, even_times, plan_regimen
from consent.drops.bottles import greedy
from consent.drops.calendar_file import make_series
from consent.drops.spacing import Waking, minute_of, shared_times
from consent.errors import DropsError

QUICK = settings(max_examples=80, deadline=None)
CLINIC = read_clinic()
DRUGS = (
    "moxifloxacin",
    "prednisolone-acetate",
    "homatropine",
    "nepafenac",
    "chloramphenicol-ointment",
)


@st.composite
def items(draw: st.DrawFn, drug: str) -> dict[str, Any]:
    """A drug with contiguous steps that never rise."""
    steps, day = [], draw(st.sampled_from((-1, 1, 1, 1, 5)))
    times, drops = draw(st.integers(1, 8)), draw(st.sampled_from((1, 1, 1, 2)))
    if drug == "chloramphenicol-ointment":
        times, drops = min(times, 3), 1
    for _ in range(draw(st.integers(1, 4))):
        days = draw(st.integers(1, 12))
        steps.append({"from_day": day, "days": days, "times_a_day": times, "drops_per_dose": drops})
        day, times = day + days, draw(st.integers(1, times))
    eyes = draw(st.sampled_from(("operated", "operated", "other", "each")))
    return {"drug": drug, "eyes": eyes, "steps": steps, "source": "invented", "verified": "memory"}


@st.composite
def regimens(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Up to four different drugs."""
    chosen = draw(st.lists(st.sampled_from(DRUGS), min_size=1, max_size=4, unique=True))
    return [draw(items(drug)) for drug in chosen]


windows = st.tuples(
    st.times(dt.time(4, 30), dt.time(8, 0)).map(lambda clock: clock.replace(second=0, microsecond=0)),
    st.times(dt.time(19, 0), dt.time(22, 45)).map(lambda clock: clock.replace(second=0, microsecond=0)),
)
dates = st.dates(dt.date(2024, 1, 1), dt.date(2104, 12, 31))
sides = st.sampled_from(Side)
plans = st.tuples(regimens(), dates, sides, windows, st.sampled_from(Start))


def clinic_with(regimen: list[dict[str, Any]], **drops: Any) -> Clinic:
    tables = {"any": {"title": "any", "items": regimen}}
    return CLINIC.model_copy(update={"regimens": tables, "drops": DropSettings(**drops)})


def make(chosen: tuple[Any, ...], **drops: Any) -> DropPlan:
    regimen, surgery, side, (first, last), start = chosen
    return plan_regimen(clinic_with(regimen, **drops), "any", side, surgery, first, last, start)


def in_one_eye(plan: DropPlan, session: Any, side: Side) -> list[tuple[Row, int]]:
    rows = [(plan.row(number), offset) for number, offset in session.drops]
    return [(row, offset) for row, offset in rows if row.side is side]


@QUICK
@given(plans)
def test_days_and_phases_count_the_same(chosen: tuple[Any, ...]) -> None:
    """Sum over days = sum over steps of times x drops x days x eyes (evening of surgery apart); totals add up."""
    plan = make(chosen)
    eyes = {"operated": 1, "other": 1, "each": 2}
    by_hand = sum(
        step["times_a_day"] * step["drops_per_dose"] * step["days"] * eyes[item["eyes"]]
        for item in chosen[0]
        for step in item["steps"]
    )
    evening = sum(phase.drops for row in plan.rows for phase in row.phases if phase.evening_only)
    assert plan.total - evening == by_hand
    assert plan.total == sum(row.total for row in plan.rows) == sum(supply.drops for supply in plan.supplies)
    for day in plan.days:
        assert day.total == sum(day.counts)
        assert day.counts == tuple(row.drops_on(day.number) for row in plan.rows)
    for column, row in enumerate(plan.rows):
        assert sum(day.counts[column] for day in plan.days) == row.total


@QUICK
@given(plans)
def test_dates_follow_the_date_of_surgery(chosen: tuple[Any, ...]) -> None:
    """Day n is n calendar days after surgery, over month ends, year ends and 29 February (by ordinal numbers)."""
    plan = make(chosen)
    origin = plan.surgery.toordinal()
    for day in plan.days:
        assert day.date.toordinal() - origin == day.number
    assert [day.number for day in plan.days] == list(range(plan.days[0].number, plan.days[-1].number + 1))
    for row in plan.rows:
        assert row.last.toordinal() - origin == row.last_day
        for phase in row.phases:
            assert (phase.first.toordinal() - origin, phase.last.toordinal() - origin) == (
                phase.first_day,
                phase.last_day,
            )


@QUICK
@given(plans)
def test_phases_touch_never_rise_and_end(chosen: tuple[Any, ...]) -> None:
    """Next start = previous end + 1; frequency never rises after the evening; the first day of silence is last + 1."""
    for row in make(chosen).rows:
        for before, after in pairwise(row.phases):
            assert after.first_day == before.last_day + 1
            assert before.evening_only or after.drops_a_day <= before.drops_a_day
        assert row.drops_on(row.last_day) > 0
        assert row.drops_on(row.last_day + 1) == 0 == row.drops_on(row.first_day - 1)


@given(regimens(), st.integers(-5, 5).filter(bool), st.data())
@settings(max_examples=40, deadline=None)
def test_a_gap_an_overlap_or_a_rise_is_refused(regimen: list[dict[str, Any]], shift: int, data: st.DataObject) -> None:
    """Steps that do not touch, or that rise, are errors that name the step."""
    steps = regimen[0]["steps"]
    last = steps[-1]
    start = last["from_day"] + last["days"]
    more = {"from_day": start, "days": 1, "times_a_day": last["times_a_day"], "drops_per_dose": last["drops_per_dose"]}
    fault, key = data.draw(
        st.sampled_from((({"from_day": start + shift}, "from_day"), ({"times_a_day": 9}, "times_a_day")))
    )
    regimen[0]["steps"] = [*steps, {**more, **fault}]
    with pytest.raises(DropsError, match=rf"clinic settings: regimens\.any: items\.0\.steps\.{len(steps)}\.{key}"):
        make((regimen, dt.date(2027, 2, 24), Side.LEFT, (dt.time(7), dt.time(22)), Start.DAY_1))


@QUICK
@given(plans)
def test_clock_times(chosen: tuple[Any, ...]) -> None:
    """As many times as doses; inside the waking hours; from the evening on day 0; no needless sitting."""
    plan = make(chosen)
    first, last = chosen[3]
    for day in plan.sessions:
        untimed = dict(day.untimed)
        for row in plan.rows:
            times = day.times_of(row.number)
            assert len(times) == (0 if row.number in untimed else row.times_on(day.number))
            assert all(first <= clock <= last for clock in times)
            assert day.number != 0 or all(clock >= dt.time(18) for clock in times)
            given_ = sum(number == row.number for session in day.sessions for number, _ in session.drops)
            assert given_ + untimed.get(row.number, 0) == row.drops_on(day.number)
        assert day.number == 0 or not untimed
        frequencies = [row.times_on(day.number) for row in plan.rows if row.number not in untimed]
        assert len(day.sessions) == max(frequencies, default=0)


@QUICK
@given(plans, st.integers(5, 8), st.integers(10, 15))
def test_gaps_and_order_in_a_sitting(chosen: tuple[Any, ...], gap: int, ointment_gap: int) -> None:
    """Drops into one eye lie apart by the gap; solution, suspension or emulsion, gel, ointment; ointment last."""
    plan = make(chosen, gap_minutes=gap, ointment_gap_minutes=ointment_gap)
    for day in plan.sessions:
        for session in day.sessions:
            assert session.minutes == max(offset for _, offset in session.drops)
            for side in Side:
                drops = in_one_eye(plan, session, side)
                places = [(row.drug.form.place_in_session, row.number) for row, _ in drops]
                assert places == sorted(places)
                for (_, before), (row, after) in pairwise(drops):
                    assert after - before == (ointment_gap if row.drug.form is Form.OINTMENT else gap)
        for before_, after_ in pairwise(day.sessions):
            assert minute_of(after_.at) - minute_of(before_.at) - before_.minutes >= gap


@given(st.integers(1, 16), windows)
@settings(max_examples=200, deadline=None)
def test_own_times_are_even(times_a_day: int, window: tuple[dt.time, dt.time]) -> None:
    """Longest gap - shortest gap is at most the rounding; times are whole quarters inside the window."""
    clocks = [minute_of(clock) for clock in even_times(times_a_day, Waking(*window, 15))]
    gaps = [after - before for before, after in pairwise(clocks)]
    assert len(clocks) == times_a_day
    assert all(clock % 15 == 0 for clock in clocks)
    assert minute_of(window[0]) <= clocks[0] and clocks[-1] <= minute_of(window[1])
    assert not gaps or (max(gaps) - min(gaps) <= 15 and min(gaps) > 0)


@given(st.integers(1, 10), st.integers(0, 6), windows)
@settings(max_examples=150, deadline=None)
def test_aligned_times_are_even_enough(doses: int, more: int, window: tuple[dt.time, dt.time]) -> None:
    """Aligned times are among the day's times and the longest gap is at most twice the shortest."""
    waking = Waking(*window, 15)
    grid = even_times(doses + more, waking)
    clocks = shared_times(even_times(doses, waking), grid)
    gaps = [minute_of(after) - minute_of(before) for before, after in pairwise(clocks)]
    assert len(set(clocks)) == doses
    assert set(clocks) <= set(grid)
    assert not gaps or max(gaps) <= 2 * min(gaps)


@QUICK
@given(plans)
def test_moved_rows_are_named(chosen: tuple[Any, ...]) -> None:
    """A row whose times differ from its own even times is listed as moved, and no other."""
    plan = make(chosen)
    waking = Waking(*chosen[3], 15)
    for day in plan.sessions:
        if day.number == 0:
            continue
        for row in plan.rows:
            if times := row.times_on(day.number):
                assert (row.number in day.moved) == (day.times_of(row.number) != even_times(times, waking))


@QUICK
@given(plans, st.permutations(range(4)))
def test_same_inputs_same_plan_and_order_changes_no_number(chosen: tuple[Any, ...], order: list[int]) -> None:
    """Made again it is equal; the drugs in another order give the same days, clock times and bottles."""
    plan = make(chosen)
    assert make(chosen) == plan
    shuffled = make(([chosen[0][i] for i in order if i < len(chosen[0])], *chosen[1:]))

    def numbers(made: DropPlan) -> Any:
        clocks = {
            (row.drug.id, row.side, day.number): day.times_of(row.number) for row in made.rows for day in made.sessions
        }
        supplies = {(supply.drug.id, supply.sides): (supply.count, supply.openings) for supply in made.supplies}
        return [day.total for day in made.days], clocks, supplies

    assert numbers(shuffled) == numbers(plan)


def simulate(use: list[tuple[int, int]], capacity: int, life: int) -> list[list[int]]:
    """The slow way: every drop on its own, every bottle a list of the days it was used on."""
    bottles: list[list[int]] = []
    for day in [day for day, drops in use for _ in range(drops)]:
        usable = bottles and len(bottles[-1]) < capacity and day - bottles[-1][0] < life
        if not usable:
            bottles.append([])
        bottles[-1].append(day)
    return bottles


uses = st.lists(st.integers(0, 9), min_size=1, max_size=90).map(lambda drops: list(enumerate(drops, start=1)))


@given(uses, st.integers(1, 200), st.integers(1, 60))
@settings(max_examples=200, deadline=None)
def test_bottles_drop_by_drop(use: list[tuple[int, int]], capacity: int, life: int) -> None:
    """The fast count is the slow one; enough drops; none after day d + life - 1; never fewer than the volume says."""
    bottles = greedy(use, capacity, life)
    slow = simulate(use, capacity, life)
    needed = sum(drops for _, drops in use)
    assert bottles == [(days[0], len(days)) for days in slow]
    assert all(days[-1] <= days[0] + life - 1 for days in slow)
    assert sum(taken for _, taken in bottles) == needed <= capacity * len(bottles)
    assert len(bottles) >= -(-needed // capacity)


@given(uses, st.integers(1, 200), st.integers(1, 60), st.integers(0, 50), st.integers(0, 30))
@settings(max_examples=200, deadline=None)
def test_more_room_never_costs_a_bottle(
    use: list[tuple[int, int]], capacity: int, life: int, room: int, days: int
) -> None:
    """A bigger bottle or a longer life never adds a bottle."""
    assert len(greedy(use, capacity + room, life + days)) <= len(greedy(use, capacity, life))


def counts(chosen: tuple[Any, ...], **drops: Any) -> list[int]:
    return [supply.count for supply in make(chosen, **drops).supplies]


@settings(max_examples=30, deadline=None)
@given(plans, st.floats(10, 60), st.floats(0, 100), st.integers(1, 90))
def test_settings_of_bottles(chosen: tuple[Any, ...], drops_per_ml: float, wastage: float, life: int) -> None:
    """More drops per mL or a longer life never add a bottle; more loss never saves one."""
    usual = counts(chosen, drops_per_ml=drops_per_ml, wastage_percent=wastage, days_after_opening=life)
    more_drops = counts(chosen, drops_per_ml=60.0, wastage_percent=wastage, days_after_opening=life)
    longer = counts(chosen, drops_per_ml=drops_per_ml, wastage_percent=wastage, days_after_opening=life + 30)
    no_loss = counts(chosen, drops_per_ml=drops_per_ml, wastage_percent=0.0, days_after_opening=life)
    for other in (more_drops, longer, no_loss):
        assert all(fewer <= count for fewer, count in zip(other, usual, strict=True))


@QUICK
@given(plans, st.integers(1, 60))
def test_bottles_of_a_plan(chosen: tuple[Any, ...], life: int) -> None:
    """Each row's bottles hold its drops, are opened and thrown away in time, and no eye shares by default."""
    plan = make(chosen, days_after_opening=life)
    assert [supply.rows for supply in plan.supplies] == [(row.number,) for row in plan.rows]
    for supply in plan.supplies:
        row = plan.row(supply.rows[0])
        assert sum(opening.drops for opening in supply.openings) == supply.drops == row.total
        assert supply.count == len(supply.openings)
        for opening in supply.openings:
            assert (opening.opened - plan.surgery).days == opening.day
            assert (opening.discard_after - opening.opened).days == life - 1
            assert row.drops_on(opening.day) > 0
        for before, after in pairwise(supply.openings):
            assert before.day <= after.day
        assert supply.openings[-1].discard_after >= row.last
        if supply.ml is not None:
            assert 0 <= supply.ml * 20 - supply.drops < 1


@QUICK
@given(plans)
def test_series_of_the_calendar_file(chosen: tuple[Any, ...]) -> None:
    """Series drawn over days hold every timed drop once, each within its phase."""
    plan = make(chosen)
    timed = sum(len(session.drops) for day in plan.sessions for session in day.sessions)
    total = 0
    for series in make_series(plan):
        days = (series.last - series.first).days + 1
        assert series.first.time() == series.last.time()
        assert series.phase.first <= series.first.date() and series.last.date() <= series.phase.last
        total += days
    assert total == timed
