"""What changed since the talk, worked out from the case.

Source: GMC, Decision making and consent, 2020, Reviewing decisions: somebody else held the talk, much time has passed,
the condition, the plan or the information changed, the patient may have changed their mind.
"""

from __future__ import annotations

import pytest

from consent.review import plan_changes, review_triggers

SAME = ["trigger.someone-else", "trigger.days"]
"""Of the ordinary example: a counsellor held the talk, two days before."""


def ids(remarks) -> list[str]:
    return [said.id for said in remarks]


CHANGES = [
    ("change.side", {"talk.told.side": "right"}),
    ("change.operation", {"talk.told.operation": "manual small-incision"}),
    ("change.anaesthesia", {"talk.told.anaesthesia": "topical"}),
    ("change.lens", {"talk.told.lens_design": "rigid"}),
    ("change.power", {"talk.told.lens_power_d": 21.0}),
    ("change.surgeon", {"talk.told.surgeon": "Dr Other Example"}),
    ("change.date", {"talk.told.date": "2027-02-25"}),
]


@pytest.mark.parametrize(("change", "told"), CHANGES)
def test_each_difference_from_what_was_told_is_found_alone(change, told, make_case):
    assert ids(plan_changes(make_case(told))) == [change]
    assert ids(review_triggers(make_case(told))) == [change, *SAME]


def test_what_was_not_told_cannot_have_changed(make_case):
    assert plan_changes(make_case()) == ()
    assert plan_changes(make_case({"talk.told": None, "plan.anaesthesia": "general"})) == ()
    partly = {"talk.told": {"side": "left", "operation": "phacoemulsification"}, "plan.anaesthesia": "general"}
    assert plan_changes(make_case(partly)) == ()


def test_a_lens_taken_out_of_the_plan_is_a_change(make_case):
    assert ids(plan_changes(make_case({"plan.lens": None}))) == ["change.lens"]


TRIGGERS = [
    ("trigger.measured-since", {"measurement.on": "2027-02-23"}, {"measurement.on": "2027-02-22"}),
    ("trigger.fitness-since", {"fitness.sugar_on": "2027-02-23"}, {"fitness.sugar_on": "2027-02-21"}),
    (
        "trigger.figures-since",
        {"figures_accepted.at": "2027-02-23T09:00:00+05:30"},
        {"figures_accepted.at": "2027-02-22T23:00:00+05:30"},
    ),
    (
        "trigger.not-yet",
        {"talk.said_back": [{"question": "one risk", "result": "not yet"}]},
        {"talk.said_back": [{"question": "one risk", "result": "after explaining again"}]},
    ),
    ("trigger.wanted-time", {"talk.decide_by": "2027-02-23"}, {"talk.decide_by": None}),
]


@pytest.mark.parametrize(("trigger", "brings", "does_not"), TRIGGERS)
def test_each_trigger_is_brought_by_its_fact(trigger, brings, does_not, make_case):
    assert ids(review_triggers(make_case(brings))) == [*SAME, trigger]
    assert ids(review_triggers(make_case(does_not))) == SAME


def test_the_days_between_talk_and_surgery_are_counted(make_case):
    (days,) = [said for said in review_triggers(make_case()) if said.id == "trigger.days"]
    assert days.slots["days"] == 2
    surgeon = make_case({"talk.by": "Dr Asha Invented"})
    assert ids(review_triggers(surgeon)) == ["trigger.days"]
    assert ids(review_triggers(make_case({"talk.at": None}))) == ["trigger.someone-else"]
