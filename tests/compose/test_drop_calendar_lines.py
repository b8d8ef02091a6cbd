"""What each line of the drop calendar must say so that nobody drops into the wrong eye, too often, or stops too soon.

The regimens are invented and stand in calendars.py; dates and numbers are counted by hand. Why each line is there:
common practice, no source.
"""

from __future__ import annotations

import re

import pytest

from consent.case import Side
from consent.compose import Voice, drop_calendar
from consent.compose.drop_calendar import Bottles, WallChart
from consent.language import Speaker
from consent.print import to_html
from consent.resources import templates
from consent.review import assess
from tests.compose.calendars import REGIMENS, item

LEFT, RIGHT = "LEFT eye", "RIGHT eye"


def english(message: str) -> str:
    return Speaker("en").say(message).plain


# Drops for the other eye. What could go wrong: a glaucoma drop in the eye just operated, and none in the eye it is for.


def test_every_line_names_its_eye_where_both_eyes_have_drops(calendar):
    """The ordinary eye is the left one: bottles 1 and 3 are for it, bottle 2 for the right."""
    made = calendar("ordinary", "both-eyes")
    named = {row.mark.number: row.eye[0].plain for row in made.chart.rows if row.eye}
    assert named == {1: LEFT, 2: RIGHT, 3: LEFT}


def test_marks_for_the_other_eye_are_told_apart_wherever_they_stand(calendar):
    made = calendar("ordinary", "both-eyes")
    assert {(mark.number, mark.other_eye) for mark in made.marks} == {(1, False), (2, True), (3, False)}
    on_strip = {mark.number for day in made.day_rows for sitting in day.sittings for mark in sitting if mark.other_eye}
    assert on_strip == {2}


def test_marks_for_the_other_eye_are_printed_white_on_black(calendar):
    """Told apart without colour, on a black and white printer too."""
    html = to_html(calendar("ordinary", "both-eyes").document)
    printed = re.findall(r'<span class="mark s\d( other)?">(\d+)</span>', html)
    assert {(number, bool(other)) for other, number in printed} == {("1", False), ("2", True), ("3", False)}
    style = (templates() / "styles" / "sheet.css").read_text(encoding="utf-8")
    (rule,) = re.findall(r"^\.mark\.other \{([^}]*)\}", style, flags=re.MULTILINE)
    declared = dict(part.split(":") for part in rule.replace(" ", "").split(";") if part)
    assert declared["color"] == "#fff"
    assert declared["background"] == "#111"


def test_the_poster_says_that_some_drops_are_for_the_other_eye(calendar):
    """ "Only in the left eye" above a line for the right eye would take its glaucoma drop away."""
    words = calendar("ordinary", "both-eyes").poster.words[0].plain
    assert LEFT in words
    assert "other eye" in words
    assert "Only" not in words


@pytest.mark.parametrize("regimen", [None, "go-on", "before-surgery", "drop-free"])
def test_with_drops_for_one_eye_only_the_poster_says_only_and_no_line_names_an_eye(regimen, calendar):
    made = calendar("ordinary", regimen)
    assert made.poster.words[0].plain == f"Only in the {LEFT}"
    if regimen != "drop-free":
        assert [row.eye for row in made.chart.rows if row.eye] == []
        assert [mark for mark in made.marks if mark.other_eye] == []


@pytest.mark.parametrize("side", Side)
def test_drops_for_the_other_eye_alone_are_not_printed_as_drops_for_the_operated_eye(side, make_case, make_clinic):
    only_other = {"title": "own", "items": [item("timolol", (1, 14, 2), eyes="other", ends="long-standing")]}
    case = make_case({"plan.regimen": "own", **{f"{part}.side": side.value for part in ("eye", "plan", "measurement")}})
    document = drop_calendar(assess(case, make_clinic({"regimens": {"own": only_other}})), Voice(("en",), "latin"))
    texts = list(document.texts())
    assert f"{side.other.value.upper()} eye" in texts
    assert [text for text in texts if text.startswith("Only in")] == []


