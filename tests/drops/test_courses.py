"""Courses of both eyes, long-standing drops and changes, worked out by hand.

Day 0 is Wednesday 10 March 2027, the right eye's; the patient is awake from 07:00 to 22:00.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from consent.case import DropChange, OwnDrop, Side
from consent.clinic import Clinic, DropSettings
from consent.drops import DropPlan, Ends, Start
from consent.drops.orders import Order
from consent.drops.plan import make_plan
from consent.errors import DropsError

SURGERY = dt.date(2027, 3, 10)


def item(drug: str, *steps: tuple[Any, ...], **more: Any) -> dict[str, Any]:
    """One drug: (first day, days, times a day) of each step, and what else a step says."""
    rows = [
        {"from_day": first, "days": days, "times_a_day": times, **(extra[0] if extra else {})}
        for first, days, times, *extra in steps
    ]
    return {"drug": drug, "steps": rows, "source": "invented", "verified": "memory", **more}


def make(clinic: Clinic, regimens: dict[str, list[dict[str, Any]]], drops: dict[str, Any], **order: Any) -> DropPlan:
    """The plan of regimen "a" of ``regimens``."""
    tables = {name: {"title": name, "items": items} for name, items in regimens.items()}
    own = clinic.model_copy(update={"regimens": tables, "drops": DropSettings(**drops)})
    return make_plan(Order(**{**_USUAL, **order}), own)


_USUAL: dict[str, Any] = {
    "regimen": "a",
    "side": Side.RIGHT,
    "surgery": SURGERY,
    "waking_from": dt.time(7),
    "waking_to": dt.time(22),
}
WEEK = [item("moxifloxacin", (1, 7, 4)), item("loteprednol", (1, 7, 4), (8, 7, 2))]


def on(day: int) -> dt.date:
    """The date of a day."""
    return SURGERY + dt.timedelta(days=day)


def change(day: int, regimen: str = "b") -> DropChange:
    """A change on a day."""
    return DropChange(on=on(day), regimen=regimen, by="Dr A", why="inflamed")


def timolol(**more: Any) -> OwnDrop:
    """Timolol twice a day in each eye, going on."""
    return OwnDrop(**{"drug": "timolol", "eyes": "each", "times_a_day": 2, "decision": "continue", **more})


def rows(plan: DropPlan) -> list[tuple[int, str, str, int, int, int]]:
    """Number, drug, eye, first and last day, drops of each row."""
    return [(r.number, r.drug.id, r.side.value, r.first_day, r.last_day, r.total) for r in plan.rows]


def test_each_eye_makes_two_rows_the_operated_first(clinic: Clinic) -> None:
    """4 x 7 in each eye."""
    plan = make(clinic, {"a": [item("moxifloxacin", (1, 7, 4), eyes="each")]}, {})
    assert rows(plan) == [(1, "moxifloxacin", "right", 1, 7, 28), (2, "moxifloxacin", "left", 1, 7, 28)]
    assert plan.both_eyes


def test_another_taper_for_each_eye(clinic: Clinic) -> None:
    """One drug, two tapers: 28 + 14 drops right, 14 left."""
    items = [item("loteprednol", (1, 7, 4), (8, 7, 2)), item("loteprednol", (1, 14, 1), eyes="other")]
    plan = make(clinic, {"a": items}, {})
    assert [(row.side.value, row.total) for row in plan.rows] == [("right", 42), ("left", 14)]


def test_a_pause_on_purpose(clinic: Clinic) -> None:
    """Days 1 to 3, a pause of two days, days 6 to 8."""
    plan = make(clinic, {"a": [item("moxifloxacin", (1, 3, 4), (6, 3, 4, {"pause_before": True}))]}, {})
    assert [day.total for day in plan.days] == [4, 4, 4, 0, 0, 4, 4, 4]
    assert [(span.first.number, span.last.number, span.total) for span in plan.spans] == [
        (1, 3, 4),
        (4, 5, 0),
        (6, 8, 4),
    ]
    assert plan.sessions[3].sessions == ()


def test_more_on_purpose(clinic: Clinic) -> None:
    """From 2 a day to 4 a day."""
    plan = make(clinic, {"a": [item("loteprednol", (1, 3, 2), (4, 3, 4, {"more_on_purpose": True}))]}, {})
    assert [day.total for day in plan.days] == [2, 2, 2, 4, 4, 4]


def test_long_standing_drops_come_last_and_stand_for_six_weeks(clinic: Clinic) -> None:
    """Days 1 to 42, right before left: 2 x 42 = 84 drops each."""
    plan = make(clinic, {"a": WEEK}, {}, own_drops=(timolol(),))
    assert rows(plan)[2:] == [(3, "timolol", "right", 1, 42, 84), (4, "timolol", "left", 1, 42, 84)]
    assert {row.ends for row in plan.rows[2:]} == {Ends.LONG_STANDING}


def test_long_standing_drops_go_on_as_long_as_the_course(clinic: Clinic) -> None:
    """The course ends on day 14, the clinic's days are 10: until day 14."""
    plan = make(clinic, {"a": WEEK}, {"long_standing_days": 10}, own_drops=(timolol(eyes="left"),))
    assert rows(plan)[2] == (3, "timolol", "left", 1, 14, 28)


