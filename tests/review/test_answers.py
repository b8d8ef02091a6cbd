"""Answers to points: they hold for the facts they were given to, and for nothing else.

That an override is kept with name, time and reason, and ends when the facts change, is common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import subprocess
import sys
from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from consent.case import Case, PointAnswer
from consent.clinic import Clinic
from consent.drops.checks import CHECKS
from consent.drops.grounds import read_checks
from consent.review import Point, Severity, assess, by_severity, completeness_points, profile, with_answers
from consent.review.completeness import Row, State
from consent.review.fingerprint import fingerprint
from consent.review.point import rules
from consent.wording import remark

AT = dt.datetime(2027, 2, 23, 9, 30, tzinfo=dt.UTC)
STEROID_ON_HERPES = {"eye.herpes_keratitis": "active"}


def answer(point: str, key: str, **changed: Any) -> PointAnswer:
    said = {"point": point, "key": key, "by": "Dr Example", "registration": "INVENTED-0001", "at": AT, "why": "seen"}
    return PointAnswer(**{**said, **changed})


def found(case: Case, clinic: Clinic, *answers: PointAnswer) -> dict[str, Point]:
    """Points by id, with ``answers`` in the case."""
    return {point.id: point for point in assess(case.model_copy(update={"answers": answers}), clinic).points}


def point(severity: str = "ask", point_id: str = "only-eye", **changed: Any) -> Point:
    title, facts = remark("point.only-eye.title"), (remark("fact.other-eye", acuity="6/60"),)
    return replace(Point(point_id, Severity(severity), title, title, facts, "invented"), **changed)


def test_key_is_the_digest_of_id_severity_and_facts():
    """SHA-256 (FIPS 180-4) of the facts as JSON (RFC 8259), computed here by hand."""
    text = '["only-eye","ask",[{"says":"fact.other-eye","slots":{"acuity":"6/60"}}]]'
    assert point().key == hashlib.sha256(text.encode()).hexdigest()[:8]


def test_key_is_the_same_in_every_process(make_case, make_clinic):
    """Whatever the seed of Python's own hashes."""
    program = (
        "from tests.editing import case_maker, clinic_maker\n"
        "from consent.review import assess\n"
        "case = case_maker()({'health.diabetes': 'unknown'}, 'hard')\n"
        "print(sorted((p.id, p.key) for p in assess(case, clinic_maker()()).points))"
    )
    said = {
        subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)},
        ).stdout
        for seed in ("1", "2")
    }
    here = sorted(
        (p.id, p.key) for p in assess(make_case({"health.diabetes": "unknown"}, "hard"), make_clinic()).points
    )
    assert said == {f"{here}\n"}


@pytest.mark.parametrize(
    "changed",
    [
        {"id": "polar"},
        {"severity": Severity.STOP},
        {"facts": (remark("fact.other-eye", acuity="6/36"),)},
        {"facts": (remark("fact.acuity", acuity="6/60"),)},
        {"facts": ()},
        {"ordered": ("nepafenac left 1..14:3x1",)},
    ],
)
def test_key_changes_with_id_severity_facts_and_orders(changed):
    assert replace(point(), **changed).key != point().key


def test_key_does_not_change_with_words_or_answer():
    same = replace(point(), title=remark("other"), source="other", answer=answer("only-eye", "00000000"))
    assert same.key == point().key


def test_values_have_a_lasting_form():
    """Numbers by value, dates by ISO 8601, nested remarks by id; what has none is refused."""
    assert fingerprint(2.50) == fingerprint(Decimal("2.5")) != fingerprint(2.51)
    assert fingerprint(dt.date(2027, 2, 24)) == fingerprint("2027-02-24")
    assert fingerprint(remark("a", b=remark("c"))) != fingerprint(remark("a", b=remark("d")))
    with pytest.raises(TypeError, match="object"):
        fingerprint(object())


