"""The text message: every dose of the plan in plain words, short, without a name or a diagnosis.

3GPP TS 23.038 section 6.1.2 and TS 23.040 section 9.2.3.24.1 (parts of a message).
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from random import Random
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from consent.case import Case, DropChange, OwnDrop, Visit
from consent.clinic import Clinic, read_clinic
from consent.compose import Voice
from consent.compose.message import drops_message, message_parts
from consent.drops import DropPlan, Row
from consent.errors import DropsError
from consent.review import Assessment, assess
from tests.conftest import shipped_case
from tests.property.random_orders import random_order

ENGLISH = Voice(("en",), "locale")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sept", "Oct", "Nov", "Dec")


def case_with(**changed: Any) -> Case:
    return shipped_case("ordinary").model_copy(update=changed)


def text_of(case: Case, clinic: Clinic, tag: str = "en") -> str:
    return drops_message(assess(case, clinic), Voice((tag,), "locale")).text


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", 1),
        ("a" * 160, 1),
        ("a" * 161, 2),
        ("a" * 306, 2),
        ("a" * 307, 3),
        ("\n" * 160, 1),
        ("à" * 160, 1),
        ("€" * 80, 1),
        ("€" * 80 + "a", 2),
        ("€" * 152, 2),
        ("€" * 153, 3),
        ("ক" * 70, 1),
        ("ক" * 71, 2),
        ("ক" * 134, 2),
        ("ক" * 135, 3),
        ("a" * 70 + "’", 2),
        ("😀" * 35, 1),
        ("😀" * 66, 2),
        ("😀" * 67, 3),
    ],
)
def test_parts(text: str, parts: int) -> None:
    """7 bits: 160, then 153 a part; an extension character takes two and is not split (152 euro signs: 76 + 76).

    UTF-16: 70, then 67 a part; a surrogate pair is not split (66 of them: 33 + 33).
    """
    assert message_parts(text) == parts


def test_alphabet_is_the_one_of_the_standard() -> None:
    """TS 23.038 section 6.2.1: 128 places less the escape; 6.2.1.1: ten characters by escape, at twice the length."""
    characters = [chr(code) for code in range(0x3000)]
    seven_bit = {character for character in characters if message_parts(character * 71) == 1}
    by_escape = {character for character in seven_bit if message_parts(character * 81) == 2}
    assert by_escape == set("€^{}[]~|\\\f")
    assert len(seven_bit - by_escape) == 127
    assert {"@", "Δ", "¤", "¿", "Å", "Ç", "\n", "\r", "_"} <= seven_bit - by_escape
    assert not {"`", "ç", "á", "\t", "’", "–", "\u00a0"} & seven_bit


def test_whole_text_in_english(clinic: Clinic) -> None:
    """The ordinary case: antibiotic a week, steroid 4-3-2-1 from 25 February 2027, four visits."""
    assert text_of(shipped_case("ordinary"), clinic).splitlines() == [
        "Eye drops from Thu, 25 Feb.",
        "25 Feb to 3 Mar:",
        "Bottle 1, LEFT eye: 4 times a day",
        "Bottle 2, LEFT eye: 4 times a day",
        "4 Mar to 10 Mar:",
        "Bottle 2, LEFT eye: 3 times a day",
        "11 Mar to 17 Mar:",
        "Bottle 2, LEFT eye: 2 times a day",
        "18 Mar to 24 Mar:",
        "Bottle 2, LEFT eye: 1 time a day",
        "Wait 5 minutes between two bottles in one eye.",
        "Visits to the clinic: 25 Feb, 3 Mar, 15 Mar, 31 Mar.",
        "Trouble? Phone 00000 11111, at night 00000 22222.",
    ]


@pytest.mark.parametrize("name", ["ordinary", "hard"])
@pytest.mark.parametrize("tag", ["en", "bn"])
def test_no_name_and_no_diagnosis(clinic: Clinic, name: str, tag: str) -> None:
    """Shared telephones: neither name, record number nor illness."""
    case = shipped_case(name)
    text = text_of(case, clinic, tag)
    for word in (case.patient.name, case.patient.record_number, "cataract", "ছানি", "glaucoma", "diabetes"):
        assert word.casefold() not in text.casefold()
    assert clinic.telephone.day in text
    assert clinic.telephone.night in text


def test_bengali_has_no_latin_letter(clinic: Clinic) -> None:
    assert not re.search("[A-Za-z]", text_of(shipped_case("ordinary"), clinic, "bn"))


def test_english_stays_in_the_7_bit_alphabet(clinic: Clinic) -> None:
    """One character outside it would make 160 characters 70."""
    message = drops_message(assess(shipped_case("ordinary"), clinic), ENGLISH)
    assert len(message.text) > 160
    assert message.parts == -(-len(message.text) // 153)


def test_a_change_is_told_and_the_past_is_not(clinic: Clinic) -> None:
    surgery = shipped_case("ordinary").plan.date
    on = surgery + dt.timedelta(days=9)
    change = DropChange(on=on, regimen="nsaid-no-steroid", by="Dr A", why="pressure")
    lines = text_of(case_with(drop_changes=(change,), version=2), clinic).splitlines()
    assert lines[:3] == ["Eye drops from Fri, 5 Mar.", "The earlier message no longer holds.", "5 Mar to 18 Mar:"]
    assert "Bottle 2, LEFT eye: no more after 4 Mar." in lines
    assert "Visits to the clinic: 15 Mar, 31 Mar." in lines
    assert not any(line.startswith("25 Feb") for line in lines)


def test_an_end_told_by_an_earlier_change_is_not_told_again(clinic: Clinic) -> None:
    surgery = shipped_case("ordinary").plan.date
    changes = tuple(
        DropChange(on=surgery + dt.timedelta(days=day), regimen=regimen, by="Dr A", why="why")
        for day, regimen in ((9, "nsaid-no-steroid"), (12, "two-weeks-flat"))
    )
    text = text_of(case_with(drop_changes=changes, version=3), clinic)
    assert "no more after 4 Mar" not in text
    assert "no more after 7 Mar" in text


def test_long_standing_drops(clinic: Clinic) -> None:
    """What goes on, what stops, what pauses until when, and what nobody decided: no drop is dropped silently."""
    surgery = shipped_case("ordinary").plan.date
    own = (
        OwnDrop(drug="timolol", eyes="each", times_a_day=2, decision="continue"),
        OwnDrop(
            drug="latanoprost", eyes="left", times_a_day=1, decision="pause", pause_until=surgery + dt.timedelta(30)
        ),
        OwnDrop(drug="dorzolamide", eyes="right", times_a_day=2, decision="stop"),
        OwnDrop(drug="brimonidine", eyes="right", times_a_day=2, decision="undecided"),
    )
    text = text_of(case_with(own_drops=own), clinic)
    lines = text.splitlines()
    assert sum(", RIGHT eye: do not stop. Ask us before 8 Apr." in line for line in lines) == 1
    assert sum(", LEFT eye: do not stop. Ask us before 8 Apr." in line for line in lines) == 2
    assert any(re.fullmatch(r"Not before 26 Mar: latanoprost .*, LEFT eye\.", line) for line in lines)
    assert any(re.fullmatch(r"Stop: dorzolamide .*, RIGHT eye\.", line) for line in lines)
    assert any(re.fullmatch(r"Ask us whether to go on: brimonidine .*, RIGHT eye\.", line) for line in lines)


def test_a_plan_without_drops(clinic: Clinic) -> None:
    case = shipped_case("ordinary")
    free = case_with(plan=case.plan.model_copy(update={"regimen": "drop-free"}))
    assert text_of(free, clinic).splitlines() == [
        "You have no drops to put in at home.",
        "Visits to the clinic: 25 Feb, 3 Mar, 15 Mar, 31 Mar.",
        "Trouble? Phone 00000 11111, at night 00000 22222.",
    ]


def test_days_without_drops_between_two_equal_steps(clinic: Clinic) -> None:
    """Four times a day on days 1 to 3 and 6 to 8: days 4 and 5 belong to neither step."""
    steps = [
        {"from_day": 1, "days": 3, "times_a_day": 4},
        {"from_day": 6, "days": 3, "times_a_day": 4, "pause_before": True},
    ]
    item = {"drug": "moxifloxacin", "steps": steps, "source": "invented", "verified": "memory"}
    paused = clinic.model_copy(update={"regimens": {"paused": {"title": "paused", "items": [item]}}})
    case = shipped_case("ordinary")
    lines = text_of(case_with(plan=case.plan.model_copy(update={"regimen": "paused"})), paused).splitlines()
    assert lines[1:5] == [
        "25 Feb to 27 Feb:",
        "Bottle 1, LEFT eye: 4 times a day",
        "2 Mar to 4 Mar:",
        "Bottle 1, LEFT eye: 4 times a day",
    ]
    assert lines[5] == "Bottle 1, LEFT eye: no drops from 28 Feb to 1 Mar."


def test_days_without_drops_are_told_from_the_day_of_the_change_on(clinic: Clinic) -> None:
    """The steroid ends on day 9 and comes again on day 14; the print of a change on day 10 tells days 10 to 13."""
    late = [{"from_day": 5, "days": 7, "times_a_day": 2}]
    moxifloxacin = [{"from_day": 1, "days": 7, "times_a_day": 4}]
    items = [
        {"drug": "prednisolone-acetate", "steps": late, "source": "invented", "verified": "memory"},
        {"drug": "moxifloxacin", "steps": moxifloxacin, "source": "invented", "verified": "memory"},
    ]
    back = clinic.model_copy(update={"regimens": {"back-later": {"title": "back later", "items": items}}})
    on = shipped_case("ordinary").plan.date + dt.timedelta(days=10)
    change = DropChange(on=on, regimen="back-later", by="Dr A", why="pressure")
    lines = text_of(case_with(drop_changes=(change,), version=2), back).splitlines()
    assert "Bottle 2, LEFT eye: no drops from 6 Mar to 9 Mar." in lines
    assert sum("no drops" in line for line in lines) == 1, "days 8 and 9 without bottle 1 are over"


def test_a_dose_at_bedtime_says_so(clinic: Clinic) -> None:
    """The message has no clock times, and a prostaglandin is given in the evening."""
    own = (
        OwnDrop(drug="latanoprost", eyes="right", times_a_day=1, at_bedtime=True, decision="continue"),
        OwnDrop(drug="timolol", eyes="right", times_a_day=1, drops_per_dose=2, at_bedtime=True, decision="continue"),
    )
    lines = text_of(case_with(own_drops=own), clinic).splitlines()
    assert lines[4:6] == [
        "Bottle 3, RIGHT eye: once a day, at bedtime",
        "Bottle 4, RIGHT eye: once a day, at bedtime, 2 drops",
    ]


def own_ointment(eyes: str) -> dict[str, Any]:
    return {
        "own_drops": (
            OwnDrop.model_validate(
                {"drug": "chloramphenicol-ointment", "eyes": eyes, "times_a_day": 1, "decision": "continue"}
            ),
        )
    }


def test_an_ointment_comes_in_a_tube_and_waits_longer(clinic: Clinic) -> None:
    """Into the eye that gets drops as well: the plan leaves the clinic's 10 minutes before it, not 5."""
    lines = text_of(case_with(**own_ointment("left")), clinic).splitlines()
    assert "Tube 3, LEFT eye: 1 time a day" in lines
    assert "Tube 3, LEFT eye: do not stop. Ask us before 7 Apr." in lines
    assert not any("Bottle 3" in line for line in lines)
    assert "Wait 5 minutes between two bottles in one eye." in lines
    assert "Before the ointment wait 10 minutes." in lines
    slow = clinic.model_copy(update={"drops": clinic.drops.model_copy(update={"gap_minutes": 12})})
    assert "Before the ointment wait 12 minutes." in text_of(case_with(**own_ointment("left")), slow).splitlines()


