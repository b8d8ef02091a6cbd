"""The small script of the patient's page, in a browser: it shows the day of the telephone's date, and no other."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from consent.clinic import Clinic
from consent.desk.phone_days import signs
from consent.desk.phone_file import file_html
from consent.desk.phone_page import PhonePage, phone_page
from consent.pack import compose_pack
from tests.chromium import PROGRAM
from tests.desk.house import OPERATIONS
from tests.desk.test_phone import MORNING_ENTERED, PAPERS, drops_in, page_of

pytestmark = pytest.mark.skipif(PROGRAM is None, reason="there is no chromium on this machine")
PHONE = {"width": 390, "height": 844}
ONE_DAY = dt.timedelta(days=1)
ZONE = dt.timezone(dt.timedelta(hours=5, minutes=30))


@pytest.fixture(scope="module")
def page(clinic: Clinic) -> PhonePage:
    return page_of("second-eye", clinic, "en")


@pytest.fixture(scope="module")
def file(page: PhonePage, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file as it lies on a telephone."""
    made: Path = tmp_path_factory.mktemp("phone") / "drops.html"
    made.write_text(file_html(page, OPERATIONS.date()), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def telephone(chromium: Any, file: Path) -> Iterator[Any]:
    """The file, open; in the end it has asked for nothing but itself, and complained of nothing."""
    opened = chromium.new_context(viewport={"width": 390, "height": 844}, timezone_id="Asia/Kolkata").new_page()
    asked: list[str] = []
    opened.on("request", lambda request: asked.append(request.url))
    opened.on("console", lambda message: asked.append(message.text))
    opened.clock.set_fixed_time(OPERATIONS)
    opened.goto(file.as_uri())
    yield opened
    opened.context.close()
    assert asked == [file.as_uri()]


def at(telephone: Any, day: dt.date, clock: str = "10:50") -> None:
    """Let the telephone's clock be this, and the page look at it again, as it does when it is opened."""
    telephone.clock.set_fixed_time(dt.datetime.combine(day, dt.time.fromisoformat(clock), ZONE))
    telephone.evaluate("document.dispatchEvent(new Event('visibilitychange'))")


def test_every_date_shows_its_own_day_and_the_next(telephone: Any, page: PhonePage) -> None:
    days = {day.date: day for day in page.days}
    date, last = min(days) - ONE_DAY, max(days) + ONE_DAY
    whole = drops_in(file_html(page, OPERATIONS.date()))
    while date <= last:
        at(telephone, date)
        for id_, wanted in (("today", date), ("tomorrow", date + ONE_DAY)):
            shown = drops_in(telephone.evaluate(f"document.querySelector('#{id_} .place').innerHTML"))
            assert shown == ({wanted.isoformat(): whole[wanted.isoformat()]} if wanted in days else {}), (date, id_)
        assert telephone.evaluate("document.querySelectorAll('[data-day]').length") == len(days)
        date += ONE_DAY


@pytest.mark.parametrize("clock", ["05:00", "06:50", "07:31", "10:50", "12:00", "16:46", "21:59", "22:31"])
def test_the_script_marks_what_the_program_marks(telephone: Any, page: PhonePage, clock: str) -> None:
    day = next(day for day in page.days if len(day.rounds) > 2)
    at(telephone, day.date, clock)
    found = telephone.evaluate(
        "[...document.querySelectorAll('#today [data-at]')].map(round => "
        "[...round.querySelectorAll('[data-sign]')].filter(one => !one.hidden).map(one => one.dataset.sign).join())"
    )
    wanted = signs([one.at for one in day.rounds], dt.time.fromisoformat(clock))
    assert tuple(found) == wanted
    assert telephone.is_visible(".soon") == any(wanted)
    assert telephone.is_visible("[data-told=over]") == (not any(wanted))


def test_outside_its_days_the_page_says_so(telephone: Any, page: PhonePage) -> None:
    assert page.first is not None and page.last is not None
    at(telephone, page.last + 60 * ONE_DAY)
    assert telephone.is_visible("[data-told=ended]") and not telephone.is_visible("[data-told=none]")
    assert "go on" in telephone.inner_text("#today")
    at(telephone, min(day.date for day in page.days) - 3 * ONE_DAY)
    assert telephone.is_visible("[data-told=not-begun]") or page.first < page.days[0].date
    assert not telephone.is_visible("[data-told=ended]")


def test_without_the_script_every_day_is_there_in_order_and_none_is_today(
    chromium: Any, file: Path, page: PhonePage
) -> None:
    opened = chromium.new_context(java_script_enabled=False).new_page()
    opened.goto(file.as_uri())
    assert not opened.is_visible("#today") and opened.is_visible("[data-heading=all]")
    assert opened.locator("#days summary h3").all_inner_texts() == [day.title.plain for day in page.days]


@pytest.mark.parametrize("tag", ["en", "bn", "ur"])
def test_the_next_round_is_seen_whole_when_the_page_is_opened(
    chromium: Any, clinic: Clinic, tmp_path: Path, tag: str
) -> None:
    path = tmp_path / "drops.html"
    path.write_text(file_html(page_of("ordinary", clinic, tag), OPERATIONS.date()), encoding="utf-8")
    opened = chromium.new_context(viewport=PHONE, timezone_id="Asia/Kolkata").new_page()
    at_nine = dt.datetime(2027, 2, 27, 9, 0, tzinfo=ZONE)
    opened.clock.set_fixed_time(at_nine)
    opened.goto(path.as_uri())
    bottom, bar = (
        opened.evaluate(f"document.querySelector('{place}').getBoundingClientRect().{edge}")
        for place, edge in ((".soon", "bottom"), (".calls", "top"))
    )
    assert opened.evaluate("document.querySelectorAll('.soon .drop').length") == 2
    assert bottom <= bar
    opened.context.close()


def test_the_script_names_the_next_visit_that_the_program_names(chromium: Any, clinic: Clinic, tmp_path: Path) -> None:
    page = phone_page(compose_pack(MORNING_ENTERED, clinic, ("bn",)), PAPERS, "bn")
    path = tmp_path / "drops.html"
    path.write_text(file_html(page, OPERATIONS.date()), encoding="utf-8")
    opened = chromium.new_context(viewport=PHONE, timezone_id="Asia/Kolkata").new_page()
    opened.goto(path.as_uri())
    for today in (OPERATIONS.date(), *(visit.date for visit in page.visits)):
        at(opened, today)
        wanted = page.next_visit(today)
        assert wanted is not None
        shown = opened.locator("[data-next]:visible").evaluate_all("all => all.map(one => one.dataset.next)")
        marked = opened.locator("[data-visit]:has([data-coming]:visible)")
        assert shown == [wanted.isoformat()]
        assert marked.evaluate_all("all => all.map(one => one.dataset.visit)") == [wanted.isoformat()]
    opened.context.close()


def test_weeks_without_a_day_of_their_own_are_not_shown(telephone: Any, page: PhonePage) -> None:
    date = min(day.date for day in page.days)
    at(telephone, date)
    weeks = telephone.evaluate(
        "[...document.querySelectorAll('.week')].map(one => [one.hidden, one.querySelectorAll('.day').length])"
    )
    assert all(hidden == (not count) for hidden, count in weeks) and len(weeks) == len(page.weeks)
    assert telephone.evaluate("document.querySelectorAll('.week[open]').length") == 0
