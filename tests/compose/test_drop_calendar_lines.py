"""What each line of the drop calendar must say so that nobody drops into the wrong eye, too often, or stops too soon.

The regimens are invented and stand in calendars.py; dates and numbers are counted by hand. Why each line is there:
common practice, no source.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest

from consent.case import Side
from consent.compose import Voice, drop_calendar
from consent.compose.document import Para
from consent.compose.drop_bottles import Bottles
from consent.compose.drop_pictures import CapWords, PicturedStep
from consent.compose.drop_wall import DrugLines, ToldLine
from consent.compose.pictures import eye_side
from consent.language import Speaker
from consent.review import assess
from tests.compose.calendars import REGIMENS, Calendar, item, sittings_of

LEFT, RIGHT = "LEFT eye", "RIGHT eye"


def english(message: str) -> str:
    return Speaker("en").say(message).plain


# Drops for the other eye. What could go wrong: a glaucoma drop in the eye just operated, and none in the eye it is for.


def test_every_bottle_stands_under_its_eye_where_both_eyes_have_drops(calendar):
    """The ordinary eye is the left one: bottles 1 and 3 are for it, bottle 2 for the right."""
    made = calendar("ordinary", "both-eyes")
    named = {block.eye[0].plain: [row.mark.number for row in block.rows] for block in made.blocks(DrugLines)}
    assert named == {RIGHT: [2], LEFT: [1, 3]}


def test_every_day_has_a_line_for_each_eye_with_its_own_bottles(calendar):
    made = calendar("ordinary", "both-eyes")
    for day in made.day_rows:
        assert [eye.eye[0].plain for eye in day.eyes] == [RIGHT, LEFT]
        right, left = ({mark.number for sitting in eye.sittings for mark in sitting} for eye in day.eyes)
        assert right == {2}
        is_surgery = day.date[0].plain == "Wed, 24 Feb"
        assert left == set() if is_surgery else left in ({1}, {1, 3})


def test_the_pictures_have_a_line_for_each_eye_with_its_face(calendar):
    made = calendar("ordinary", "both-eyes")
    for step in made.pictured:
        assert [
            (eye_side(side, from_in_front=True), words) for side, words in ((Side.RIGHT, RIGHT), (Side.LEFT, LEFT))
        ] == [(face, eye[0].plain) for face, eye in step.faces]
        for round_ in step.rounds:
            right, left = ({drop.mark.number for drop in eye} for eye in round_.eyes)
            assert right <= {2}
            assert left <= {1, 3}


def test_without_drops_the_poster_names_the_operated_eye_and_nobody_to_give_drops(calendar):
    made = calendar("ordinary", "drop-free")
    assert made.poster.words[0].plain == f"Operated: {LEFT}."
    assert [line[0].plain for line in made.poster.lines] == ["Shanti Example. Surgery: Wednesday, 24 February 2027"]


def test_the_poster_says_that_both_eyes_have_drops(calendar):
    """ "Only in the left eye" above a line for the right eye would take its glaucoma drop away."""
    words = calendar("ordinary", "both-eyes").poster.words[0].plain
    assert LEFT in words
    assert "both eyes" in words
    assert "Only" not in words


@pytest.mark.parametrize("regimen", [None, "go-on", "before-surgery"])
def test_with_drops_for_one_eye_only_the_poster_says_only_and_no_line_names_an_eye(regimen, calendar):
    made = calendar("ordinary", regimen)
    assert made.poster.words[0].plain == f"Only in the {LEFT}"
    assert [block.eye for block in made.blocks(DrugLines) if block.eye] == []
    assert [eye.eye for day in made.day_rows for eye in day.eyes if eye.eye] == []


@pytest.mark.parametrize("side", Side)
def test_drops_for_the_other_eye_alone_are_not_printed_as_drops_for_the_operated_eye(side, make_case, make_clinic):
    only_other = {"title": "own", "items": [item("timolol", (1, 14, 2), eyes="other", ends="long-standing")]}
    case = make_case({"plan.regimen": "own", **{f"{part}.side": side.value for part in ("eye", "plan", "measurement")}})
    document = drop_calendar(assess(case, make_clinic({"regimens": {"own": only_other}})), Voice(("en",), "latin"))
    texts = list(document.texts())
    steps = [block for section in document.sections for block in section.blocks if isinstance(block, PicturedStep)]
    assert steps
    assert all([eye[0].plain for _, eye in step.faces] == [f"{side.other.value.upper()} eye"] for step in steps)
    assert [text for text in texts if text.startswith("Only in")] == [f"Only in the {side.other.value.upper()} eye"]


# Long-standing drops. What could go wrong: a glaucoma drop stopped with the course, and sight lost to pressure.

ALLOWED_TO_STOP = re.compile(r"\b(?:do not|never) stop\b", re.IGNORECASE)


def told_to_stop(texts: list[str]) -> list[str]:
    """Texts that speak of stopping other than to forbid it, or tell not to buy again."""
    return [text for text in texts if re.search(r"\bstop\b|buy it again", ALLOWED_TO_STOP.sub("", text), re.IGNORECASE)]


def test_a_long_standing_drop_says_go_on_and_never_stop(calendar):
    made = calendar("ordinary", "both-eyes")
    for number in (1, 2):
        assert made.when(number) == "From Wed, 17 Feb: go on. Do not stop. Ask us before Sun, 28 Mar"
        assert told_to_stop([made.said_of(number)]) == []
        assert " to " not in made.when(number)
    assert made.when(3) == "Thu, 25 Feb to Wed, 3 Mar"


@pytest.mark.parametrize("regimen", ["go-on", "until-review"])
def test_where_no_bottle_has_a_last_day_no_rule_tells_to_stop(regimen, calendar):
    made = calendar("ordinary", regimen)
    assert told_to_stop(list(made.document.texts())) == []
    bengali = list(drop_calendar(made.assessment, Voice(("bn",), "locale")).texts())
    assert Speaker("bn").say("calendar.rule.last-day").plain not in bengali
    assert (Speaker("bn").say("calendar.rule.go-on").plain in bengali) == (regimen == "go-on")


def test_beside_a_course_that_ends_the_rules_tell_the_two_apart(calendar):
    rules = calendar("ordinary", "both-eyes").rules
    assert english("calendar.rule.last-day") in rules
    assert english("calendar.rule.go-on") in rules
    assert "go on" in english("calendar.rule.go-on")


@pytest.mark.parametrize("regimen", [None, "two-drops", "before-surgery"])
def test_where_every_bottle_has_a_last_day_nothing_goes_on(regimen, calendar):
    """ "Go on" on a steroid would raise the pressure unseen."""
    made = calendar("ordinary", regimen)
    assert english("calendar.rule.last-day") in made.rules
    assert english("calendar.rule.go-on") not in made.rules
    assert [text for text in made.document.texts() if re.search(r"\bgo on\b", text, re.IGNORECASE)] == []


def test_a_drop_until_the_review_says_until_your_visit(calendar):
    """Not "until 10 March": at the visit it may go on."""
    made = calendar("ordinary", "until-review")
    assert made.when(1) == "Thu, 25 Feb to your visit on Wed, 10 Mar"


# Two drops each time. What could go wrong: "12 times a day", or half the dose.


def test_two_drops_each_time_are_printed_and_the_number_is_times_a_day(calendar):
    made = calendar("ordinary", "two-drops")
    assert [(stair.times[0].plain, stair.words[0].plain) for stair in made.line_of(1).stairs] == [
        ("6", "times a day, 2 drops each time"),
        ("3", "times a day, 2 drops each time"),
    ]
    assert made.line_of(2).stairs[0].words[0].plain == "times a day"


def test_two_drops_each_time_are_two_marks_in_one_sitting(calendar):
    """Six times two and four times one on the first day; three times two on the eighth."""
    days = calendar("ordinary", "two-drops").day_rows
    assert [mark.number for mark in sittings_of(days[0])[0]].count(1) == 2
    assert (days[0].total[0].plain, days[7].total[0].plain) == ("16", "6")


def test_one_drop_each_time_is_not_spelt_out(calendar):
    assert [text for text in calendar("ordinary").document.texts() if "each time" in text] == []


# The day of surgery. What could go wrong: drops with no clock time that stand nowhere, so nobody gives them.


def staff_lines(made) -> list[str]:
    return [text for text in made.document.texts() if "our staff" in text]


def test_drops_without_a_clock_time_are_named_with_date_and_bottle(calendar):
    """3 before surgery of bottle 1; of bottle 2 the 2 of that day and 1 before surgery. Surgery is on 24 February."""
    assert staff_lines(calendar("ordinary", "before-surgery")) == [
        "Wed, 24 Feb: our staff put in 3 drops of bottle 1 (LEFT eye).",
        "Wed, 24 Feb: our staff put in 3 drops of bottle 2 (LEFT eye).",
    ]


def test_long_standing_drops_of_the_day_of_surgery_are_named_too(calendar):
    """Of the eye operated on that day; the other eye keeps its times on the strip."""
    made = calendar("ordinary", "both-eyes")
    assert staff_lines(made) == ["Wed, 24 Feb: bottle 1 (LEFT eye), 2 drops in all, each when our staff say."]
    (surgery,) = [day for day in made.day_rows if day.date[0].plain == "Wed, 24 Feb"]
    assert [[mark.number for mark in sitting] for sitting in sittings_of(surgery)] == [[2], [2]]


def test_drops_of_the_evening_of_surgery_have_their_clock_time_and_are_not_given_by_staff_as_well(calendar):
    assert staff_lines(calendar("ordinary", "evening")) == []
    made = calendar("ordinary", "evening-and-before")
    assert staff_lines(made) == ["Wed, 24 Feb: our staff put in 3 drops of bottle 1 (LEFT eye)."]
    assert made.day_rows[0].date[0].plain == "Wed, 24 Feb"


def test_one_drop_is_one_drop(make_case, make_clinic):
    own = {"title": "own", "items": [item("moxifloxacin", (1, 7, 4), drops_before_surgery=1)]}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    texts = list(drop_calendar(assessment, Voice(("en",), "latin")).texts())
    assert "Wed, 24 Feb: our staff put in 1 drop of bottle 1 (LEFT eye)." in texts


@pytest.mark.parametrize("regimen", [None, "until-review", "drop-free"])
def test_nothing_is_given_by_staff_where_nothing_is_planned_for_that_day(regimen, calendar):
    assert staff_lines(calendar("ordinary", regimen)) == []


# "New from". What could go wrong: a helper looks for a change at every page, finds none, and changes something.


def announced(made) -> list[str]:
    return [strip.caption[0].plain for strip in made.strips if strip.caption[0].plain.startswith("New")]


def test_a_new_week_of_one_step_is_not_a_new_step(calendar):
    """Forty days of one pattern are six strips and no change."""
    made = calendar("ordinary", "long")
    assert [len(strip.days) for strip in made.strips] == [7, 7, 7, 7, 7, 5]
    assert announced(made) == []


def test_a_change_is_announced_where_it_is_and_not_a_week_later(calendar):
    """Timolol alone from 17 February; in the right eye alone on the day of surgery, the 24th; moxifloxacin from the
    25th to 3 March; then timolol alone for 25 days."""
    made = calendar("ordinary", "both-eyes")
    assert announced(made) == ["New from Wed, 24 Feb", "New from Thu, 25 Feb", "New from Thu, 4 Mar"]
    # a week before surgery, the day of surgery, a week with moxifloxacin, 25 days in four strips
    assert len(made.strips) == 7


def test_days_before_surgery_stand_apart_and_say_so(calendar):
    """Bromfenac from two days before surgery on 24 February 2027."""
    first = calendar("ordinary", "before-surgery").strips[0]
    assert first.caption[0].plain == "Before surgery: Mon, 22 Feb to Tue, 23 Feb"
    assert [day.date[0].plain for day in first.days] == ["Mon, 22 Feb", "Tue, 23 Feb"]


# Single doses. What could go wrong: a drug on the chart that is in no bag, or one dose kept open for days.


def test_single_doses_stand_in_the_bottle_table(calendar):
    """Four a day for 7 days and two a day for 7 days: 42 single doses; moxifloxacin beside it is one bottle."""
    rows = calendar("ordinary", "unit-doses").bottles.rows
    found = [
        (*(mark.number for mark in row.marks), *(line[0].plain for line in (row.which, row.opened, row.thrown)))
        for row in rows
    ]
    assert found == [
        (1, "42 single doses", "each time", "after each time"),
        (2, "1 of 1", "Thu, 25 Feb", "Wed, 3 Mar"),
    ]


@pytest.mark.parametrize("regimen", [*REGIMENS, None])
def test_every_drug_of_the_wall_page_is_in_the_bottle_table(regimen, calendar):
    made = calendar("ordinary", regimen)
    in_table = {mark.number for row in made.bottles.rows for mark in row.marks}
    assert {row.mark.number for row in made.lines} == in_table


# A step ends where the drops of a sitting change too. What could go wrong: two drops for a week, printed as for good.


def test_one_drop_after_two_is_a_step_of_its_own(make_case, make_clinic):
    """Same times a day, 2 drops each time for a week, then 1: two columns, and the second does not say 2."""
    item_of_two = item("prednisolone-acetate", (1, 7, 4), (8, 7, 4))
    item_of_two["steps"][0]["drops_per_dose"] = 2
    own = {"title": "own", "items": [item_of_two]}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    made = Calendar(assessment, drop_calendar(assessment, Voice(("en",), "latin")))
    assert [step.when[0].plain for step in made.pictured] == ["Thu, 25 Feb to Wed, 3 Mar", "Thu, 4 Mar to Wed, 10 Mar"]
    words = [stair.words[0].plain for stair in made.line_of(1).stairs]
    assert words == ["times a day, 2 drops each time", "times a day"]


def test_a_bottle_shared_by_two_eyes_shows_both_numbers(make_case, make_clinic):
    """The same drug in both eyes from one bottle: the bag must say so, or the second number has no bottle."""
    drops = {"title": "own", "items": [item("timolol", (1, 14, 2), eyes="each", ends="long-standing")]}
    clinic = make_clinic({"regimens": {"own": drops}, "drops.fresh_bottle_per_eye": False})
    document = drop_calendar(assess(make_case({"plan.regimen": "own"}), clinic), Voice(("en",), "latin"))
    (bottles,) = [b for section in document.sections for b in section.blocks if isinstance(b, Bottles)]
    assert {mark.number for row in bottles.rows for mark in row.marks} == {1, 2}


def test_a_step_that_begins_on_the_day_of_surgery_still_has_clock_times(make_case, make_clinic):
    """Staff give the drops of that day; the family gives those of the days after it, at times the chart must show."""
    own = {"title": "own", "items": [item("moxifloxacin", (0, 8, 4))]}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    made = Calendar(assessment, drop_calendar(assessment, Voice(("en",), "latin")))
    assert [len(step.rounds) for step in made.pictured] == [4]
    assert made.pictured[0].when[0].plain == "Thu, 25 Feb to Wed, 3 Mar"


def test_on_the_day_of_surgery_the_pictures_hold_what_has_a_clock_time_and_no_more(make_case, make_clinic):
    """Prednisolone has one drop at 18:00. Timolol of the operated eye is told below; the right eye keeps its own."""
    items = [item("prednisolone-acetate", (1, 7, 4)), item("timolol", (0, 30, 2), eyes="each", ends="long-standing")]
    own = {"title": "own", "start": "evening of surgery", "items": items}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    made = Calendar(assessment, drop_calendar(assessment, Voice(("en",), "latin")))
    days, counts = next(made.steps())
    assert days == [assessment.case.plan.date]
    named = {made.line_of(number).name: times for number, times in counts.items()}
    assert named == {"prednisolone acetate 1%": 1, "timolol 0.5%": 2}
    (timolol,) = [number for number in counts if made.line_of(number).name.startswith("timolol")]
    assert [drop.mark.number for step in made.pictured[:1] for r in step.rounds for drop in r.eyes[0]] == [timolol] * 2
    told = [text for text in made.document.texts() if "when our staff say" in text]
    assert len(told) == 1


# What is not given, waits, or comes again. What could go wrong: a drop lost for good, or given while it should rest.

OWN = {"drug": "timolol", "eyes": "right", "times_a_day": 2}


def made_of(make_case, make_clinic, changes, **clinic) -> Calendar:
    assessment = assess(make_case(changes), make_clinic(clinic))
    return Calendar(assessment, drop_calendar(assessment, Voice(("en",), "latin")))


def told(made) -> list[str]:
    return [block.text[0].plain for block in made.blocks(ToldLine)]


def test_a_paused_drop_says_when_it_begins_again(make_case, make_clinic):
    """Surgery on 24 February 2027; the drop rests until 15 March."""
    pause = {**OWN, "decision": "pause", "pause_until": dt.date(2027, 3, 15)}
    made = made_of(make_case, make_clinic, {"own_drops": [pause]})
    (line,) = [row for row in made.lines if row.name == "timolol 0.5%"]
    assert line.when[0].plain == "From Mon, 15 Mar: go on. Do not stop. Ask us before Wed, 7 Apr"
    assert told(made) == ["Wait: no timolol 0.5% in the RIGHT eye before Mon, 15 Mar. On that day begin again."]
    assert min(day for day, counted in made.by_date().items() if counted[3]) == dt.date(2027, 3, 15)


def test_a_stopped_drop_is_told_and_stands_nowhere_else(make_case, make_clinic):
    made = made_of(make_case, make_clinic, {"own_drops": [{**OWN, "decision": "stop"}]})
    assert told(made) == ["Stop: no more timolol 0.5% in the RIGHT eye."]
    assert [row.name for row in made.lines if row.name.startswith("timolol")] == []


@pytest.mark.parametrize(
    "changes",
    [
        {"own_drops": [{**OWN, "decision": "undecided"}]},
        {"eye.glaucoma_drops": ["timolol 0.5%"]},
        {"health.medicines": ["timolol eye drops"]},
    ],
)
def test_a_drop_nobody_decided_on_is_a_visible_blank(changes, make_case, make_clinic):
    """Entered among the patient's own drops, at the examination, or among the medicines: asked for, never left out."""
    (line,) = told(made_of(make_case, make_clinic, changes))
    assert line.startswith("timolol")
    assert "go on or stop? Ask the doctor before you go home: ____" in line


