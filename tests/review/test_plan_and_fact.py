"""Where what was done differs from what was planned, and whether the patient had agreed to it beforehand.

Agreed is what was named beforehand and said yes to: Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32.
What counts as a difference: common practice, no source.
"""

from __future__ import annotations

from typing import Any

import pytest

from consent.compose import utter
from consent.language import Speaker
from consent.review import differences, events
from tests.editing import Changes
from tests.review.points_table import lens

PLANNED = {"design": "single-piece", "material": "hydrophobic acrylic", "place": "capsular bag", "power_d": 21.5}
FALLBACK = {"design": "three-piece", "material": "acrylic", "place": "ciliary sulcus", "power_d": 20.5}
NAMED = {"plan.fallback_lenses": [FALLBACK], "plan.extra_steps": [], "done.lens": FALLBACK}


def taken(step: str, *agreed: str) -> dict[str, Any]:
    return {"done.steps": [step], "plan.extra_steps": list(agreed)}


def finished_as(operation: str, *agreed: str) -> dict[str, Any]:
    return {"done.operation": operation, "plan.extra_steps": list(agreed)}


# what is changed of the ordinary example, what is told of it, and whether it had been agreed
ONE: list[tuple[Changes, str, bool]] = [
    (finished_as("manual small-incision", "larger incision"), "finished as", True),
    (finished_as("manual small-incision", "stitch"), "finished as", False),
    (finished_as("extracapsular", "larger incision"), "finished as", True),
    (finished_as("extracapsular"), "finished as", False),
    # an operation for glaucoma is no larger wound: agreeing to the one is not agreeing to the other
    (finished_as("phacoemulsification with trabeculectomy", "larger incision"), "finished as", False),
    # another lens: one of those named in the consent, or any where another lens or place was agreed as a step
    (NAMED, "lens placed", True),
    (NAMED | {"plan.fallback_in_consent": "no"}, "lens placed", False),
    (NAMED | {"plan.fallback_in_consent": "unknown"}, "lens placed", False),
    (NAMED | {"plan.fallback_lenses": []}, "lens placed", False),
    (NAMED | {"done.lens": FALLBACK | {"design": "rigid"}}, "lens placed", False),
    (NAMED | {"done.lens": FALLBACK | {"place": "anterior chamber"}}, "lens placed", False),
    (NAMED | {"done.lens": FALLBACK | {"power_d": 20.0}}, "lens placed", False),
    (NAMED | {"plan.fallback_lenses": [], "plan.extra_steps": ["other lens or place"]}, "lens placed", True),
    ({"plan.extra_steps": [], "done.lens": PLANNED | {"power_d": 22.0}}, "lens placed", False),
    # no lens for now
    ({"done.no_lens": "yes", "plan.extra_steps": ["no lens today"]}, "no lens was placed", True),
    ({"done.no_lens": "yes", "plan.extra_steps": ["other lens or place"]}, "no lens was placed", False),
    # each extra step, agreed or not
    (taken("larger incision", "larger incision"), "step taken", True),
    (taken("larger incision", "stitch"), "step taken", False),
    (taken("anterior vitrectomy", "anterior vitrectomy"), "step taken", True),
    (taken("anterior vitrectomy", "larger incision"), "step taken", False),
    (taken("stitch", "stitch"), "step taken", True),
    (taken("stitch"), "step taken", False),
    (taken("pupil device", "pupil device"), "step taken", True),
    (taken("pupil device", "capsular tension ring"), "step taken", False),
    (taken("capsular tension ring", "capsular tension ring"), "step taken", True),
    (taken("capsular tension ring", "pupil device"), "step taken", False),
    (taken("other anaesthesia", "other anaesthesia"), "step taken", True),
    (taken("other anaesthesia"), "step taken", False),
    (taken("second operation", "second operation"), "step taken", True),
    (taken("second operation", "anterior vitrectomy"), "step taken", False),
    # a stitch that is counted and not named as a step is a step all the same; named and counted, it is one
    ({"done.stitches": 1, "plan.extra_steps": ["stitch"]}, "step taken", True),
    ({"done.stitches": 1, "plan.extra_steps": ["anterior vitrectomy"]}, "step taken", False),
    (taken("stitch", "stitch") | {"done.stitches": 2}, "step taken", True),
]


