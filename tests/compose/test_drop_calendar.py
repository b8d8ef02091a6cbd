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
from consent.compose.drop_calendar import DAYS_ON_A_PAGE, Bottles, Strip, WallChart, drop_totals, landmark
from consent.language import Speaker, brief_date
from consent.review import assess
from tests.compose.calendars import REGIMENS

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
    assert drop_totals(made.day_rows) + sum(counted.total() for counted in staff.values()) == plan.total


@every_plan
def test_the_total_printed_beside_a_day_is_its_marks(name, regimen, calendar):
    for day in calendar(name, regimen).day_rows:
        assert int(day.total[0].plain) == sum(len(sitting) for sitting in day.sittings)


@every_plan
def test_no_day_outside_a_drugs_course_carries_its_number(name, regimen, calendar):
    made = calendar(name, regimen)
    for date, counted in made.by_date().items():
        for number in counted:
            row = made.assessment.drops.row(number)
            assert row.first <= date <= row.last


@every_plan
def test_days_stand_in_order_and_pages_hold_a_fortnight(name, regimen, calendar):
    made = calendar(name, regimen)
    dates = list(made.by_date())
    assert dates == sorted(dates)
    pages = [section for section in made.document.sections if section.id.startswith("days-")]
    for page in pages:
        assert sum(len(block.days) for block in page.blocks if isinstance(block, Strip)) <= DAYS_ON_A_PAGE


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
            assert len(day.sittings) == len(clocks)
            assert all(day.sittings)


@every_plan
def test_ointment_comes_last_in_a_sitting(name, regimen, calendar):
    """An ointment keeps a drop after it from the eye. Common practice, no source."""
    made = calendar(name, regimen)
    forms = {row.number: row.drug.form.value for row in made.assessment.drops.rows}
    for day in made.day_rows:
        for sitting in day.sittings:
            kinds = [forms[mark.number] == "ointment" for mark in sitting]
            assert kinds == sorted(kinds)


def test_a_new_step_is_announced_on_its_first_day(calendar):
    """The hard eye changes on 5, 12, 19, 26 January and 2 February 2027."""
    changes = [(strip.change, strip.days[0].date[0].plain) for strip in calendar("hard").strips]
    assert changes[0][0] is None
    said = [(line[0].plain, first) for line, first in changes[1:] if line is not None]
    days = [dt.date(2027, 1, 5), dt.date(2027, 1, 12), dt.date(2027, 1, 19), dt.date(2027, 1, 26), dt.date(2027, 2, 2)]
    assert [first for _, first in said] == [brief_date(day, "en", "latin") for day in days]
    assert all(first in text for text, first in said)


# By hand, for each column of the chart: first day, last day, times a day of bottles 1, 2, ...
COLUMNS_BY_HAND = {
    ("hard", "two-hourly-start"): [
        (dt.date(2026, 12, 29), dt.date(2027, 1, 4), (4, 8, 2, 4)),
        (dt.date(2027, 1, 5), dt.date(2027, 1, 11), (4, 6, 0, 0)),
        (dt.date(2027, 1, 12), dt.date(2027, 1, 18), (0, 4, 0, 0)),
        (dt.date(2027, 1, 19), dt.date(2027, 1, 25), (0, 3, 0, 0)),
        (dt.date(2027, 1, 26), dt.date(2027, 2, 1), (0, 2, 0, 0)),
        (dt.date(2027, 2, 2), dt.date(2027, 2, 8), (0, 1, 0, 0)),
    ],
    ("ordinary", "weekly-4-3-2-1"): [
        (dt.date(2027, 2, 25), dt.date(2027, 3, 3), (4, 4)),
        (dt.date(2027, 3, 4), dt.date(2027, 3, 10), (0, 3)),
        (dt.date(2027, 3, 11), dt.date(2027, 3, 17), (0, 2)),
        (dt.date(2027, 3, 18), dt.date(2027, 3, 24), (0, 1)),
    ],
    # moxifloxacin ends on day 3, loteprednol begins on day 6: no column for the days between
    ("ordinary", "with-a-gap"): [
        (dt.date(2027, 2, 25), dt.date(2027, 2, 27), (4, 0)),
        (dt.date(2027, 3, 2), dt.date(2027, 3, 11), (0, 2)),
    ],
    # two drops each time are six times a day, not twelve
    ("ordinary", "two-drops"): [
        (dt.date(2027, 2, 25), dt.date(2027, 3, 3), (6, 4)),
        (dt.date(2027, 3, 4), dt.date(2027, 3, 10), (3, 0)),
    ],
    # timolol in either eye from day -7 to day 32, moxifloxacin in the operated eye on days 1 to 7; the day of surgery
    # has no clock times and stands in a line of its own
    ("ordinary", "both-eyes"): [
        (dt.date(2027, 2, 17), dt.date(2027, 2, 23), (2, 2, 0)),
        (dt.date(2027, 2, 25), dt.date(2027, 3, 3), (2, 2, 4)),
        (dt.date(2027, 3, 4), dt.date(2027, 3, 28), (2, 2, 0)),
    ],
}


@pytest.mark.parametrize(("name", "regimen"), COLUMNS_BY_HAND)
def test_the_columns_of_the_wall_chart_counted_by_hand(name, regimen, calendar):
    found = [(days[0], days[-1], tuple(counts.values())) for days, counts in calendar(name, regimen).steps()]
    assert found == COLUMNS_BY_HAND[name, regimen]