def test_days_without_drops_inside_a_course_are_told(make_case, make_clinic):
    """Three days at two a day, four days' pause, three more: 25 February to 6 March."""
    steps = item("prednisolone-acetate", (1, 3, 2), (8, 3, 2))
    steps["steps"][1]["pause_before"] = True
    own = {"own": {"title": "own", "items": [steps]}}
    made = made_of(make_case, make_clinic, {"plan.regimen": "own"}, regimens=own)
    notes = [note[0].plain for note in made.line_of(1).notes]
    assert notes == ["Shake first.", "No drops: Sun, 28 Feb to Wed, 3 Mar."]
    assert [strip.caption[0].plain for strip in made.strips] == [
        "Thu, 25 Feb to Sat, 27 Feb",
        "Thu, 4 Mar to Sat, 6 Mar",
    ]


def test_a_dose_at_bedtime_says_so(make_case, make_clinic):
    steps = item("latanoprost", (1, 14, 1), ends="long-standing")
    steps["steps"][0]["at_bedtime"] = True
    made = made_of(
        make_case, make_clinic, {"plan.regimen": "own"}, regimens={"own": {"title": "own", "items": [steps]}}
    )
    (stair,) = made.line_of(1).stairs
    assert (stair.times[0].plain, stair.words[0].plain) == ("1", "at bedtime")
    assert [round_.time[0].plain for round_ in made.pictured[0].rounds] == ["22:00"]