def test_nothing_waits_for_the_other_eye(clinic: Clinic) -> None:
    """An ointment alone in its eye waits for no drop."""
    text = text_of(case_with(**own_ointment("right")), clinic)
    assert "Before the ointment" not in text
    assert "between two bottles" in text
    free = case_with(plan=case_with().plan.model_copy(update={"regimen": "drop-free"}), **own_ointment("each"))
    assert "ait" not in text_of(free, clinic)


def test_a_drop_and_an_ointment_are_not_two_bottles(clinic: Clinic) -> None:
    sourced = {"source": "invented", "verified": "memory"}
    items = [
        {"drug": "moxifloxacin", "steps": [{"from_day": 1, "days": 7, "times_a_day": 4}], **sourced},
        {"drug": "chloramphenicol-ointment", "steps": [{"from_day": 1, "days": 7, "times_a_day": 1}], **sourced},
    ]
    with_tube = clinic.model_copy(update={"regimens": {"with-tube": {"title": "with a tube", "items": items}}})
    case = case_with(plan=case_with().plan.model_copy(update={"regimen": "with-tube"}))
    text = text_of(case, with_tube)
    assert "between two bottles" not in text
    assert "Before the ointment wait 10 minutes." in text.splitlines()


def test_a_tube_that_a_change_takes_away(clinic: Clinic) -> None:
    """Given for a while, or not begun by the day of the change."""
    sourced = {"source": "invented", "verified": "memory"}
    for first, told in ((1, "no more after 2 Mar."), (10, "do not begin it.")):
        steps = [{"from_day": first, "days": 10, "times_a_day": 1}]
        item = {"drug": "chloramphenicol-ointment", "steps": steps, **sourced}
        with_tube = clinic.model_copy(update={"regimens": {"tube": {"title": "a tube", "items": [item]}}})
        plan = case_with().plan.model_copy(update={"regimen": "tube"})
        change = DropChange(on=plan.date + dt.timedelta(days=7), regimen="two-weeks-flat", by="Dr A", why="why")
        text = text_of(case_with(plan=plan, drop_changes=(change,), version=2), with_tube)
        assert f"Tube 1, LEFT eye: {told}" in text.splitlines()


