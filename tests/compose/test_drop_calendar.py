"""The drop calendar: every drop of the plan is one mark on the strip, and none is on it that the plan lacks.

Worked totals are counted by hand from the steps of the regimen; a wrong mark is a wrong dose.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass

import pytest

from consent.compose import Document, Voice, drop_calendar
from consent.compose.document import Para
from consent.compose.drop_calendar import DAYS_ON_A_PAGE, Bottles, DayRow, Strip, WallChart, drop_totals, landmark
from consent.language import Speaker, brief_date
from consent.review import Assessment, assess

SOURCED = {"source": "invented", "verified": "memory"}


def item(drug: str, *steps: tuple[int, int, int], **more) -> dict:
    rows = [{"from_day": day, "days": days, "times_a_day": times} for day, days, times in steps]
    return {"drug": drug, "steps": rows, **SOURCED, **more}


OWN_REGIMENS = {
    "evening": {
        "title": "from the evening of surgery",
        "start": "evening of surgery",
        "items": [item("moxifloxacin", (1, 7, 4)), item("prednisolone-acetate", (1, 7, 6), (8, 7, 2))],
    },
    "with-a-gap": {
        "title": "one drug ends before the other begins",
        "items": [item("moxifloxacin", (1, 3, 4)), item("loteprednol", (6, 10, 2))],
    },
    "with-ointment": {
        "title": "drops and an ointment",
        "items": [item("moxifloxacin", (1, 10, 3)), item("chloramphenicol-ointment", (1, 5, 1))],
    },
    "long": {"title": "one step longer than a page", "items": [item("prednisolone-acetate", (1, 40, 2))]},
}

# example, regimen
PLANS = [
    ("ordinary", "weekly-4-3-2-1"),
    ("ordinary", "weekly-6-5-4-3-2-1"),
    ("hard", "two-hourly-start"),
    ("ordinary", "drop-free"),
    *(("ordinary", name) for name in OWN_REGIMENS),
    *(("hard", name) for name in OWN_REGIMENS),
]
every_plan = pytest.mark.parametrize(("name", "regimen"), PLANS)


@dataclass(frozen=True)
class Calendar:
    assessment: Assessment
    document: Document

    def blocks(self, kind: type) -> list:
        return [block for section in self.document.sections for block in section.blocks if isinstance(block, kind)]

    @property
    def strips(self) -> list[Strip]:
        return self.blocks(Strip)

    @property
    def day_rows(self) -> list[DayRow]:
        return [day for strip in self.strips for day in strip.days]

    def by_date(self) -> dict[dt.date, Counter[int]]:
        """Marks of each date, read off the printed rows: how often each bottle's number stands there."""
        surgery = self.assessment.case.plan.date
        dates = [surgery + dt.timedelta(days=day) for day in range(-30, 200)]
        printed = {brief_date(day, "en", "latin"): day for day in dates}
        assert len(printed) == len(dates)
        found: dict[dt.date, Counter[int]] = {}
        for row in self.day_rows:
            date = printed[row.date[0].plain]
            assert date not in found, "a day stands twice"
            found[date] = Counter(int(mark.text[0].plain) for sitting in row.sittings for mark in sitting)
        return found


@pytest.fixture
def calendar(make_case, make_clinic):
    def compose(name: str, regimen: str | None = None) -> Calendar:
        changes = {} if regimen is None else {"plan.regimen": regimen}
        assessment = assess(make_case(changes, name), make_clinic({"regimens": OWN_REGIMENS}))
        return Calendar(assessment, drop_calendar(assessment, Voice(("en",), "latin")))

    return compose


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
def test_marks_are_the_drops_of_the_plan_day_by_day(name, regimen, calendar):
    made = calendar(name, regimen)
    plan = made.assessment.drops
    expected = {
        day.date: Counter({row.number: count for row, count in zip(plan.rows, day.counts, strict=True) if count})
        for day in plan.days
        if day.total
    }
    assert made.by_date() == expected
    assert drop_totals(made.day_rows) == plan.total


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
        assert sum(len(strip.days) for strip in page.blocks) <= DAYS_ON_A_PAGE


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


@every_plan
def test_the_wall_chart_counts_the_same_drops(name, regimen, calendar):
    made = calendar(name, regimen)
    plan = made.assessment.drops
    charts = made.blocks(WallChart)
    assert len(charts) == (not plan.is_drop_free)
    for chart in charts:
        spans = [span for span in plan.spans if span.total]
        lengths = [(span.last.date - span.first.date).days + 1 for span in spans]
        assert [(first[0].plain, last[0].plain) for first, last in chart.weeks] == [
            (brief_date(span.first.date, "en", "latin"), brief_date(span.last.date, "en", "latin")) for span in spans
        ]
        for row, drawn in zip(plan.rows, chart.rows, strict=True):
            assert drawn.mark.number == row.number
            assert drawn.name == row.drug.name
            assert sum(count * days for (count, _), days in zip(drawn.counts, lengths, strict=True)) == row.total
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
def test_a_number_has_one_shape_and_a_shape_one_number(name, regimen, calendar):
    """Bottles are told apart without colour. Common practice, no source."""
    made = calendar(name, regimen)
    marks = {(mark.number, mark.shape) for day in made.day_rows for sitting in day.sittings for mark in sitting}
    marks |= {(row.mark.number, row.mark.shape) for chart in made.blocks(WallChart) for row in chart.rows}
    assert len({number for number, _ in marks}) == len({shape for _, shape in marks}) == len(marks)


@every_plan
def test_every_bottle_says_when_it_is_opened_and_thrown_away(name, regimen, calendar):
    made = calendar(name, regimen)
    life = made.assessment.clinic.drops.days_after_opening
    for bottles in made.blocks(Bottles):
        supplies = made.assessment.drops.supplies
        openings = [opening for supply in supplies for opening in supply.openings]
        places = [f"{n} of {supply.count}" for supply in supplies for n in range(1, supply.count + 1)]
        assert [which[0].plain for _, which, _, _ in bottles.rows] == places
        assert [(opened[0].plain, thrown[0].plain) for _, _, opened, thrown in bottles.rows] == [
            (
                brief_date(opening.opened, "en", "latin"),
                brief_date(opening.opened + dt.timedelta(days=life - 1), "en", "latin"),
            )
            for opening in openings
        ]


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
