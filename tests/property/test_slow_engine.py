"""The drop engine against a slow one that shares nothing with it but its inputs (``tests/drops/slow_engine.py``)."""

from __future__ import annotations

import multiprocessing
import time
import traceback
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from random import Random
from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from consent.drops import DropPlan
from consent.drops import plan as plan_module
from consent.drops.regimens import Regimens
from consent.errors import DropsError
from tests.drops.slow_engine import DoesNotFit, Inputs, SlowPlan, minutes, slow_plan
from tests.property.drop_checks import check_all
from tests.property.random_orders import Ordered, formulary, random_order

MANY, WORKERS, SEED = 20_000, 2, 20_270_224


def inputs_of(ordered: Ordered) -> Inputs:
    """What the slow engine reads."""
    clinic = ordered.clinic
    return Inputs(ordered.order, clinic.drops, clinic.day_marks, ordered.regimens, formulary())


def fast_or_none(ordered: Ordered) -> DropPlan | None:
    """The engine's plan, or ``None`` where it says that the doses do not fit the hours."""
    try:
        return ordered.plan()
    except DropsError as error:
        assert "does not fit" in str(error) or "lasts until" in str(error) or "beyond midnight" in str(error), error
        return None


def slow_or_none(ordered: Ordered) -> SlowPlan | None:
    """The slow engine's plan, or ``None`` where the doses do not fit the hours."""
    try:
        return slow_plan(inputs_of(ordered))
    except DoesNotFit:
        return None


def every_drop(plan: DropPlan) -> Counter[Any]:
    """Each drop of the plan as (date, minute of the day or none, eye, drug, number of the bottle)."""
    rows = {row.number: row for row in plan.rows}
    drops: Counter[Any] = Counter()
    for day in plan.sessions:
        for session in day.sessions:
            for number, offset in session.drops:
                row = rows[number]
                drops[day.date, minutes(session.at) + offset, row.side, row.drug.id, number] += 1
        for number, count in day.untimed:
            drops[day.date, None, rows[number].side, rows[number].drug.id, number] += count
    return drops


def compare(fast: DropPlan, slow: SlowPlan) -> None:
    """Same drops at the same minutes, same counts, same bottles opened and thrown away on the same dates."""
    drops = Counter((drop.date, drop.minute, drop.eye, drop.drug, drop.number) for drop in slow.drops)
    assert every_drop(fast) == drops
    counted: Counter[Any] = Counter()
    for day in fast.days:
        for row, count in zip(fast.rows, day.counts, strict=True):
            counted[day.date, row.drug.id, row.side] += count
    assert {key: count for key, count in counted.items() if count} == slow.counts()
    assert {row.number: row.total for row in fast.rows} == {
        line.number: sum(map(line.on, line.dates())) for line in slow.lines
    }
    dates = [date for line in slow.lines for date in line.dates()]
    assert [day.date for day in fast.days][:1] == [min(dates)][:1] if dates else not fast.days
    assert fast.last == (max(dates) if dates else None)
    for supply in fast.supplies:
        key = (supply.drug.id, supply.sides)
        if supply.container == "unit dose":
            assert supply.count == slow.units[key]
        else:
            opened = [(opening.opened, opening.discard_after, opening.drops) for opening in supply.openings]
            assert opened == [(bottle.opened, bottle.discard_after, bottle.drops) for bottle in slow.bottles[key]]
            assert supply.count == len(opened)
    assert len(fast.supplies) == len(slow.bottles) + len(slow.units)


def compare_or_refused_by_both(ordered: Ordered) -> bool:
    """Compare the two plans of ``ordered`` and check the first; return whether there is one, which both must say."""
    fast, slow = fast_or_none(ordered), slow_or_none(ordered)
    assert (fast is None) == (slow is None)
    if fast is not None and slow is not None:
        compare(fast, slow)
        check_all(ordered, fast)
    return fast is not None


@settings(max_examples=300, deadline=None)
@given(st.randoms(use_true_random=False))
def test_every_drop_of_a_random_order(draw: Random) -> None:
    """The same date, clock time, eye and drug for every drop; the same bottles; refused by both or by neither."""
    made = compare_or_refused_by_both(random_order(draw))
    event("a plan" if made else "does not fit the hours")


def read_already(regimens: Regimens, *_: object) -> Regimens:
    """Stands in for reading them."""
    return regimens


def some(first: int, last: int) -> tuple[int, list[str]]:
    """How many of the orders with seeds from ``first`` to ``last`` have a plan, and what went wrong.

    Runs in a process of its own, where regimens are read once for both engines.
    """
    made, wrong = 0, []
    for seed in range(first, last):
        try:
            ordered = random_order(Random(seed))
            plan_module.read_regimens = partial(read_already, ordered.regimens)
            made += compare_or_refused_by_both(ordered)
        except Exception as error:
            where = traceback.extract_tb(error.__traceback__)[-1]
            wrong.append(f"seed {seed}: {where.name}, line {where.lineno}: {type(error).__name__} {str(error)[:200]}")
    return made, wrong


@pytest.mark.slow
def test_twenty_thousand_random_orders() -> None:
    """The same for 20,000 orders from fixed seeds; fewer than one in twenty does not fit its hours."""
    began = time.perf_counter()
    starts = range(SEED, SEED + MANY, MANY // 20)
    with ProcessPoolExecutor(WORKERS, mp_context=multiprocessing.get_context("spawn")) as pool:
        parts = list(pool.map(some, starts, [start + MANY // 20 for start in starts]))
    wrong = [text for _, texts in parts for text in texts]
    made = sum(count for count, _ in parts)
    print(f"{made} plans of {MANY} orders in {time.perf_counter() - began:.0f} s")
    assert wrong[:10] == []
    assert made > 0.95 * MANY