def test_a_new_version_without_a_change_takes_the_earlier_message_back(clinic: Clinic) -> None:
    """A decision corrected before surgery: two messages with other drops would stand on one telephone."""
    holds = "The earlier message no longer holds."
    assert holds not in text_of(case_with(), clinic)
    assert text_of(case_with(version=2), clinic).splitlines()[1] == holds


def test_a_change_to_no_drops_takes_the_earlier_message_back(clinic: Clinic) -> None:
    on = shipped_case("ordinary").plan.date + dt.timedelta(days=9)
    change = DropChange(on=on, regimen="drop-free", by="Dr A", why="allergy")
    lines = text_of(case_with(drop_changes=(change,), version=2), clinic).splitlines()
    assert lines[:2] == ["You have no drops to put in at home.", "The earlier message no longer holds."]
    assert "Bottle 2, LEFT eye: no more after 4 Mar." in lines


def test_a_pause_that_is_over_is_not_told_any_more(clinic: Clinic) -> None:
    surgery = shipped_case("ordinary").plan.date
    until = surgery + dt.timedelta(days=9)
    own = (OwnDrop(drug="latanoprost", eyes="left", times_a_day=1, decision="pause", pause_until=until),)
    for day, is_told in ((8, True), (9, False), (12, False)):
        change = DropChange(on=surgery + dt.timedelta(days=day), regimen="two-weeks-flat", by="Dr A", why="why")
        text = text_of(case_with(own_drops=own, drop_changes=(change,), version=2), clinic)
        assert ("Not before 5 Mar: latanoprost" in text) == is_told
        assert "LEFT eye: do not stop." in text