def test_an_answered_stop_no_longer_blocks_and_an_answered_ask_is_settled(make_case, make_clinic):
    case, clinic = (
        make_case({**STEROID_ON_HERPES, "health.confusion": "unknown", "other_eye.seeing": "no"}),
        make_clinic(),
    )
    before = found(case, clinic)
    stop, ask = before["drops.steroid-herpes"], before["only-eye"]
    assert stop.blocks
    assert (stop.open, ask.open, ask.blocks) == (True, True, False)
    after = found(case, clinic, answer(stop.id, stop.key), answer(ask.id, ask.key, why="told twice"))
    assert (after[stop.id].blocks, after[stop.id].open, after[ask.id].open) == (False, False, False)
    assert after[ask.id].answer is not None
    assert after[ask.id].answer.why == "told twice"
    assert set(after) == set(before)


def test_changed_facts_void_the_answer(make_case, make_clinic):
    """The herpes was past when it was answered; now it is active: it stops again, and the old answer is asked about."""
    clinic = make_clinic()
    past = found(make_case({"eye.herpes_keratitis": "past"}), clinic)["drops.steroid-herpes"]
    now = found(make_case(STEROID_ON_HERPES), clinic, answer(past.id, past.key, why="aciclovir"))
    assert now[past.id].blocks
    assert now[past.id].answer is None
    stale = now["answer.out-of-date"]
    assert (stale.severity, stale.open) == (Severity.ASK, True)
    assert stale.facts[0].slots["point"] == past.id
    assert stale.facts[0].slots["key"] == past.key
    assert stale.facts[1].slots["why"] == "aciclovir"


def test_a_new_answer_makes_the_old_one_history(make_case, make_clinic):
    """Both stay in the case; nothing is asked about the old one any more."""
    clinic, case = make_clinic(), make_case(STEROID_ON_HERPES)
    stop = found(case, clinic)["drops.steroid-herpes"]
    after = found(case, clinic, answer(stop.id, "0123abcd"), answer(stop.id, stop.key))
    assert not after[stop.id].blocks
    assert "answer.out-of-date" not in after
    assert "answer.to-no-point" not in after


def test_an_answer_to_no_point_is_told(make_case, make_clinic):
    """A point that no longer fires, or a name nobody knows."""
    clinic, case = make_clinic(), make_case()
    assert "answer.to-no-point" not in found(case, clinic)
    for name in ("only-eye", "no-such-point"):
        after = found(case, clinic, answer(name, "0123abcd"))
        assert after["answer.to-no-point"].severity is Severity.NOTE
        assert after["answer.to-no-point"].facts[0].slots["point"] == name
        assert "answer.out-of-date" not in after


def test_two_points_of_one_id_are_answered_one_by_one(make_case, make_clinic):
    """Two long-standing drops paused until a day without a visit: one answer does not settle the other."""
    pause = {"eyes": "left", "times_a_day": 1, "decision": "pause", "pause_until": "2027-03-16"}
    own = [{"drug": name, **pause} for name in ("timolol", "sodium-chloride")]
    clinic, case = make_clinic(), make_case({"own_drops": own})
    first, second = (p for p in assess(case, clinic).points if p.id == "drops.pause-without-visit")
    assert first.key != second.key
    case = case.model_copy(update={"answers": (answer(second.id, second.key),)})
    found_now = assess(case, clinic).points
    states = {p.key: p.open for p in found_now if p.id == first.id}
    assert states == {first.key: True, second.key: False}
    assert not [p for p in found_now if p.id.startswith("answer.")]


def test_the_last_of_two_answers_stands():
    one, two = answer("only-eye", point().key, why="one"), answer("only-eye", point().key, why="two")
    (answered,) = with_answers([point()], [one, two])
    assert answered.answer is two


@pytest.mark.parametrize("point_id", ["side.disagrees", "drops.side-disagrees"])
def test_a_wrong_eye_is_never_overridden(point_id, make_case, make_clinic):
    """Universal Protocol UP.01.01.01 (Joint Commission): the eye is put right, not explained."""
    clinic, case = make_clinic(), make_case({"plan.side": "right"})
    before = found(case, clinic)[point_id]
    after = found(case, clinic, answer(point_id, before.key))[point_id]
    assert after.answer is not None
    assert after.blocks
    assert after.open
    assert not after.overridable