def test_a_paused_drop_goes_on_from_its_day(clinic: Clinic) -> None:
    """Paused until day 8: days 8 to 42, 35 days; the pause is told with the number of the bottle that goes on."""
    paused = timolol(eyes="right", decision="pause", pause_until=on(8))
    plan = make(clinic, {"a": WEEK}, {}, own_drops=(paused,))
    assert rows(plan)[2] == (3, "timolol", "right", 8, 42, 70)
    assert [(told.word, told.date, told.number) for told in plan.told] == [("pause", on(8), 3)]


def test_a_stopped_or_undecided_drop_has_no_row_and_keeps_its_number_free(clinic: Clinic) -> None:
    """Stopped timolol would have been 3: latanoprost is 4 whatever was decided of timolol."""
    other = OwnDrop(drug="latanoprost", eyes="right", times_a_day=1, at_bedtime=True, decision="continue")
    for decision in ("stop", "undecided", "continue"):
        plan = make(clinic, {"a": WEEK}, {}, own_drops=(timolol(eyes="right", decision=decision), other))
        assert (4, "latanoprost", "right", 1, 42, 42) in rows(plan)
        assert [told.word for told in plan.told] == ([] if decision == "continue" else [decision])


def test_a_drop_at_bedtime_is_given_at_bedtime(clinic: Clinic) -> None:
    """Once a day at 22:00, with the last of the four-times drops; alone beside a morning drop it adds a sitting."""
    drop = OwnDrop(drug="latanoprost", eyes="right", times_a_day=1, at_bedtime=True, decision="continue")
    plan = make(clinic, {"a": WEEK}, {}, own_drops=(drop,))
    assert plan.sessions[0].times_of(3) == (dt.time(22),)
    assert len(plan.sessions[0].sessions) == 4
    plan = make(clinic, {"a": [item("moxifloxacin", (1, 7, 1))]}, {}, own_drops=(drop,))
    assert [sitting.at for sitting in plan.sessions[0].sessions] == [dt.time(7), dt.time(22)]


def test_the_fellow_eye_goes_on_by_its_own_days(clinic: Clinic) -> None:
    """The left eye was operated 10 days before: its days 1 to 14 are days -9 to 4; its bottles keep 1 and 2."""
    plan = make(clinic, {"a": WEEK, "b": WEEK}, {}, other_eye=("b", on(-10)))
    assert rows(plan) == [
        (1, "moxifloxacin", "left", -9, -3, 28),
        (2, "loteprednol", "left", -9, 4, 42),
        (3, "moxifloxacin", "right", 1, 7, 28),
        (4, "loteprednol", "right", 1, 14, 42),
    ]
    assert [row.number for row in plan.current] == [2, 3, 4]
    counts = {day.number: day.counts for day in plan.days}
    assert counts[1] == (0, 2, 4, 4)
    assert counts[5] == (0, 0, 4, 4)


def test_on_the_day_of_its_surgery_an_eye_has_no_clock_times(clinic: Clinic) -> None:
    """Of the fellow eye on its own day, five days before; on the day of this operation it keeps its times."""
    before = [item("nepafenac", (-1, 20, 3), drops_before_surgery=1)]
    plan = make(clinic, {"a": WEEK, "b": before}, {}, other_eye=("b", on(-5)))
    untimed = {day.number: day.untimed for day in plan.sessions if day.untimed}
    assert untimed == {-5: ((1, 4),)}
    (today,) = [day for day in plan.sessions if day.number == 0]
    assert [session.drops for session in today.sessions] == [((1, 0),)] * 3
    assert plan.rows[0].total == 61