def test_a_glaucoma_drop_nobody_decided_about_is_asked_for(clinic: Clinic) -> None:
    """Named at the examination, but neither ordered nor among the long-standing drops: silence would end it."""
    eye = case_with().eye.model_copy(update={"glaucoma_drops": ("latanoprost at night",)})
    assert "Ask us whether to go on: latanoprost at night." in text_of(case_with(eye=eye), clinic).splitlines()
    own = (OwnDrop(drug="latanoprost", eyes="left", times_a_day=1, decision="continue"),)
    assert "Ask us whether to go on" not in text_of(case_with(eye=eye, own_drops=own), clinic)


def test_one_visit(clinic: Clinic) -> None:
    visit = Visit(kind="day 1", date=dt.date(2027, 2, 25))
    assert "Visit to the clinic: 25 Feb." in text_of(case_with(visits=(visit,)), clinic)


Dose = tuple[dt.date, int, str, int, int, bool]
"""Date, bottle, eye, times, drops each time, and whether it is given at bedtime."""


def doses_read(text: str, first: dt.date) -> Counter[Dose]:
    """The doses of every day, read back from the words; years follow from the order."""
    found: Counter[Dose] = Counter()
    days: list[dt.date] = []
    for line in text.splitlines():
        if head := re.fullmatch(r"(\d+) (\w+)(?: to (\d+) (\w+))?:", line):
            begin = dated(head[1], head[2], days[-1] if days else first)
            end = dated(head[3], head[4], begin) if head[3] else begin
            days = [begin + dt.timedelta(day) for day in range((end - begin).days + 1)]
        elif dose := re.fullmatch(
            r"(?:Bottle|Tube) (\d+), (RIGHT|LEFT) eye: (?:(\d+) times? a day|once a day, (at bedtime))"
            r"(?:, (\d+) drops(?: each time)?)?",
            line,
        ):
            for day in days:
                times, drops = int(dose[3] or 1), int(dose[5] or 1)
                found[day, int(dose[1]), dose[2].lower(), times, drops, bool(dose[4])] += 1
    return found


