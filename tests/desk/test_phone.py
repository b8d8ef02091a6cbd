"""The patient's page says what the printed calendar says, every day; nobody finds it who was not given its address."""

from __future__ import annotations

import base64
import datetime as dt
import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from consent.case import Case
from consent.clinic import Clinic
from consent.compose import Voice
from consent.compose.drop_strips import Strip, strips
from consent.desk.phone_days import PhoneDay, phone_days, signs
from consent.desk.phone_file import file_html, page_html
from consent.desk.phone_page import PhonePage, phone_page
from consent.desk.phone_same import same_as_signed
from consent.desk.phone_token import find_by_token, papers_for_phone, token_of
from consent.desk.phone_visits import next_visit, phone_visits
from consent.desk.waiting import visits_ahead
from consent.pack import Pack, compose_pack
from consent.record.keys import MasterKey, new_key
from consent.record.moves import State
from consent.record.place import Place, make_record
from consent.record.state import AFTERCARE, CaseState, SealedSet, data_of
from consent.review import Assessment, assess
from tests.compose.calendars import FORMULARY, REGIMENS
from tests.conftest import NAMES, shipped_case
from tests.desk.house import OPERATIONS, House, open_house
from tests.desk.test_theatre import confirmed
from tests.editing import case_maker, clinic_maker
from tests.record.acts import without_printing
from tests.record.clock import TestClock
from tests.record.story import IST, Story

TAGS = ("en", "bn", "hi")
PAPERS = SealedSet(9, AFTERCARE, 1, "ab" * 32, "Dr Asha Invented", OPERATIONS, ())


def cases() -> Iterator[tuple[str, Case]]:
    """The examples, and orders of drops that none of them has."""
    yield from ((name, shipped_case(name)) for name in NAMES)
    yield "by landmarks", case_maker()({"patient.tells_clock_time": "no"})
    changes = [{"on": "2027-03-03", "regimen": "after-torn-capsule", "by": "A", "why": "Cells on day 7."}]
    yield "changed", case_maker()({"drop_changes": changes, "version": 2, "plan.regimen": "weekly-4-3-2-1"})


CASES = dict(cases())
ORDERS = {**CASES, **{name: case_maker()({"plan.regimen": name}) for name in REGIMENS}}


@pytest.fixture(scope="module", params=ORDERS)
def assessment(request: pytest.FixtureRequest, clinic: Clinic) -> Assessment:
    invented = clinic_maker()({"regimens": REGIMENS, "formulary": FORMULARY})
    return assess(ORDERS[request.param], invented if request.param in REGIMENS else clinic)


def planned(assessment: Assessment) -> dict[dt.date, list[tuple[dt.time, list[tuple[int, int]]]]]:
    """The sittings of the plan, day by day, from the first day of the print: minutes after the first drop, bottle."""
    plan = assessment.drops
    return {
        day.date: [(session.at, [(offset, number) for number, offset in session.drops]) for session in day.sessions]
        for day in plan.sessions
        if day.number >= plan.issued_from
    }


def shown(days: tuple[PhoneDay, ...], minutes: dict[str, int]) -> dict[dt.date, Any]:
    """The same, read back from what the page would show: the minutes out of the words of each wait."""
    found = {}
    for day in days:
        rounds = []
        for one in day.rounds:
            at, drops = 0, []
            for drop in one.drops:
                at += minutes[drop.wait.plain] if drop.wait else 0
                drops.append((at, drop.mark.number))
            rounds.append((one.at, drops))
        found[day.date] = rounds
    return found


@pytest.mark.parametrize("tag", TAGS)
def test_every_day_has_the_sittings_of_the_plan(assessment: Assessment, tag: str) -> None:
    voice = Voice((tag,), "locale")
    waits = {voice.count("phone.wait", count)[0].plain: count for count in range(1, 61)}
    days = phone_days(assessment, voice)
    found, wanted = shown(days, waits), planned(assessment)
    assert {date: rounds for date, rounds in found.items() if date in wanted} == wanted
    beyond = {date: rounds for date, rounds in found.items() if date not in wanted}
    visits = {visit.date for visit in assessment.case.all_visits} | {assessment.drops.surgery}
    assert not any(beyond.values()) and beyond.keys() <= visits
    for drop, row in ((d, assessment.drops.row(d.mark.number)) for day in days for r in day.rounds for d in r.drops):
        assert drop.eye == voice.line(f"eye.{row.side}")[0] and drop.drug == row.drug.name