def test_waking_then_bedtime_are_two_steps_of_the_pictures(make_case, make_clinic):
    """Once a day on six days: the picture of the first three must not stand for the last three."""
    steps = item("timolol", (1, 3, 1), (4, 3, 1), ends="long-standing")
    steps["steps"][1]["at_bedtime"] = True
    made = made_of(
        make_case, make_clinic, {"plan.regimen": "own"}, regimens={"own": {"title": "own", "items": [steps]}}
    )
    found = [(step.when[0].plain, step.rounds[0].time[0].plain) for step in made.pictured]
    assert found == [("Thu, 25 Feb to Sat, 27 Feb", "07:00"), ("Sun, 28 Feb to Tue, 2 Mar", "22:00")]


CHANGE = {"on": dt.date(2027, 3, 6), "by": "Dr A", "why": "more cells"}


def test_a_change_makes_a_new_calendar_that_says_so(make_case, make_clinic):
    """From 6 March: days before it stand on the old print, which is thrown away."""
    changes = {"version": 2, "drop_changes": [{**CHANGE, "regimen": "two-hourly-start"}]}
    made = made_of(make_case, make_clinic, changes)
    assert made.poster.lines[-1][0].plain == "New calendar, number 2, from Sat, 6 Mar. Throw the older ones away."
    assert min(made.by_date()) == dt.date(2027, 3, 6)
    assert made.month.weeks[0][6].number[0].plain == "6"