def dated(day: str, month: str, not_before: dt.date) -> dt.date:
    dates = (date(not_before.year + years, MONTHS.index(month) + 1, int(day)) for years in range(5))
    return next(date for date in dates if date and date >= not_before)


def date(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def doses_of(plan: DropPlan) -> Iterator[Dose]:
    """The same straight from the sittings of the plan."""
    for day in plan.sessions:
        if day.date < plan.issued_on:
            continue
        given = Counter(number for session in day.sessions for number, _ in session.drops)
        for number, drops in given.items():
            row, times = plan.row(number), len(day.times_of(number))
            at_bedtime = any(phase.at_bedtime for phase in row.phases if phase.first <= day.date <= phase.last)
            yield day.date, number, row.side.value, times, drops // times, at_bedtime


@cache
def some_assessment() -> Assessment:
    return assess(shipped_case("ordinary"), read_clinic())


@settings(max_examples=60, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(st.integers(0, 10**9).map(Random))
def test_words_hold_every_dose(draw: Random) -> None:
    """Read back from the English words alone: the doses of every day from the first one this print is about."""
    try:
        plan = random_order(draw).plan()
    except DropsError:
        return
    text = drops_message(replace(some_assessment(), drops=plan), ENGLISH).text
    assert doses_read(text, plan.issued_on) == Counter(doses_of(plan))
    in_tubes = {int(number) for number in re.findall(r"Tube (\d+)", text)}
    assert not in_tubes & {int(number) for number in re.findall(r"Bottle (\d+)", text)}
    assert all(row.drug.form == "ointment" for row in plan.rows if row.number in in_tubes)


@settings(max_examples=60, deadline=None, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(st.integers(0, 10**9).map(Random))
def test_days_without_a_drop_inside_a_course_are_told(draw: Random) -> None:
    """Day by day: between two days on which a bottle is given, a day without it is told by date, and no other day."""
    try:
        plan = random_order(draw).plan()
    except DropsError:
        return
    text = drops_message(replace(some_assessment(), drops=plan), ENGLISH).text
    told: Counter[tuple[dt.date, int]] = Counter()
    line = re.compile(r"(\d+), \w+ eye: (?:no drops|nothing) (?:from|on) (\d+) (\w+)(?: to (\d+) (\w+))?\.")
    for number, day, month, last_day, last_month in line.findall(text):
        begin = dated(day, month, plan.issued_on)
        end = dated(last_day, last_month, begin) if last_day else begin
        told.update((begin + dt.timedelta(days=days), int(number)) for days in range((end - begin).days + 1))
    silent: Counter[tuple[dt.date, int]] = Counter()
    for row in plan.rows:
        given = {first + dt.timedelta(days) for first, count in spans_of(row) for days in range(count)}
        dates = (min(given) + dt.timedelta(days) for days in range((max(given) - min(given)).days)) if given else ()
        silent.update((date, row.number) for date in dates if date >= plan.issued_on and date not in given)
    assert told == silent


def spans_of(row: Row) -> Iterator[tuple[dt.date, int]]:
    return ((phase.first, phase.days) for phase in row.phases)
