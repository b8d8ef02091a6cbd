"""Parts of a case that cannot all be true: each is an error that names the key and says what to do.

Common practice, no source: limits of a year, and what contradicts what.
"""

from __future__ import annotations

import datetime as dt

import pytest

from consent.errors import CaseError
from tests.editing import case_maker

MAKE = case_maker()
SURGERY = dt.date(2027, 2, 24)
CHANGE = {"on": dt.date(2027, 3, 6), "regimen": "two-hourly-start", "by": "Dr A", "why": "more cells"}
OWN = {"drug": "timolol", "eyes": "left", "times_a_day": 2, "decision": "continue"}
PLACED = {"design": "three-piece", "material": "acrylic", "place": "ciliary sulcus"}
FELLOW = {"operated": "yes", "operated_on": dt.date(2027, 2, 10), "regimen": "weekly-4-3-2-1"}


def visit(day: dt.date, kind: str = "day 1") -> dict[str, object]:
    return {"kind": kind, "date": day}


WRONG = [
    ({"plan.date": dt.date(9999, 12, 20)}, "plan.date: the year lies outside 2000 to 2199"),
    ({"visits": [visit(dt.date(2207, 3, 3))]}, r"visits\.0\.date: more than a year away"),
    ({"visits": [visit(SURGERY - dt.timedelta(days=4))]}, r'visits\.0\.date: a "day 1" visit lies before plan\.date'),
    ({"other_eye": {**FELLOW, "operated": "no"}}, 'regimen goes with operated = "yes"'),
    ({"other_eye": {**FELLOW, "operated_on": dt.date(2027, 3, 1)}}, "other_eye.operated_on: the eye still on drops"),
    ({"other_eye": {**FELLOW, "operated_on": dt.date(1970, 1, 1)}}, "other_eye.operated_on: more than a year before"),
    ({"own_drops": [OWN, {**OWN, "eyes": "each"}]}, "own_drops: a drop stands twice for the same eye"),
    ({"own_drops": [{**OWN, "decision": "pause"}]}, 'decision = "pause" goes with pause_until'),
    ({"own_drops": [{**OWN, "at_bedtime": True}]}, "at_bedtime goes with times_a_day = 1"),
    ({"drop_changes": [CHANGE]}, "version: 1 changes of the drops need version 2 or more"),
    ({"version": 2, "drop_changes": [{**CHANGE, "on": SURGERY}]}, "drop_changes: each must be later"),
    ({"version": 2, "drop_changes": [{**CHANGE, "on": dt.date(2029, 1, 1)}]}, "drop_changes: the last lies more than"),
    ({"version": 2, "drop_changes": [CHANGE], "plan.regimen": None}, "plan.regimen: drops were changed"),
    ({"done.regimen": "two-hourly-start"}, "version: 1 changes of the drops need version 2 or more"),
    (
        {"done.regimen": "two-hourly-start", "plan.regimen": None},
        "version: 1 changes of the drops need version 2 or more",
    ),
    # three prints: the plan's, the one after surgery, and that of the change
    ({"version": 2, "done.regimen": "after-torn-capsule", "drop_changes": [CHANGE]}, "version: "),
    ({"done": {"lens": PLACED, "no_lens": "yes"}}, 'a lens was placed, yet no_lens = "yes"'),
    ({"done": {"piece_size": "less than half"}}, 'piece_size goes with piece_retained = "yes"'),
    ({"done": {"piece_size": "less than half", "piece_retained": "no"}}, 'piece_size goes with piece_retained = "yes"'),
]


@pytest.mark.parametrize(("changes", "words"), WRONG, ids=[words[:40] for _, words in WRONG])
def test_what_does_not_agree_is_an_error(changes: dict[str, object], words: str) -> None:
    with pytest.raises(CaseError, match=words):
        MAKE(changes)


@pytest.mark.parametrize(
    "changes",
    [
        {"visits": [visit(SURGERY - dt.timedelta(days=4), "other")]},
        {"other_eye": FELLOW},
        {"other_eye": {**FELLOW, "operated_on": SURGERY}},
        {"own_drops": [OWN, {**OWN, "eyes": "right", "decision": "stop"}]},
        {"version": 2, "drop_changes": [CHANGE]},
        {"done.regimen": "weekly-4-3-2-1"},
        {"version": 2, "done.regimen": "two-hourly-start"},
        {"version": 3, "done.regimen": "after-torn-capsule", "drop_changes": [CHANGE]},
        {"done": {"lens": PLACED, "no_lens": "no"}},
        {"done": {"lens": PLACED, "no_lens": "unknown"}},
        {"done": {"no_lens": "yes"}},
        {"done": {"piece_size": "half or more", "piece_retained": "yes"}},
        {"done": {"piece_retained": "yes"}},
    ],
)
def test_what_agrees_is_read(changes: dict[str, object]) -> None:
    assert MAKE(changes).plan.date == SURGERY