def test_a_new_version_without_a_change_of_drops_says_so_too(make_case, make_clinic):
    made = made_of(make_case, make_clinic, {"version": 2})
    assert made.poster.lines[-1][0].plain == "New calendar, number 2. Throw the older ones away."


def test_a_change_to_no_drops_says_from_when(make_case, make_clinic):
    changes = {"version": 2, "drop_changes": [{**CHANGE, "regimen": "drop-free"}]}
    made = made_of(make_case, make_clinic, changes)
    assert made.blocks(Para)[0].text[0].plain == "From Sat, 6 Mar: no more drops."
    assert told(made) == ["Stop: bottle 2 (LEFT eye). Its last day was Fri, 5 Mar."]
    assert made.strips == made.pictured == made.lines == []


def test_the_cap_seen_is_named_wherever_it_is_drawn(make_case, make_clinic):
    """A grey print shows pink as grey: the word stands beside the bottle, once for each drug."""
    seen = [{"drug": "prednisolone-acetate", "colour": "pink", "on": dt.date(2027, 2, 25)}]
    made = made_of(make_case, make_clinic, {"caps_seen": seen})
    (caps,) = made.blocks(CapWords)
    assert [(cap.drop.mark.number, cap.words[0].plain) for cap in caps.items] == [(2, "pink")]
    assert [row.cap[0].plain for row in made.bottles.rows if row.cap] == ["pink"]


@pytest.mark.parametrize(
    ("giver", "line"), [("self", "You put in the drops yourself."), ("nobody", "Nobody can put in")]
)
def test_who_gives_the_drops_is_who_the_case_says(giver, line, make_case, make_clinic):
    made = made_of(make_case, make_clinic, {"patient.drops_given_by": giver})
    assert made.poster.lines[1][0].plain.startswith(line)
