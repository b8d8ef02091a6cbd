"""The drop calendar: every drop of the plan is one mark on the strip, and none is on it that the plan lacks.

Worked totals are counted by hand from the steps of the regimen; a wrong mark is a wrong dose.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from itertools import pairwise

import pytest

from consent.compose import Voice, drop_calendar
from consent.compose.document import Para
from consent.compose.drop_bottles import Bottles
from consent.compose.drop_strips import WEEK
from consent.language import Speaker, brief_date, written_date
from consent.review import assess
from tests.compose.calendars import REGIMENS, sittings_of

# example, regimen
PLANS = [
    ("ordinary", "weekly-4-3-2-1"),
    ("ordinary", "weekly-6-5-4-3-2-1"),
    ("hard", "two-hourly-start"),
    ("ordinary", "drop-free"),
    *(("ordinary", name) for name in REGIMENS),
    *(("hard", name) for name in REGIMENS),
]
every_plan = pytest.mark.parametrize(("name", "regimen"), PLANS)


# By hand: first day, days, marks a day
BY_HAND = {
    # moxifloxacin 4 for 14 days; prednisolone 8, 6, 4, 3, 2, 1 by the week; homatropine 2 and sodium chloride 4 for 7
    "hard": (
        dt.date(2026, 12, 29),
        [(7, 4 + 8 + 2 + 4), (7, 4 + 6), (7, 4), (7, 3), (7, 2), (7, 1)],
        266,
        dt.date(2027, 2, 8),
    ),
    # moxifloxacin 4 for 7 days; prednisolone 4, 3, 2, 1 by the week
    "ordinary": (dt.date(2027, 2, 25), [(7, 4 + 4), (7, 3), (7, 2), (7, 1)], 98, dt.date(2027, 3, 24)),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_marks_counted_by_hand(name, calendar):
    first, spans, total, last = BY_HAND[name]
    expected = {}
    for days, marks in spans:
        for _ in range(days):
            expected[first + dt.timedelta(days=len(expected))] = marks
    found = calendar(name).by_date()
    assert {date: counted.total() for date, counted in found.items()} == expected
    assert sum(counted.total() for counted in found.values()) == total
    assert max(found) == last


@every_plan
def test_every_drop_of_the_plan_is_a_mark_or_given_by_staff(name, regimen, calendar):
    """A drop that stands nowhere is not given; one that stands twice is given twice."""
    made = calendar(name, regimen)
    plan = made.assessment.drops
    expected = {
        day.date: Counter({row.number: count for row, count in zip(plan.rows, day.counts, strict=True) if count})
        for day in plan.days
        if day.total
    }
    marks, staff = made.by_date(), made.given_by_staff()
    told = {date: marks.get(date, Counter()) + staff.get(date, Counter()) for date in sorted({*marks, *staff})}
    assert told == expected
    assert sum(counted.total() for counted in (*marks.values(), *staff.values())) == plan.total


@every_plan
def test_the_total_printed_beside_a_day_is_its_marks(name, regimen, calendar):
    for day in calendar(name, regimen).day_rows:
        assert int(day.total[0].plain) == sum(len(sitting) for sitting in sittings_of(day))


@every_plan
def test_no_day_outside_a_drugs_course_carries_its_number(name, regimen, calendar):
    made = calendar(name, regimen)
    for date, counted in made.by_date().items():
        for number in counted:
            row = made.assessment.drops.row(number)
            assert row.first <= date <= row.last


@every_plan
def test_days_stand_in_order_and_a_strip_holds_a_week(name, regimen, calendar):
    made = calendar(name, regimen)
    dates = list(made.by_date())
    assert dates == sorted(dates)
    assert all(len(strip.days) <= WEEK for strip in made.strips)


@every_plan
def test_each_strip_has_a_sitting_for_each_clock_time(name, regimen, calendar):
    made = calendar(name, regimen)
    sessions = {day.date: day.sessions for day in made.assessment.drops.sessions}
    dates = iter(made.by_date())
    for strip in made.strips:
        clocks = [line[0].plain for _, line in strip.times]
        assert clocks == sorted(clocks)
        for day in strip.days:
            at = [session.at.strftime("%H:%M") for session in sessions[next(dates)]]
            assert at == clocks
            assert all(len(eye.sittings) == len(clocks) for eye in day.eyes)
            assert all(any(eye.sittings[place] for eye in day.eyes) for place in range(len(clocks)))


@every_plan
def test_ointment_comes_last_in_a_sitting(name, regimen, calendar):
    """An ointment keeps a drop after it from the eye. Common practice, no source."""
    made = calendar(name, regimen)
    forms = {row.number: row.drug.form.value for row in made.assessment.drops.rows}
    for day in made.day_rows:
        for sitting in sittings_of(day):
            kinds = [forms[mark.number] == "ointment" for mark in sitting]
            assert kinds == sorted(kinds)


def test_a_new_step_is_announced_on_its_first_day(calendar):
    """The hard eye changes on 5, 12, 19, 26 January and 2 February 2027."""
    captions = [(strip.caption[0].plain, strip.days[0].date[0].plain) for strip in calendar("hard").strips]
    days = [dt.date(2027, 1, 5), dt.date(2027, 1, 12), dt.date(2027, 1, 19), dt.date(2027, 1, 26), dt.date(2027, 2, 2)]
    assert captions[0] == ("Tue, 29 Dec to Mon, 4 Jan", "Tue, 29 Dec")
    named = [brief_date(day, "en", "latin") for day in days]
    assert captions[1:] == [(f"New from {name}", name) for name in named]


# By hand, for each step of the picture page: first day, last day, rounds a day of bottles 1, 2, ...
STEPS_BY_HAND = {
    ("hard", "two-hourly-start"): [
        (dt.date(2026, 12, 29), dt.date(2027, 1, 4), {1: 4, 2: 8, 3: 2, 4: 4}),
        (dt.date(2027, 1, 5), dt.date(2027, 1, 11), {1: 4, 2: 6}),
        (dt.date(2027, 1, 12), dt.date(2027, 1, 18), {2: 4}),
        (dt.date(2027, 1, 19), dt.date(2027, 1, 25), {2: 3}),
        (dt.date(2027, 1, 26), dt.date(2027, 2, 1), {2: 2}),
        (dt.date(2027, 2, 2), dt.date(2027, 2, 8), {2: 1}),
    ],
    ("ordinary", "weekly-4-3-2-1"): [
        (dt.date(2027, 2, 25), dt.date(2027, 3, 3), {1: 4, 2: 4}),
        (dt.date(2027, 3, 4), dt.date(2027, 3, 10), {2: 3}),
        (dt.date(2027, 3, 11), dt.date(2027, 3, 17), {2: 2}),
        (dt.date(2027, 3, 18), dt.date(2027, 3, 24), {2: 1}),
    ],
    # moxifloxacin ends on day 3, loteprednol begins on day 6: nothing for the days between
    ("ordinary", "with-a-gap"): [
        (dt.date(2027, 2, 25), dt.date(2027, 2, 27), {1: 4}),
        (dt.date(2027, 3, 2), dt.date(2027, 3, 11), {2: 2}),
    ],
    # two drops each time are six times a day, not twelve
    ("ordinary", "two-drops"): [
        (dt.date(2027, 2, 25), dt.date(2027, 3, 3), {1: 6, 2: 4}),
        (dt.date(2027, 3, 4), dt.date(2027, 3, 10), {1: 3}),
    ],
    # timolol in either eye from day -7 to day 32, moxifloxacin in the operated eye on days 1 to 7; days before
    # surgery have a strip of their own and no pictures; on the day of surgery the other eye keeps its drops
    ("ordinary", "both-eyes"): [
        (dt.date(2027, 2, 24), dt.date(2027, 2, 24), {2: 2}),
        (dt.date(2027, 2, 25), dt.date(2027, 3, 3), {1: 2, 2: 2, 3: 4}),
        (dt.date(2027, 3, 4), dt.date(2027, 3, 28), {1: 2, 2: 2}),
    ],
}


@pytest.mark.parametrize(("name", "regimen"), STEPS_BY_HAND)
def test_the_steps_of_the_picture_page_counted_by_hand(name, regimen, calendar):
    found = [(days[0], days[-1], counts) for days, counts in calendar(name, regimen).steps()]
    assert found == STEPS_BY_HAND[name, regimen]


@every_plan
def test_the_pictures_show_the_rounds_of_the_strip(name, regimen, calendar):
    """Who goes by the pictures and who crosses off the days give the same drops, from the day of surgery on."""
    made = calendar(name, regimen)
    surgery = made.assessment.case.plan.date
    strip = {day: dict(sorted(counted.items())) for day, counted in made.times_by_date().items() if day >= surgery}
    pictured: dict[dt.date, dict[int, int]] = {}
    for days, counts in made.steps():
        for day in days:
            assert day not in pictured, "a day stands in two steps"
            pictured[day] = counts
    assert pictured == strip
    patterns = [(block.rounds, block.when) for block in made.pictured]
    assert all(before[0] != after[0] for before, after in pairwise(patterns))


@every_plan
def test_the_clock_times_of_the_pictures_are_those_of_the_strip(name, regimen, calendar):
    made = calendar(name, regimen)
    on_strip = {
        made.dates[day.date[0].plain]: [clock[0].plain for _, clock in strip.times]
        for strip in made.strips
        for day in strip.days
    }
    for (days, _), step in zip(made.steps(), made.pictured, strict=True):
        clocks = [round_.time[0].plain for round_ in step.rounds]
        assert [on_strip[day] for day in days if on_strip[day] != clocks] == []


@every_plan
def test_each_line_of_the_wall_page_tells_its_drug(name, regimen, calendar):
    made = calendar(name, regimen)
    rows = {row.number: row for row in made.assessment.drops.current}
    assert sorted(drawn.mark.number for drawn in made.lines) == sorted(rows)
    for drawn in made.lines:
        row = rows[drawn.mark.number]
        assert drawn.name == row.drug.name
        assert brief_date(row.last, "en", "latin") in drawn.when[0].plain
        notes = [note[0].plain for note in drawn.notes]
        assert (Speaker("en").say("calendar.shake").plain in notes) == row.drug.shake
        assert (Speaker("en").say("calendar.ointment-last").plain in notes) == (row.drug.form.value == "ointment")


@every_plan
def test_the_stairs_of_a_drug_are_its_phases(name, regimen, calendar):
    """One stair for each phase, with its first date, its times a day in figures and as many blocks."""
    made = calendar(name, regimen)
    for drawn in made.lines:
        phases = made.assessment.drops.row(drawn.mark.number).phases
        expected = [(written_date(p.first, "en", "latin", "short"), str(p.times_a_day), p.times_a_day) for p in phases]
        assert [(s.first[0].plain, s.times[0].plain, s.svg.count("M2 ")) for s in drawn.stairs] == expected


@every_plan
def test_the_month_shows_every_day_of_the_plan_once_with_its_rounds(name, regimen, calendar):
    """Weeks start on Sunday (CLDR weekData: India); no day before the first of the plan, none after the last."""
    made = calendar(name, regimen)
    if made.assessment.drops.is_drop_free:
        return
    plan = made.assessment.drops
    assert [head[0].plain for head in made.month.heads] == ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"]
    assert all(len(week) == 7 for week in made.month.weeks)
    cells = [cell for week in made.month.weeks for cell in week]
    shown = [place for place, cell in enumerate(cells) if cell]
    first = plan.surgery + dt.timedelta(days=plan.issued_from)
    last = max(plan.days[-1].date, *(visit.date for visit in made.assessment.case.visits))
    assert shown == list(range(shown[0], shown[-1] + 1))
    assert shown[0] == (first.weekday() + 1) % 7
    assert len(shown) == (last - first).days + 1
    rounds = {day.date: len(day.sessions) for day in plan.sessions}
    visits = {visit.date for visit in made.assessment.case.visits}
    opened = {o.opened for supply in plan.supplies for o in supply.openings}
    for offset, cell in enumerate(cells[shown[0] : shown[-1] + 1]):
        day = first + dt.timedelta(days=offset)
        assert cell.number[0].plain == str(day.day)
        assert (cell.rounds[0].plain if cell.rounds else "0 ×") == f"{rounds.get(day, 0)} ×"
        assert bool(cell.visit) == (day in visits)
        assert bool(cell.opens) == (day in opened)
        assert bool(cell.surgery) == (day == plan.surgery)


@every_plan
def test_a_number_has_one_shape_and_a_shape_one_number(name, regimen, calendar):
    """Bottles are told apart without colour. Common practice, no source."""
    made = calendar(name, regimen)
    marks = set() if made.assessment.drops.is_drop_free else {(mark.number, mark.shape) for mark in made.marks}
    assert len({number for number, _ in marks}) == len({shape for _, shape in marks}) == len(marks)


@every_plan
def test_every_bottle_says_when_it_is_opened_and_thrown_away(name, regimen, calendar):
    """Thrown away with its last drop, never beyond the clinic's own days after opening; a single dose each time."""
    made = calendar(name, regimen)
    life = dt.timedelta(days=made.assessment.clinic.drops.days_after_opening - 1)
    for bottles in made.blocks(Bottles):
        expected = []
        for supply in made.assessment.drops.supplies:
            row = made.assessment.drops.row(supply.rows[0])
            for place, opening in enumerate(supply.openings, start=1):
                end = opening.opened + life
                if place < supply.count or row.ends.value not in ("long-standing", "until review"):
                    end = min(end, made.assessment.case.plan.date + dt.timedelta(days=opening.last_day))
                opened, thrown = (brief_date(day, "en", "latin") for day in (opening.opened, end))
                expected.append((supply.rows, f"{place} of {supply.count}", opened, thrown))
            if supply.drug.unit_dose:
                expected.append((supply.rows, f"{supply.count} single doses", "each time", "after each time"))
        found = [
            (tuple(m.number for m in row.marks), *(line[0].plain for line in (row.which, row.opened, row.thrown)))
            for row in bottles.rows
        ]
        assert found == expected