# Long-standing drops. What could go wrong: a glaucoma drop stopped with the course, and sight lost to pressure.

ALLOWED_TO_STOP = re.compile(r"\b(?:do not|never) stop\b", re.IGNORECASE)


def told_to_stop(texts: list[str]) -> list[str]:
    """Texts that speak of stopping other than to forbid it, or tell not to buy again."""
    return [text for text in texts if re.search(r"\bstop\b|buy it again", ALLOWED_TO_STOP.sub("", text), re.IGNORECASE)]


def test_a_long_standing_drop_says_go_on_and_never_stop(calendar):
    made = calendar("ordinary", "both-eyes")
    for number in (1, 2):
        assert made.notes_of(number) == ["Go on. Do not stop. Ask us before Sun, 28 Mar"]
        assert told_to_stop([made.said_of(number)]) == []
        assert "Until" not in made.said_of(number)
    assert made.notes_of(3) == ["Until Wed, 3 Mar"]


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
    assert made.notes_of(1) == ["Until your visit on Wed, 10 Mar"]


# Two drops each time. What could go wrong: "12 times a day", or half the dose.


def test_two_drops_each_time_are_printed_and_the_number_is_times_a_day(calendar):
    made = calendar("ordinary", "two-drops")
    assert [(count, words[0].plain) for count, words in made.line_of(1).counts] == [
        (6, "times a day, 2 drops each time"),
        (3, "times a day, 2 drops each time"),
    ]
    assert made.line_of(2).counts[0][1][0].plain == "times a day"


def test_two_drops_each_time_are_two_marks_in_one_sitting(calendar):
    """Six times two and four times one on the first day; three times two on the eighth."""
    days = calendar("ordinary", "two-drops").day_rows
    assert [mark.number for mark in days[0].sittings[0]].count(1) == 2
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
    assert staff_lines(calendar("ordinary", "both-eyes")) == [
        "Wed, 24 Feb: 2 drops of bottle 1 (LEFT eye); our staff say when.",
        "Wed, 24 Feb: 2 drops of bottle 2 (RIGHT eye); our staff say when.",
    ]


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
    return [strip.change[0].plain for strip in made.strips if strip.change]


def test_a_page_break_inside_one_step_is_not_a_new_step(calendar):
    """Forty days of one pattern are three pages and no change."""
    made = calendar("ordinary", "long")
    assert [len(strip.days) for strip in made.strips] == [14, 14, 12]
    assert announced(made) == []


def test_a_change_is_announced_where_it_is_and_not_at_the_page_after_it(calendar):
    """Timolol alone from 17 February; moxifloxacin from the 25th to 3 March; then timolol alone for 25 days."""
    made = calendar("ordinary", "both-eyes")
    assert announced(made) == ["New from Thu, 25 Feb", "New from Thu, 4 Mar"]
    assert len(made.strips) > 3


def test_a_change_on_the_first_day_of_a_page_is_announced(calendar):
    """Moxifloxacin four times for 14 days, prednisolone 8, 6, 4: day 15 is the first of the second page."""
    made = calendar("hard")
    second = next(section for section in made.document.sections if section.id == "days-2")
    assert second.blocks[0].change[0].plain == "New from Tue, 12 Jan"


# Single doses. What could go wrong: a drug on the chart that is in no bag, or one dose kept open for days.


def test_single_doses_stand_in_the_bottle_table(calendar):
    """Four a day for 7 days and two a day for 7 days: 42 single doses; moxifloxacin beside it is one bottle."""
    rows = calendar("ordinary", "unit-doses").bottles.rows
    found = [(*(mark.number for mark in marks), *(line[0].plain for line in lines)) for marks, *lines in rows]
    assert found == [
        (1, "42 single doses", "each time", "after each time"),
        (2, "1 of 1", "Thu, 25 Feb", "Wed, 24 Mar"),
    ]