def test_a_missing_must_element_is_never_overridden(make_clinic):
    """The answer is shown; the form still lacks what the profile demands."""
    element = next(element for element in profile(make_clinic().profile).elements if element.level == "MUST")
    rows = [Row(element, State.UNMET, ())]
    (before,) = completeness_points(rows)
    (after,) = completeness_points(rows, [answer(before.id, before.key), answer("only-eye", "0123abcd")])
    assert after.answer is not None
    assert after.blocks
    (still, stale) = completeness_points(rows, [answer(before.id, "0123abcd")])
    assert (still.answer, stale.id) == (None, "answer.out-of-date")


def test_an_answer_to_completeness_waits_for_the_composed_form(make_case, make_clinic):
    """It is not to no point only because the form is not composed yet."""
    assert "answer.to-no-point" not in found(make_case(), make_clinic(), answer("completeness.must-unmet", "0123abcd"))


def test_open_points_come_first_within_a_severity():
    settled = replace(point("ask", "polar"), answer=answer("polar", "0123abcd"))
    order = by_severity([point("note"), settled, point("ask", "second"), point("stop", "third")])
    assert [p.id for p in order] == ["third", "second", "polar", "only-eye"]


def test_what_cannot_be_overridden_is_few_and_named():
    assert {name for name, rule in rules().items() if not rule.overridable} == {
        "side.disagrees",
        "consent.refused",
        "consent.wants-time",
        "confirmation.before-talk",
        "confirmation.something-changed",
        "confirmation.no-longer-wishes",
        "facts.impossible",
        "after.other-side",
        "completeness.must-unmet",
        "answer.out-of-date",
        "answer.to-no-point",
    }
    grounds = read_checks().findings
    assert {name for name in CHECKS if not grounds[name].overridable} == {
        "side-disagrees",
        "own-drop-undecided",
    }


def test_an_answer_does_not_outlive_the_order_it_was_given_to(make_case, make_clinic):
    """US nepafenac label: corneal events are worse beyond 14 days. A yes to two weeks is none to 60 days."""
    clinic, point_id = make_clinic(), "drops.nsaid-diabetes"
    diabetic = {"health.diabetes": "yes"}
    weeks = make_case({**diabetic, "plan.regimen": "diabetes-nsaid"})
    asked = found(weeks, clinic)[point_id]
    given = answer(point_id, asked.key)
    assert not found(weeks, clinic, given)[point_id].open
    longer = found(make_case({**diabetic, "plan.regimen": "diabetes-nsaid-60-days"}), clinic, given)
    assert [fact.slots for fact in longer[point_id].facts] == [fact.slots for fact in asked.facts]
    assert longer[point_id].open
    assert "answer.out-of-date" in longer


def test_an_undecided_drop_is_settled_by_deciding_only(make_case, make_clinic):
    """Glaucoma drops are never left out without a word: common practice, no source."""
    clinic, point_id = make_clinic(), "drops.own-drop-undecided"
    drop = {"drug": "dorzolamide", "eyes": "left", "times_a_day": 2, "decision": "undecided"}
    case = make_case({"own_drops": [drop]})
    before = found(case, clinic)[point_id]
    after = found(case, clinic, answer(point_id, before.key, why="will decide on day 1"))[point_id]
    assert after.answer is not None
    assert after.blocks
    assert point_id not in found(make_case({"own_drops": [{**drop, "decision": "continue"}]}), clinic)


def test_a_question_about_an_answer_is_not_answered(make_case, make_clinic):
    """It goes when the answer is put right: an answer to it would be to no point, for ever."""
    clinic = make_clinic()
    past = found(make_case({"eye.herpes_keratitis": "past"}), clinic)["drops.steroid-herpes"]
    stale = found(make_case(STEROID_ON_HERPES), clinic, answer(past.id, past.key))["answer.out-of-date"]
    assert (stale.overridable, stale.open) == (False, True)


def test_answers_are_read_from_a_case_file(make_case):
    """Time with its zone, key in eight hexadecimal digits; a key of another form is refused."""
    entry = {
        "point": "only-eye",
        "key": point().key,
        "by": "Dr Example",
        "registration": "INVENTED-0001",
        "at": AT.isoformat(),
        "why": "seen",
    }
    assert make_case({"answers": [entry]}).answers == (answer("only-eye", point().key),)
    with pytest.raises(Exception, match="key"):
        make_case({"answers": [{**entry, "key": "ABC"}]})
    assert json.loads(make_case({"answers": [entry]}).model_dump_json())["answers"][0]["key"] == point().key