def test_a_change_ends_the_old_rows_the_day_before(clinic: Clinic) -> None:
    """From day 5 on: loteprednol more often in its bottle 2, moxifloxacin ends on day 4, nepafenac is bottle 3."""
    new = [item("loteprednol", (1, 7, 6)), item("nepafenac", (1, 14, 3))]
    plan = make(clinic, {"a": WEEK, "b": new}, {}, changes=(change(5),))
    assert rows(plan) == [
        (1, "moxifloxacin", "right", 1, 4, 16),
        (2, "loteprednol", "right", 1, 11, 58),
        (3, "nepafenac", "right", 5, 18, 42),
    ]
    assert [row.ends for row in plan.rows] == [Ends.CHANGED, Ends.COURSE_END, Ends.COURSE_END]
    assert [(t.word, t.number, t.date) for t in plan.told] == [("changed", 1, on(4))]
    assert (plan.issued_from, plan.changed_on) == (5, (on(5),))
    assert [row.number for row in plan.current] == [2, 3]


def test_a_bottle_never_begun_is_told_and_its_number_stays_free(clinic: Clinic) -> None:
    """Bottle 2 was to begin on day 8; the change of day 5 leaves it out, and the new drug is bottle 3."""
    later = [item("moxifloxacin", (1, 7, 4)), item("bromfenac", (8, 7, 2))]
    plan = make(clinic, {"a": later, "b": [item("nepafenac", (1, 7, 3))]}, {}, changes=(change(5),))
    assert [row.number for row in plan.rows] == [1, 3]
    assert [(t.number, t.date) for t in plan.told] == [(2, None), (1, on(4))]


def test_a_second_change_tells_what_the_first_had_brought(clinic: Clinic) -> None:
    """The first change orders bottle 2 from day 10; the second, on day 5, leaves it out."""
    go_on = [item("moxifloxacin", (1, 9, 3))]
    regimens = {"a": go_on, "b": [*go_on, item("bromfenac", (8, 2, 2))], "c": go_on}
    plan = make(clinic, regimens, {}, changes=(change(3), change(5, "c")))
    assert [(t.word, t.drug.id, t.number, t.date) for t in plan.told] == [("changed", "bromfenac", 2, None)]


def test_drops_given_before_surgery_survive_a_change_on_day_1(clinic: Clinic) -> None:
    """The drop of day 0 was given, whatever is ordered on day 1; the new regimen's own drops before surgery are not."""
    old = [item("nepafenac", (1, 3, 3), drops_before_surgery=1)]
    new = [item("bromfenac", (1, 2, 2), drops_before_surgery=3)]
    plan = make(clinic, {"a": old, "b": new}, {}, changes=(change(1),))
    assert rows(plan) == [(1, "nepafenac", "right", 0, 0, 1), (2, "bromfenac", "right", 1, 2, 4)]
    assert [(t.number, t.date) for t in plan.told] == [(1, on(0))]


def test_drops_before_surgery_after_the_last_step(clinic: Clinic) -> None:
    """Days -3 and -2, three a day, and one drop on day 0: 7 drops, the last on day 0."""
    plan = make(clinic, {"a": [item("nepafenac", (-3, 2, 3), drops_before_surgery=1)]}, {})
    assert rows(plan) == [(1, "nepafenac", "right", -3, 0, 7)]
    assert [day.total for day in plan.days] == [3, 3, 0, 1]
    assert sum(opening.drops for opening in plan.supplies[0].openings) == 7


def test_long_standing_drops_outlast_a_longer_course_after_a_change(clinic: Clinic) -> None:
    """The change of day 30 brings a course to day 89: timolol stands to day 89 too."""
    regimens = {"a": [item("loteprednol", (1, 40, 3))], "b": [item("loteprednol", (1, 60, 1))]}
    plan = make(clinic, regimens, {}, changes=(change(30),), own_drops=(timolol(eyes="right"),))
    assert {row.drug.id: row.last_day for row in plan.rows} == {"loteprednol": 89, "timolol": 89}


def test_the_evening_belongs_to_the_operated_eye(clinic: Clinic) -> None:
    """Four times a day leaves the dose of 22:00 on the evening of surgery, in the operated eye alone."""
    plan = make(clinic, {"a": [item("moxifloxacin", (1, 7, 4), eyes="each")]}, {}, start=Start.EVENING)
    assert (plan.days[0].number, plan.days[0].counts) == (0, (1, 0))


@pytest.mark.parametrize("waking", [(dt.time(23, 50), dt.time(23, 59)), (dt.time(7), dt.time(7, 10))])
def test_no_hours_at_all(clinic: Clinic, waking: tuple[dt.time, dt.time]) -> None:
    """Hours in which no quarter of an hour lies are refused by key, not by a fault of the clock."""
    with pytest.raises(DropsError, match=r"patient\.waking_from, patient\.waking_to"):
        make(clinic, {"a": WEEK}, {}, waking_from=waking[0], waking_to=waking[1])