@pytest.mark.parametrize("regimen", [*REGIMENS, None])
def test_every_drug_of_the_chart_is_in_the_bottle_table(regimen, calendar):
    made = calendar("ordinary", regimen)
    assert {row.mark.number for row in made.chart.rows} == {
        mark.number for marks, *_ in made.bottles.rows for mark in marks
    }


# A step ends where the drops of a sitting change too. What could go wrong: two drops for a week, printed as for good.


def test_one_drop_after_two_is_a_step_of_its_own(make_case, make_clinic):
    """Same times a day, 2 drops each time for a week, then 1: two columns, and the second does not say 2."""
    item_of_two = item("prednisolone-acetate", (1, 7, 4), (8, 7, 4))
    item_of_two["steps"][0]["drops_per_dose"] = 2
    own = {"title": "own", "items": [item_of_two]}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    (chart,) = [
        block
        for section in drop_calendar(assessment, Voice(("en",), "latin")).sections
        for block in section.blocks
        if isinstance(block, WallChart)
    ]
    assert [(first[0].plain, last[0].plain) for first, last in chart.steps] == [
        ("Thu, 25 Feb", "Wed, 3 Mar"),
        ("Thu, 4 Mar", "Wed, 10 Mar"),
    ]
    assert [words[0].plain for _, words in chart.rows[0].counts] == ["times a day, 2 drops each time", "times a day"]


def test_a_bottle_shared_by_two_eyes_shows_both_numbers(make_case, make_clinic):
    """The same drug in both eyes from one bottle: the bag must say so, or the second number has no bottle."""
    drops = {"title": "own", "items": [item("timolol", (1, 14, 2), eyes="each", ends="long-standing")]}
    clinic = make_clinic({"regimens": {"own": drops}, "drops.fresh_bottle_per_eye": False})
    document = drop_calendar(assess(make_case({"plan.regimen": "own"}), clinic), Voice(("en",), "latin"))
    (bottles,) = [b for section in document.sections for b in section.blocks if isinstance(b, Bottles)]
    assert {mark.number for marks, *_ in bottles.rows for mark in marks} == {1, 2}


def test_the_key_for_white_on_black_stands_wherever_such_a_number_stands(calendar):
    key = english("calendar.key-other-eye")
    both = calendar("ordinary", "both-eyes")
    assert key in both.rules
    pages = [section for section in both.document.sections if section.id.startswith("days-")]
    assert pages
    assert all(key in [line[0].plain for block in page.blocks[:1] for line in [block.text]] for page in pages)
    assert key not in list(calendar("ordinary").document.texts())


def test_a_step_that_begins_on_the_day_of_surgery_still_has_clock_times(make_case, make_clinic):
    """Staff give the drops of that day; the family gives those of the days after it, at times the chart must show."""
    own = {"title": "own", "items": [item("moxifloxacin", (0, 8, 4))]}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    (chart,) = [
        block
        for section in drop_calendar(assessment, Voice(("en",), "latin")).sections
        for block in section.blocks
        if isinstance(block, WallChart)
    ]
    assert [len(times) for times in chart.times] == [4]


def test_on_the_day_of_surgery_the_chart_holds_what_has_a_clock_time_and_no_more(make_case, make_clinic):
    """Prednisolone has one drop at 18:00. Timolol of that day is told below, not as "2 times" at 18:00."""
    items = [item("prednisolone-acetate", (1, 7, 4)), item("timolol", (0, 30, 2), eyes="each", ends="long-standing")]
    own = {"title": "own", "start": "evening of surgery", "items": items}
    assessment = assess(make_case({"plan.regimen": "own"}), make_clinic({"regimens": {"own": own}}))
    document = drop_calendar(assessment, Voice(("en",), "latin"))
    (chart,) = [block for section in document.sections for block in section.blocks if isinstance(block, WallChart)]
    first = [row.counts[0][0] for row in chart.rows]
    assert len(chart.times[0]) == max(first)
    assert [count for row, count in zip(chart.rows, first, strict=True) if row.name.startswith("timolol")] == [0, 0]
    told = [text for text in document.texts() if "our staff say when" in text]
    assert len(told) == 2