@pytest.mark.parametrize("tag", TAGS)
def test_every_day_has_the_marks_of_the_printed_strips(assessment: Assessment, tag: str) -> None:
    voice = Voice((tag,), "locale")
    printed = {}
    for strip in (block for block in strips(assessment, voice).blocks if isinstance(block, Strip)):
        for row in strip.days:
            marks = sorted(mark.number for eye in row.eyes for sitting in eye.sittings for mark in sitting)
            printed[row.date[0].plain] = ([time[0].plain for _, time in strip.times], marks)
    days = [day for day in phone_days(assessment, voice) if day.rounds]
    page = {
        day.title.plain: (
            [one.time.plain for one in day.rounds],
            sorted(drop.mark.number for one in day.rounds for drop in one.drops),
        )
        for day in days
    }
    assert page == printed


def drops_in(html: str) -> dict[str, list[tuple[str, list[tuple[str, str]]]]]:
    """Date, times, and each number with its eye, as they stand in the page."""
    found = {}
    for date, day in re.findall(r'<details class="day" data-day="([^"]+)".*?>(.*?)</details>', html, re.S):
        rounds = re.split(r'<section class="round" data-at="', day)[1:]
        found[date] = [(one[:5], re.findall(_DROP, one, re.S)) for one in rounds]
    return found


_DROP = r'class="mark s\d[^"]*">([^<]+)</span></span>.*?<span class="where">.*?<strong>(.*?)</strong>'


def page_of(name: str, clinic: Clinic, tag: str) -> PhonePage:
    return phone_page(compose_pack(CASES[name], clinic, (tag,)), PAPERS, tag)


@pytest.mark.parametrize("tag", TAGS)
@pytest.mark.parametrize("name", CASES)
def test_the_page_and_the_file_show_just_these(name: str, tag: str, clinic: Clinic) -> None:
    page = page_of(name, clinic, tag)
    wanted = {
        day.date.isoformat(): [
            (one.at.strftime("%H:%M"), [(drop.mark.text[0].plain, drop.eye.html) for drop in one.drops])
            for one in day.rounds
        ]
        for day in page.days
    }
    assert drops_in(file_html(page, OPERATIONS.date())) == wanted
    assert drops_in(page_html(page, dt.datetime(2027, 2, 27, 9, 0, tzinfo=IST))) == wanted


@pytest.mark.parametrize("name", CASES)
def test_the_file_asks_for_nothing_and_keeps_nothing(name: str, clinic: Clinic) -> None:
    html = file_html(page_of(name, clinic, "en"), OPERATIONS.date())
    targets = re.findall(r'\b(?:src|href|action|xlink:href|data|poster|srcset)="([^"]*)"', html)
    assert all(target.startswith(("#", "tel:")) for target in targets)
    assert re.findall(r"https?://(?!www\.w3\.org/2000/svg)", html) == []
    assert not re.search(r"\sstyle=|\son[a-z]+=|url\(|@import|localStorage|sessionStorage|indexedDB|cookie", html)
    assert not re.search(r"fetch\(|XMLHttpRequest|sendBeacon|WebSocket|import\(", html)


def test_the_policy_of_the_file_allows_its_own_script_and_no_other(clinic: Clinic) -> None:
    # Content Security Policy Level 3, 2.3.1: a hash is of the text between the tags.
    html = file_html(page_of("ordinary", clinic, "en"), OPERATIONS.date())
    for element, directive in (("script", "script-src"), ("style", "style-src")):
        (text,) = re.findall(rf"<{element}>(.*?)</{element}>", html, re.S)
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"{directive} &#39;sha256-{digest}&#39;" in html
    assert "default-src &#39;none&#39;" in html and "unsafe" not in html