def test_without_drops_the_page_says_so_and_keeps_shield_visits_and_telephone(calendar):
    """Everything was given in theatre; the eye still needs its shield, its visits and somebody to call."""
    made = calendar("ordinary", "drop-free")
    assert made.strips == made.pictured == made.lines == []
    said = [para.text[0].plain for para in made.blocks(Para)]
    assert said[0] == Speaker("en").say("home.drops.none").plain
    assert said[1] == "Shield over the eye at night until 3 March 2027."  # 7 nights from 24 February
    texts = list(made.document.texts())
    assert [brief_date(visit.date, "en", "latin") in texts for visit in made.assessment.case.visits] == [True] * 4
    assert made.document.footer is not None
    phone = made.assessment.clinic.telephone
    for number in (phone.day, phone.night):
        assert number in made.document.footer[0].plain.replace("\u00a0", " ")


@pytest.mark.parametrize("name", ["ordinary", "hard"])
def test_every_page_tells_the_eye_and_the_telephone(name, calendar):
    document = calendar(name).document
    word = Speaker("en").say(f"eye.{calendar(name).assessment.case.eye.side}").plain
    assert word in document.title[0].plain
    assert word in document.header[0].plain
    assert document.footer is not None


def test_nobody_is_named_unless_the_case_names_them(make_case, make_clinic):
    """A helper not yet found is a line to write on, never a guess."""
    changes = {"patient.drops_helper": None}
    document = drop_calendar(assess(make_case(changes), make_clinic()), Voice(("en",), "latin"))
    assert Speaker("en").say("calendar.helper-to-be-named").plain in list(document.texts())