@pytest.mark.parametrize(("changes", "words", "agreed"), ONE)
def test_a_difference_is_told_and_is_agreed_or_not(changes, words, agreed, make_case):
    (found,) = differences(make_case(changes))
    assert words in utter(Speaker("en"), found.told).plain
    assert found.agreed is agreed


@pytest.mark.parametrize("step", ["other lens or place", "no lens today"])
@pytest.mark.parametrize("agreed", [True, False])
def test_a_step_is_not_lost_because_the_lens_is_not_written_down_with_it(step, agreed, make_case):
    found = differences(make_case(taken(step, *([step] if agreed else []))))
    assert [difference.agreed for difference in found] == [agreed]


NOTHING: list[Changes] = [
    {},
    {"done.as_planned": "yes"},
    {"done.operation": "phacoemulsification"},
    {"done.lens": PLANNED},
    {"done.lens": PLANNED | {"material": "as on the box", "a_constant": None, "on_shelf": "yes"}},
    {"done.no_lens": "no"},
    {"done.no_lens": "unknown"},
    {"done.stitches": 0},
    {"done.by": "Dr B. Example"},
    {"done": {"capsule_torn": "yes", "vitreous_lost": "yes", "piece_retained": "yes"}},
    # what was planned is not an extra step
    {"plan.pupil_expansion": "yes", "done.steps": ["pupil device"]},
    {"plan.capsular_tension_ring": "yes", "done.steps": ["capsular tension ring"]},
    # a power nobody has written down is not another power
    {"done.lens": PLANNED | {"power_d": None}},
]


@pytest.mark.parametrize("changes", NOTHING)
def test_what_is_as_planned_or_not_a_choice_is_no_difference(changes, make_case):
    assert differences(make_case(changes)) == ()


def test_a_lens_placed_where_the_plan_names_none_is_told(make_case):
    changes = {"plan.lens": None, "plan.fallback_lenses": [], "plan.extra_steps": [], "done.lens": PLANNED}
    assert [found.agreed for found in differences(make_case(changes))] == [False]


def test_only_another_power_is_told_with_the_power(make_case):
    """Told as "single-piece, in the bag", it would read like the plan."""
    (found,) = differences(make_case({"done.lens": PLANNED | {"power_d": 22.0}}))
    assert "22" in utter(Speaker("en"), found.told).plain


def test_operation_then_lens_then_steps(make_case):
    changes = {
        "done": {
            "operation": "manual small-incision",
            "lens": lens("rigid"),
            "steps": ["anterior vitrectomy", "pupil device"],
            "stitches": 3,
        }
    }
    told = [utter(Speaker("en"), found.told).plain for found in differences(make_case(changes))]
    assert [text.split(":")[0].split(" as ")[0] for text in told] == ["finished", "lens placed", *["step taken"] * 3]


@pytest.mark.parametrize("tag", ["en", "bn", "hi"])
def test_every_difference_can_be_said(tag, make_case):
    for changes, *_ in ONE:
        for found in differences(make_case(changes)):
            plain = utter(Speaker(tag), found.told).plain
            assert plain.strip()
            assert "{" not in plain


@pytest.mark.parametrize(
    ("done", "expected"),
    [
        ({"no_lens": "yes", "piece_retained": "yes", "vitreous_lost": "yes", "capsule_torn": "yes"}, (0, 1, 2, 3)),
        ({"no_lens": "yes", "capsule_torn": "yes", "vitreous_lost": "no"}, (0, 3)),
        ({"vitreous_lost": "yes", "capsule_torn": "unknown"}, (1,)),
        ({"piece_retained": "yes"}, (2,)),
        ({"complication": "the iris bled"}, ()),
        ({}, ()),
    ],
)
def test_what_happened_is_told_cause_before_consequence(done, expected, make_case):
    order = ("capsule_torn", "vitreous_lost", "piece_retained", "no_lens")
    assert events(make_case({"done": done})) == tuple(order[place] for place in expected)


def test_before_surgery_nothing_has_happened_or_differs(make_case):
    case = make_case({"plan.extra_steps": []})
    assert case.done is None
    assert events(case) == ()
    assert differences(case) == ()