def test_words_that_nobody_released_are_a_practice_copy(clinic: Clinic) -> None:
    # As on paper: words that no clinician has checked are never handed out as checked ones.
    with patch("consent.compose.frame.is_released", lambda *_: True):
        page = page_of("ordinary", clinic, "en")
        assert page.marks[0].startswith("PRACTICE COPY")
        with patch("consent.desk.phone_page.release_of") as released:
            released.return_value.may_be_signed = True
            assert page_of("ordinary", clinic, "en").marks == page.marks[1:]


def test_the_head_of_the_page_tells_of_drops_in_both_eyes(clinic: Clinic) -> None:
    html = file_html(page_of("second-eye", clinic, "en"), OPERATIONS.date())
    assert "There are drops for <strong>both eyes</strong>" in html


@pytest.mark.parametrize(
    ("now", "wanted"),
    [
        ("06:00", ("next", "", "")),
        ("06:45", ("now", "next", "")),
        ("07:29", ("now", "next", "")),
        ("07:30", ("", "next", "")),
        ("12:44", ("", "", "next")),
        ("22:29", ("", "", "now")),
        ("23:00", ("", "", "")),
    ],
)
def test_what_comes_next_is_by_the_clock_alone(now: str, wanted: tuple[str, ...]) -> None:
    times = [dt.time(7), dt.time(12), dt.time(22)]
    assert signs(times, dt.time.fromisoformat(now)) == wanted


def test_today_and_tomorrow_stand_first_without_a_script(clinic: Clinic) -> None:
    html = page_html(page_of("ordinary", clinic, "en"), dt.datetime(2027, 2, 27, 12, 10, tzinfo=IST))
    today, tomorrow = html.index('data-day="2027-02-27"'), html.index('data-day="2027-02-28"')
    assert html.index('id="today"') < today < html.index('id="tomorrow"') < tomorrow < html.index('id="days"')
    assert html.count('data-day="2027-02-27"') == 1
    assert re.findall(r'data-sign="(\w+)">', html[today:tomorrow]) == ["now", "next"]


def test_the_eye_and_the_next_round_stand_before_all_else(clinic: Clinic) -> None:
    html = page_html(page_of("ordinary", clinic, "en"), dt.datetime(2027, 2, 27, 9, 0, tzinfo=IST))
    eye, soon, first = html.index('class="eyehead"'), html.index('class="soon"'), html.index('<details class="day"')
    who, other_days = html.index("The drops are put in by"), html.index('id="days"')
    assert eye < soon < first < who < other_days
    # The next round is told whole: its time, and each drop with its eye, as in the list of the day below.
    assert "12:00" in html[soon:first] and re.findall(_DROP, html[soon:first], re.S) == [
        (mark, eye) for at, drops in drops_in(html)["2027-02-27"] if at == "12:00" for mark, eye in drops
    ]


@pytest.mark.parametrize("name", CASES)
def test_days_are_folded_by_week_and_none_is_left_out(name: str, clinic: Clinic) -> None:
    page = page_of(name, clinic, "en")
    assert [day for week in page.weeks for day in week] == list(page.days)
    for week in page.weeks:
        assert (week[-1].date - week[0].date).days < 7
    html = file_html(page, OPERATIONS.date())
    for day in page.days:
        assert html.count(f'data-day="{day.date.isoformat()}"') == 1


MORNING_ENTERED = case_maker()({"day1": {"pressure_mmhg": 15}})
"""The first morning was entered although its day has not come, as when everything is entered in one go."""


def visit_told(html: str) -> tuple[list[str], list[str]]:
    """The days of the next visit: in the sentence that is shown, and in the list of visits."""
    sentence = re.findall(r'<p class="para strong" data-next="([^"]+)">', html)
    rows = re.findall(r'<tr data-visit="([^"]+)".*?</tr>', html, re.S)
    marked = [row for row in re.findall(r"<tr data-visit=.*?</tr>", html, re.S) if "data-coming>" in row]
    assert rows
    return sentence, [row[16:26] for row in marked]


