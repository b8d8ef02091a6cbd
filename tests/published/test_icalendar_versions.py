"""RFC 5545 sections 3.8.1.11, 3.8.4.7 and 3.8.7.4: after any change a telephone holds the right sittings, once each."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from random import Random

from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from consent.drops import DropPlan, drops_calendar
from consent.drops.calendar_file import Before
from consent.drops.events import make_runs
from consent.errors import DropsError
from tests.property.random_orders import random_order
from tests.published.telephone import Sittings, Telephone, say, since, sittings_of, until

ANY = settings(max_examples=40, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
randoms = st.integers(0, 10**9).map(Random)
DAY = dt.timedelta(days=1)


def moment(date: dt.date) -> dt.datetime:
    return dt.datetime.combine(date, dt.time(6), dt.UTC)


def written(plan: DropPlan, version: int, today: dt.date, before: Before, key: str = "key") -> bytes | None:
    """``None`` where there is neither a drop nor anything to take back."""
    return drops_calendar(
        plan, say, name="Drops", key=key, now=moment(today), void="No", version=version, before=before
    )


def versions_of(draw: Random) -> list[DropPlan]:
    """A plan and what it becomes with its first change, its second and so on; [] where doses do not fit the day."""
    ordered = random_order(draw)
    for _ in range(4):
        ordered = ordered if ordered.order.changes else random_order(draw)
    changes = ordered.order.changes
    try:
        return [ordered.plan(changes=changes[:count]) for count in range(len(changes) + 1)]
    except DropsError:
        return []


def issue_days(draw: Random, plans: list[DropPlan]) -> list[dt.date]:
    """The day each version is printed: before, on or after the day it begins, never before the version before it."""
    days = [plans[0].issued_on - draw.randint(0, 10) * DAY]
    for plan in plans[1:]:
        days.append(max(days[-1], plan.issued_on + draw.randint(-3, 2) * DAY))
    return days


@ANY
@given(randoms, st.sampled_from(("file", "plans", "both")))
def test_a_telephone_that_takes_every_version_holds_the_engine_sittings(draw: Random, known: str) -> None:
    """From the day of a change the new plan's sittings; before it what the version before told. Each once."""
    plans = versions_of(draw)
    telephone, file, held = Telephone(), None, Sittings()
    for count, (plan, today) in enumerate(zip(plans, issue_days(draw, plans) if plans else [], strict=True)):
        before = Before(file=file if known != "plans" else None, plans=tuple(plans[:count]) if known != "file" else ())
        file = written(plan, count + 1, today, before)
        telephone.take_if(file)
        begins = plan.issued_on
        held = until(held, begins) + since(sittings_of(plan), begins)
        assert since(telephone.sittings(), begins) == since(held, begins)
        if count and until(sittings_of(plan), begins) != until(sittings_of(plans[count - 1]), begins):
            return  # a change after the calendar ended: long-standing drops are shown to have gone on until then
        assert telephone.sittings() == held


@ANY
@given(randoms, st.booleans())
def test_a_telephone_that_missed_versions_holds_the_last_plan(draw: Random, with_file: bool) -> None:
    """Whatever was missed, from its first day on the last version holds alone."""
    plans = versions_of(draw)
    if len(plans) < 2:
        return
    telephone, file = Telephone(), None
    for count, (plan, today) in enumerate(zip(plans, issue_days(draw, plans), strict=True)):
        file = written(plan, count + 1, today, Before(file if with_file else None, plans=tuple(plans[:count])))
        if plan is plans[-1] or draw.random() < 0.5:
            telephone.take_if(file)
    begins = plans[-1].issued_on
    assert since(telephone.sittings(), begins) == since(sittings_of(plans[-1]), begins)


@ANY
@given(randoms)
def test_the_same_version_printed_again_changes_nothing(draw: Random) -> None:
    """A file made again over itself, on the same day or days later, leaves the telephone as it was."""
    plans = versions_of(draw)
    if not plans:
        return
    file: bytes | None = None
    telephone = Telephone()
    days = issue_days(draw, plans)
    for count, (plan, today) in enumerate(zip(plans, days, strict=True)):
        file = written(plan, count + 1, today, Before(file, plans=tuple(plans[:count])))
        telephone.take_if(file)
    held = telephone.sittings()
    again = written(plans[-1], len(plans), days[-1], Before(file, plans=tuple(plans[:-1])))
    later = written(plans[-1], len(plans), days[-1] + 4 * DAY, Before(again, plans=tuple(plans[:-1])))
    assert again == file
    assert telephone.take_if(later).sittings() == held


