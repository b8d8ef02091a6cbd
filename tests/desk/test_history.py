"""Everything that was entered, as it is read: no key, no digest, no stamp of a machine; nothing left out."""

from __future__ import annotations

import datetime as dt
import re
from html import unescape

from tests.desk.house import House
from tests.record.clock import TestClock
from tests.record.story import IST, Story


def _text(house: House, tag: str = "en", name: str = "ordinary", who: str = "asha") -> str:
    browser = house.browser(who)
    browser.cookies["consent-language"] = tag
    answer = browser.get(f"/case/{house.subjects[name]}/history")
    assert answer.status_code == 200
    found = re.search(r'<ol class="entry-lines history">.*</ol>', answer.text, re.S)
    assert found is not None
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", found[0])).split())


def _blocks(house: House, name: str = "ordinary") -> list[str]:
    browser = house.nobody().log_in("asha")
    browser.cookies["consent-language"] = "en"
    text = browser.get(f"/case/{house.subjects[name]}/history").text
    return re.findall(r'<li><span class="small">(.*?)</li>', text, re.S)


def _talked(house: House) -> Story:
    story = house.story()
    story.explain(dt.datetime(2027, 2, 24, 9, 40, tzinfo=IST))
    story.answer_all()
    return story


def test_days_times_and_languages_are_told_as_people_say_them(day: House) -> None:
    _talked(day)
    english = _text(day)
    assert "When the talk was held: Wednesday, 24 February 2027, 09:40" in english
    assert "In which language: Bengali" in english
    assert "Day, as told: Wednesday, 24 February 2027" in english
    bengali = _text(day, "bn")
    assert "২৪ ফেব্রুয়ারি, ২০২৭" in bengali and "০৯:৪০" in bengali
    for text in (english, bengali):
        assert not re.search(r"\d{4}-\d\d-\d\d|T\d\d:\d\d", text)


def test_an_answer_is_told_by_the_name_of_its_point_and_why(day: House) -> None:
    story = _talked(day)
    answers = story.now.data["answers"]
    english = _text(day)
    assert answers
    for answer in answers:
        assert answer["key"] not in english and answer["point"] not in english
    assert english.count(": Looked at and accepted for this patient.") == len(answers)
    assert "Looked at and accepted" in _text(day, "hi")


def test_rows_are_told_in_the_words_of_the_form(day: House) -> None:
    story = day.story()
    row = {"kind": "day 1", "date": "2027-02-26", "kept": "unknown"}
    story.enter(day.staff.counsellor, "changed", {"visits": [row]})
    drop = {"drug": "timolol 0.5%", "eyes": "each", "times_a_day": 2}
    story.enter(day.staff.counsellor, "changed", {"own_drops": [drop]})
    text = _text(day)
    assert re.search(
        r"Visits after surgery: For what: [^;]+; Day: Friday, 26 February 2027(?!; The patient came)", text
    ), text
    assert "Times a day: 2" in text and "unknown" not in text


def test_a_number_has_its_unit(day: House) -> None:
    day.story().enter(day.staff.counsellor, "changed", {"eye.pressure_mmhg": 21, "eye.axial_length_mm": 23.47})
    text = _text(day)
    assert re.search(r"21 mmHg", text) and re.search(r"23\.47 mm\b", text)


def test_a_table_taken_away_is_told_question_by_question(day: House) -> None:
    story = day.story()
    assert story.now.data["plan"]["lens"]
    story.enter(day.staff.counsellor, "changed", {"plan.lens": None})
    text = _text(day)
    assert "taken out" in text and "{" not in text


def test_what_one_person_changes_within_a_sitting_is_one_block(day: House, clock: TestClock) -> None:
    story = day.story()
    before = len(_blocks(day))
    for minutes, pressure in ((0, 18), (10, 19), (29, 20)):
        clock.advance(minutes=minutes)
        story.enter(day.staff.counsellor, "changed", {"eye.pressure_mmhg": pressure})
    story.enter(day.staff.surgeon, "changed", {"eye.pressure_mmhg": 21})
    clock.advance(minutes=31)
    story.enter(day.staff.surgeon, "changed", {"eye.pressure_mmhg": 22})
    blocks = _blocks(day)
    assert len(blocks) == before + 3
    # The newest first, within a block as well, and each change is there.
    found = [re.findall(r"now (\d\d)", block) for block in blocks[:3]]
    assert found == [["22"], ["21"], ["20", "19", "18"]]
    assert re.search(r"\d\d:\d\d to \d\d:\d\d", re.sub("<[^>]+>", "", blocks[2])) and blocks[2].count("M. Example") == 1


def test_decisions_stand_on_their_own(day: House) -> None:
    story = _talked(day)
    story.accept_figures()
    kinds = [told.entry.kind for told in story.now.history]
    assert len(_blocks(day)) == len(kinds) and "changed" not in kinds
    assert "This eye's figures accepted" in _text(day)


def test_a_long_block_is_folded_and_nothing_of_it_is_lost(day: House) -> None:
    _talked(day)
    explained = next(block for block in _blocks(day) if "Explained to the patient" in block)
    folded = re.search(r"<details><summary>(.*?)</summary>(.*?)</details>", explained, re.S)
    assert folded is not None
    assert "Explained to the patient" not in folded[0] and "When the talk was held" in folded[2]