def test_the_next_visit_is_the_same_wherever_it_is_told(clinic: Clinic) -> None:
    page = phone_page(compose_pack(MORNING_ENTERED, clinic, ("en",)), PAPERS, "en")
    days = [visit.date for visit in page.visits]
    assert days[0] == dt.date(2027, 2, 25) and len(days) > 2
    for today in (dt.date(2027, 2, 24), *days, days[-1] + dt.timedelta(days=1)):
        coming = [day.isoformat() for day in days if day >= today][:1]
        sentence, marked = visit_told(page_html(page, dt.datetime.combine(today, dt.time(9), IST)))
        assert marked == coming and sentence[: len(coming)] == coming and len(sentence) == 1, today
        assert visit_told(file_html(page, today)) == (sentence, marked)


@pytest.mark.parametrize("kept", ["yes", "no", "unknown"])
def test_the_next_visit_is_the_one_that_staff_are_told_of(kept: str) -> None:
    changed = [{"kind": "day 1", "date": "2027-02-25", "kept": kept}, {"kind": "week 1", "date": "2027-03-03"}]
    case = case_maker()({"visits": changed})
    state = CaseState("case-0", State.DONE, data_of(case))
    for day in range(24, 29):
        today = dt.date(2027, 2, day)
        assert next_visit(phone_visits(case), today) == next(iter(visits_ahead(state, today)), None)


# The address


@pytest.fixture
def home(tmp_path: Path, clinic: Clinic) -> Iterator[House]:
    """A desk with the ordinary case operated on, its papers for home signed; fake papers say whatever is asked."""
    made = make_record(Place(tmp_path / "record"), clinic, TestClock(OPERATIONS))
    with (
        without_printing(),
        patch("consent.desk.pages.phone.same_as_signed", lambda *_: True),
        open_house(made) as house,
    ):
        confirmed(house.story())
        house.story().operate()
        house.story().answer_all()
        house.story().issue_aftercare()
        yield house


def address(house: House, name: str = "ordinary") -> str:
    case = house.case(name)
    papers = papers_for_phone(case)
    assert papers is not None
    return f"/phone/{token_of(house.record.key, case, papers)}"


def test_whoever_has_the_address_reads_the_page_without_an_account(home: House) -> None:
    answer = home.nobody().get(address(home))
    assert answer.status_code == 200
    assert "Shanti Example" in answer.text and 'href="tel:0000011111"' in answer.text
    assert drops_in(answer.text)


def test_the_address_says_nothing_of_the_patient(home: House) -> None:
    case = home.case()
    assert case.subject.removeprefix("case-") not in address(home)
    assert re.fullmatch(r"/phone/[0-9a-f]{64}", address(home))


def is_gone(house: House, path: str) -> bool:
    answer = house.nobody().get(path)
    every = ("This page is no longer right", "এই পাতা আর ঠিক নেই", "यह पन्ना अब सही नहीं है")
    told = all(words in answer.text for words in (*every, "00000 11111"))
    return answer.status_code == 404 and told and "Example" not in answer.text and "data-day" not in answer.text


def test_a_wrong_address_shows_nobody_s_drops(home: House) -> None:
    right = address(home)
    other = "0" if right[-1] != "0" else "1"
    for path in (right[:-1] + other, right[:-1], right + "0", right.upper().replace("/PHONE", "/phone"), "/phone/x"):
        assert is_gone(home, path), path
    case = home.case()
    assert is_gone(home, f"/phone/{MasterKey(new_key()).stamp('phone', case.subject, 'ab' * 32)}")


def test_the_address_ends_with_its_papers(home: House) -> None:
    before = address(home)
    home.story().change_drops(dt.date(2027, 3, 3), "after-torn-capsule", "Cells on day 7.")
    assert papers_for_phone(home.case()) is None and is_gone(home, before)
    home.story().issue_aftercare()
    assert address(home) != before and is_gone(home, before)
    assert home.nobody().get(address(home)).status_code == 200