@ANY
@given(randoms, st.integers(-10, 5))
def test_an_operation_put_off_or_a_corrected_day_leaves_nothing_behind(draw: Random, early: int) -> None:
    """Before the first drop anything may be corrected: date, waking hours, regimen. Only the new plan is left."""
    one, two = random_order(draw).with_order(changes=()), random_order(draw).with_order(changes=())
    two = two.with_order(surgery=one.order.surgery + draw.randint(-5, 20) * DAY, other_eye=None, own_drops=())
    one = one.with_order(other_eye=None, own_drops=())
    try:
        first, second = one.plan(), two.plan()
    except DropsError:
        return
    today = min(first.issued_on, second.issued_on) + min(early, 0) * DAY
    file = written(first, 1, today - 5 * DAY, Before())
    new = written(second, 2, today, Before(file))
    assert Telephone().take_if(file).take_if(new).sittings() == sittings_of(second)


@ANY
@given(randoms, st.booleans())
def test_the_second_eye_ends_the_calendar_of_the_first(draw: Random, with_file: bool) -> None:
    """Drops of the first eye stand in the second eye's plan; on a telephone that holds both files each rings once."""
    ordered = random_order(draw)
    order = ordered.order
    if order.other_eye is None:
        return
    regimen, operated_on = order.other_eye
    first = ordered.with_order(
        regimen=regimen, side=order.side.other, surgery=operated_on, start=None, other_eye=None, changes=()
    )
    try:
        old, new = first.plan(), ordered.plan(changes=())
    except DropsError:
        return
    file = written(old, 3, old.issued_on, Before(), key="first eye")
    begins = new.issued_on
    before = Before(file if with_file else None, other_eye=("first eye", old))
    telephone = Telephone().take_if(file)
    second = written(new, 1, begins - 2 * DAY, before)
    expected = until(sittings_of(old), begins) + since(sittings_of(new), begins)
    assert telephone.take_if(second).sittings() == expected
    again = written(new, 1, begins, replace(before, file=second))
    assert telephone.take_if(again).sittings() == expected


@ANY
@given(randoms, st.integers(-6, 20).filter(bool))
def test_a_second_eye_put_off_or_brought_forward(draw: Random, days: int) -> None:
    """The first eye's drops go on until the new day: no day between is empty on the telephone, and none rings twice."""
    ordered = random_order(draw).with_order(changes=())
    for _ in range(6):
        ordered = ordered if ordered.order.other_eye else random_order(draw).with_order(changes=())
    order = ordered.order
    if order.other_eye is None:
        return
    regimen, operated_on = order.other_eye
    later = max(order.surgery + days * DAY, operated_on)
    first = ordered.with_order(regimen=regimen, side=order.side.other, surgery=operated_on, start=None, other_eye=None)
    try:
        old, new, put_off = first.plan(), ordered.plan(), ordered.plan(surgery=later)
    except DropsError:
        return
    telephone = Telephone()
    other = ("first eye", old)
    today = min(old.issued_on, new.issued_on, put_off.issued_on) - 3 * DAY
    file = written(old, 1, today, Before(), key="first eye")
    telephone.take_if(file)
    file = written(new, 1, today + DAY, Before(file, other_eye=other))
    telephone.take_if(file)
    file = written(put_off, 2, today + 2 * DAY, Before(file, other_eye=other))
    begins = min(new.issued_on, put_off.issued_on)
    expected = until(sittings_of(old), begins) + since(sittings_of(put_off), begins)
    assert telephone.take_if(file).sittings() == expected


@ANY
@given(randoms)
def test_runs_hold_every_sitting_once(draw: Random) -> None:
    """Runs are the sittings of the plan drawn together: none lost, none twice, no two with one start."""
    for plan in versions_of(draw):
        begins = plan.issued_on
        runs = make_runs(plan, begins)
        found = Sittings((run.first + day * DAY, say(run).summary) for run in runs for day in range(run.days))
        assert found == since(sittings_of(plan), begins)
        assert len({run.first for run in runs}) == len(runs)
        for run in runs:
            assert not any(run.first.date() < change <= run.last.date() for change in plan.changed_on)


def test_random_orders_reach_changes_and_two_eyes() -> None:
    """The tests above would hold of nothing if the orders had no change and no sitting."""
    plans = [versions_of(Random(seed)) for seed in range(60)]
    assert sum(len(versions) > 2 for versions in plans) >= 5
    assert sum(bool(versions) and versions[-1].both_eyes for versions in plans) >= 5
    assert (
        sum(bool(versions) and bool(since(sittings_of(versions[-1]), versions[-1].issued_on)) for versions in plans)
        > 30
    )
