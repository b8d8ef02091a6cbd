"""Lists of a day from the pages: who is on them, in which order, and who is named as left off."""

from __future__ import annotations

import datetime as dt
import io
import re

import pytest
from pypdf import PdfReader

from consent.desk.pages.lists import LISTS
from consent.record.state import case_of, data_of
from tests.conftest import shipped_case
from tests.desk.house import OPERATIONS, Browser, House
from tests.editing import edited
from tests.record.clock import TestClock
from tests.record.story import IST, Story

TODAY = OPERATIONS.astimezone(IST).date()


def printed(browser: Browser, day: dt.date = TODAY, sheets: tuple[str, ...] = LISTS) -> tuple[dict[str, str], str]:
    """What each list says, by the name of its file, and the page that offers them."""
    begun = browser.post("/lists", {"day": day.isoformat(), "sheet": list(sheets)})
    assert begun.status_code == 303, begun.text
    page = browser.get(begun.headers["location"]).text
    found = {}
    for path, name in re.findall(r'href="(/making/[\w-]+/\d+)".*?<span>(.*?)</span>', page):
        content = browser.get(path)
        assert content.headers["content-type"] == "application/pdf"
        pages = PdfReader(io.BytesIO(content.content)).pages
        found[name] = " ".join(" ".join(page.extract_text() for page in pages).split())
    return found, page


def agreed_to(story: Story) -> None:
    story.explain(OPERATIONS.astimezone(IST) - dt.timedelta(days=2))
    story.accept_figures()
    story.sign_off()
    story.consent()


def test_the_lists_of_today_hold_who_waits_in_the_order_theatre_sees(day: House) -> None:
    shown = re.findall(r'class="number">(?:<bdi>)?([^<]+)', day.browser("tara").get("/theatre").text)
    found, page = printed(day.browser("tara"))
    assert list(found) == [f"{name}.{TODAY}.en.pdf" for name in LISTS]
    assert 'class="problems"' not in page
    for name in ("operating-list", "desk-checklist"):
        text = found[f"{name}.{TODAY}.en.pdf"]
        places = [text.index(number) for number in shown]
        assert len(places) == 2 and places == sorted(places)


def test_who_said_no_and_who_was_operated_are_on_no_operating_list(day: House) -> None:
    story = day.story()
    agreed_to(story)
    story.enter(day.staff.theatre, "withdrawn", reason="Not today.")
    found, _ = printed(day.browser("asha"))
    number = day.case().case.patient.record_number
    assert all(number not in text for text in found.values())


def test_a_visit_that_nobody_ticked_is_on_the_list_of_missed_visits(day: House, clock: TestClock) -> None:
    agreed_to(day.story())
    day.story().confirm(clock().astimezone(IST))
    day.story().operate()
    number = day.case().case.patient.record_number
    ahead = TODAY + dt.timedelta(days=400)
    ((name, text),) = printed(day.browser("meera"), ahead, ("missed-visits",))[0].items()
    assert name == f"missed-visits.{TODAY}.en.pdf" and number not in text, "what lies ahead has not been missed"
    clock.advance(days=60)
    assert any(visit.date < day.record.clock().date() for visit in day.case().case.all_visits)
    ((name, text),) = printed(day.nobody().log_in("meera"), ahead, ("missed-visits",))[0].items()
    assert number in text


def test_whoever_cannot_be_put_on_a_list_is_named(day: House, monkeypatch: pytest.MonkeyPatch) -> None:
    import consent.pack.day_sheets as sheets

    kept = sheets.assessed_for_lists
    lost = day.case("second-eye").case.patient
    monkeypatch.setattr(
        sheets, "assessed_for_lists", lambda case, clinic: None if case.patient == lost else kept(case, clinic)
    )
    found, page = printed(day.browser("lila"), sheets=("operating-list",))
    assert all(lost.record_number not in text for text in found.values())
    (told,) = re.findall(r'<ul class="problems">(.*?)</ul>', page, re.S)
    assert lost.name in told and lost.record_number in told and "NOT on these lists" in told


def test_two_of_one_number_get_no_list(day: House) -> None:
    """One of the two would get the other's lens."""
    Story(day.record, day.staff).open(shipped_case("ordinary"))
    answer = day.browser("tara").post("/lists", {"day": TODAY.isoformat(), "sheet": list(LISTS)})
    assert answer.status_code == 422 and "stands twice on this day" in answer.text


def test_drops_that_cannot_be_planned_keep_nobody_off_the_list(day: House) -> None:
    odd = edited(data_of(shipped_case("ordinary")), {"patient.record_number": "DEMO-77", "plan.regimen": "no-such-one"})
    Story(day.record, day.staff).open(case_of(odd))
    found, page = printed(day.browser("tara"), sheets=("operating-list",))
    assert "DEMO-77" in " ".join(found.values()) and 'class="problems"' not in page


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"day": "soon", "sheet": "operating-list"}, "This is not a date."),
        ({"day": "2027-02-24"}, "Tick at least one list."),
        ({"day": "2027-02-24", "sheet": "../../etc/passwd"}, "Tick at least one list."),
        ({"day": "2031-01-01", "sheet": "operating-list"}, "No operation is planned for this day."),
    ],
)
def test_what_cannot_be_printed_is_said_and_nothing_is_begun(day: House, fields: dict[str, str], said: str) -> None:
    answer = day.browser("tara").post("/lists", fields)
    assert answer.status_code == 422 and said in answer.text


@pytest.mark.parametrize("tag", ["bn", "hi"])
def test_lists_come_in_the_language_of_the_page(day: House, tag: str) -> None:
    browser = day.browser("meera")
    browser.cookies["consent-language"] = tag
    found, _ = printed(browser)
    assert list(found) == [f"{name}.{TODAY}.{tag}.pdf" for name in LISTS]