def test_an_address_is_of_one_case(home: House) -> None:
    case, papers = home.case(), papers_for_phone(home.case())
    assert papers is not None
    stranger = home.case("second-eye")
    forged = home.record.key.stamp("phone", stranger.subject, papers.code)
    assert is_gone(home, f"/phone/{forged}")
    found = find_by_token(home.record.key, (stranger, case), address(home).removeprefix("/phone/"))
    assert found is not None and found[0].subject == case.subject


def test_before_surgery_it_is_the_sheet_for_the_day_before_and_ends_with_the_operation(
    tmp_path: Path, clinic: Clinic
) -> None:
    made = make_record(Place(tmp_path / "record"), clinic, TestClock(OPERATIONS))
    with without_printing(), open_house(made) as house:
        confirmed(house.story())
        before = address(house)
        page = house.nobody().get(before)
        assert page.status_code == 200 and "অপারেশনের আগে" in page.text and "data-day" not in page.text
        house.story().operate()
        assert is_gone(house, before)


def test_what_is_not_word_for_word_the_signed_paper_is_not_shown(home: House) -> None:
    with patch("consent.desk.pages.phone.same_as_signed", lambda *_: False):
        assert is_gone(home, address(home))
        subject = home.subjects["ordinary"]
        page = home.browser("meera").get(f"/case/{subject}/phone").text
        assert "The page would not say the same as the signed papers" in page and "/phone/" not in page
        assert home.browser("meera").post(f"/case/{subject}/phone-file").status_code == 404


def test_same_is_held_against_the_words_that_were_sealed(clinic: Clinic, home: House) -> None:
    pack = compose_pack(shipped_case("torn"), clinic)
    papers = SealedSet(9, AFTERCARE, 1, "cd" * 32, "Dr Asha Invented", OPERATIONS, ())
    with patch("consent.desk.phone_same.signed_words", lambda *_: tuple(_words(pack))):
        assert same_as_signed(home.record, papers, pack, "bn")
        other = clinic.model_copy(update={"aftercare": clinic.aftercare.model_copy(update={"shield_nights": 3})})
        assert not same_as_signed(home.record, papers, compose_pack(shipped_case("torn"), other), "bn")
        assert not same_as_signed(home.record, papers, pack, "hi")


def _words(pack: Pack) -> Iterator[dict[str, str]]:
    from consent.pack import assessment_data

    yield from assessment_data(pack)["sheets"]


def test_staff_make_the_file_and_it_is_recorded(home: House) -> None:
    subject = home.subjects["ordinary"]
    before = home.case().sequence
    answer = home.browser("meera").post(f"/case/{subject}/phone-file")
    assert answer.status_code == 200
    assert re.fullmatch(
        r'attachment; filename="drops-[A-Z2-7]{4}-[A-Z2-7]{4}\.html"', answer.headers["content-disposition"]
    )
    last = home.case().history[-1]
    assert last.entry.sequence > before and (last.entry.kind, last.entry.person) == ("looked-at", "M. Example")
    assert home.browser("tara").post(f"/case/{subject}/phone-file").status_code == 403


def test_no_code_is_shown_that_no_telephone_can_open(home: House) -> None:
    """The desk of the tests is reached from its own machine alone; a name of the network is what a code needs."""
    path = f"/case/{home.subjects['ordinary']}/phone"
    page = home.browser("meera").get(path).text
    assert "Served on this machine alone" in page and 'class="qr"' not in page
    settings = replace(home.app.state.office.settings, names=("eye-centre.local", "127.0.0.1"))
    with patch.object(home.app.state.office, "settings", settings):
        assert 'class="qr"' in home.browser("meera").get(path).text


def test_without_papers_there_is_no_page(home: House) -> None:
    page = home.browser("meera").get(f"/case/{home.subjects['hard']}/phone").text
    assert "There are no signed papers that hold" in page and "phone-file" not in page
    story = Story(home.record, home.staff, home.subjects["hard"])
    assert papers_for_phone(story.now) is None