@every_plan
def test_the_number_on_the_wall_chart_is_times_a_day_as_on_the_strip(name, regimen, calendar):
    """Who reads the chart and who crosses off the strip give the same drops; the day of surgery may be our staff's."""
    made = calendar(name, regimen)
    plan = made.assessment.drops
    assert len(made.blocks(WallChart)) == (not plan.is_drop_free)
    if plan.is_drop_free:
        return
    strip, surgery = made.times_by_date(), made.assessment.case.plan.date
    on_chart: dict[dt.date, dict[int, int]] = {}
    for days, counts in made.steps():
        for day in days:
            assert day not in on_chart, "a day stands in two columns"
            on_chart[day] = counts
    assert list(on_chart) == sorted(on_chart)
    assert set(strip) <= set(on_chart) <= {*strip, surgery}
    for day, counted in strip.items():
        assert {number: times for number, times in on_chart[day].items() if times} == counted
    columns = [counts for _, counts in made.steps()]
    assert all(before != after for before, after in pairwise(columns))


@every_plan
def test_each_line_of_the_wall_chart_tells_its_drug(name, regimen, calendar):
    made = calendar(name, regimen)
    for chart in made.blocks(WallChart):
        for row, drawn in zip(made.assessment.drops.rows, chart.rows, strict=True):
            assert drawn.mark.number == row.number
            assert drawn.name == row.drug.name
            notes = " ".join(note[0].plain for note in drawn.notes)
            assert brief_date(row.last, "en", "latin") in notes
            assert (Speaker("en").say("calendar.shake").plain in notes) == row.drug.shake
            ointment = row.drug.form.value == "ointment"
            assert (Speaker("en").say("calendar.ointment-last").plain in notes) == ointment


@every_plan
def test_as_many_clock_times_as_the_busiest_drug_has(name, regimen, calendar):
    """With "fewest sessions" all drugs go with the one given most often."""
    for chart in calendar(name, regimen).blocks(WallChart):
        for place, times in enumerate(chart.times):
            assert len(times) == max(row.counts[place][0] for row in chart.rows)


@every_plan
def test_the_clock_times_of_a_column_are_those_of_its_days_on_the_strip(name, regimen, calendar):
    made = calendar(name, regimen)
    if made.assessment.drops.is_drop_free:
        return
    on_strip = {
        made.dates[day.date[0].plain]: [clock[0].plain for _, clock in strip.times]
        for strip in made.strips
        for day in strip.days
    }
    for (days, _), times in zip(made.steps(), made.chart.times, strict=True):
        clocks = [clock[0].plain for clock in times]
        assert [on_strip[day] for day in days if day in on_strip and on_strip[day] != clocks] == []


@every_plan
def test_a_number_has_one_shape_and_a_shape_one_number(name, regimen, calendar):
    """Bottles are told apart without colour. Common practice, no source."""
    made = calendar(name, regimen)
    marks = {(mark.number, mark.shape) for day in made.day_rows for sitting in day.sittings for mark in sitting}
    marks |= {(row.mark.number, row.mark.shape) for chart in made.blocks(WallChart) for row in chart.rows}
    assert len({number for number, _ in marks}) == len({shape for _, shape in marks}) == len(marks)


@every_plan
def test_every_bottle_says_when_it_is_opened_and_thrown_away(name, regimen, calendar):
    """Days after opening are the clinic's own; a single dose is opened and thrown away each time."""
    made = calendar(name, regimen)
    life = dt.timedelta(days=made.assessment.clinic.drops.days_after_opening - 1)
    for bottles in made.blocks(Bottles):
        expected = []
        for supply in made.assessment.drops.supplies:
            for place, opening in enumerate(supply.openings, start=1):
                opened, thrown = (brief_date(day, "en", "latin") for day in (opening.opened, opening.opened + life))
                expected.append((supply.rows, f"{place} of {supply.count}", opened, thrown))
            if supply.drug.unit_dose:
                expected.append((supply.rows, f"{supply.count} single doses", "each time", "after each time"))
        found = [
            (tuple(mark.number for mark in marks), *(line[0].plain for line in lines)) for marks, *lines in bottles.rows
        ]
        assert found == expected


def test_without_drops_the_page_says_so_and_keeps_the_telephone(calendar):
    made = calendar("ordinary", "drop-free")
    assert made.strips == []
    assert made.blocks(WallChart) == []
    (para,) = made.blocks(Para)
    assert para.text[0].plain == Speaker("en").say("home.drops.none").plain
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


@pytest.mark.parametrize(
    ("clock", "picture"),
    [
        ("05:30", "sunrise"),
        ("09:59", "sunrise"),
        ("10:00", "sun"),
        ("12:00", "sun"),
        ("14:59", "sun"),
        ("15:00", "sunset"),
        ("19:59", "sunset"),
        ("20:00", "bed"),
        ("22:00", "bed"),
        ("23:59", "bed"),
    ],
)
def test_landmarks_of_the_day(clock, picture):
    """Morning, midday, evening and bedtime for who does not read a clock. Common practice, no source."""
    assert landmark(dt.time.fromisoformat(clock)) == picture
