"""Pages that everybody can use: axe-core finds nothing serious, nothing runs off a telephone, fingers hit.

axe-core (Deque), rules for WCAG 2.0 to 2.2, levels A and AA. Width: WCAG 2.2, 1.4.10 (Reflow). Targets: 2.5.8 asks for
24 CSS pixels; 44 are asked for here, as 2.5.5 does.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from consent.clinic import Clinic
from consent.desk.pages import handlers
from consent.desk.screens import screens
from consent.desk.words import interface_languages
from tests.browser.looking import serious, too_small
from tests.browser.people import press
from tests.browser.served import PHONE, TABLET, Served, serving
from tests.record.acts import without_printing
from tests.record.story import IST

pytestmark = pytest.mark.slow
NOT_THERE = ("/phone/" + 64 * "0", "/nowhere")
"""A code that no paper stands for, and a page that there is not."""
CASE = (
    "",
    "/enter/person",
    "/enter/language",
    "/enter/medicines",
    "/enter/measurement",
    "/enter/operation",
    "/enter/home",
    "/talk",
    "/talk/1",
    "/talk/17",
    "/decision",
    "/papers",
    "/history",
    "/sheet/consent-form",
    "/sheet/drop-calendar",
    "/sheet/surgeon-review",
    "/consented",
    "/mind",
    "/phone",
)
PAGES: tuple[tuple[str, str, str], ...] = (
    ("-", "", "/login"),
    ("meera", "", "/cases"),
    ("meera", "", "/cases/new"),
    ("meera", "", "/password"),
    *(("meera", "hard", path) for path in CASE),
    ("meera", "signed", "/consented"),
    ("meera", "signed", "/papers"),
    ("meera", "over", ""),
    ("meera", "over", "/phone"),
    ("asha", "", "/surgeon"),
    ("asha", "hard", "/review"),
    ("asha", "hard", "/figure/capsule_rupture"),
    ("asha", "hard", "/regimen"),
    ("asha", "signed", "/review"),
    ("asha", "agreed", "/confirm"),
    ("asha", "agreed", "/done"),
    ("asha", "over", "/first-day"),
    ("asha", "over", "/aftercare"),
    ("asha", "over", "/regimen"),
    ("asha", "over", "/close"),
    ("tara", "", "/theatre"),
    ("meera", "", "/lists"),
    ("tara", "hard", "/pause"),
    ("tara", "agreed", "/pause"),
    *(("lila", "", f"/lead{path}") for path in ("", "/people", "/languages", "/backup", "/settings", "/settings/text",
                                                 "/drops", "/audit")),
    ("lila", "", "/ledger"),
    ("noor", "", "/ledger"),
    ("noor", "over", "/history"),
    *(("-", "", path) for path in NOT_THERE),
)  # fmt: skip
"""Whose browser, which case (or none), which page."""
SCREENS = tuple(("meera", "hard", f"/enter/{one.id}") for one in screens())
ELSEWHERE = {
    "/health": "for a program that looks after the machine, not a page",
    "/metrics": "for a program that looks after the machine, not a page",
    "/": "leads on to the first page of whoever asks",
    "/in": "told to a script",
    "/case/{subject}/talk/numbers": "leads on to a screen of the talk",
    "/case/{subject}/news": "told to a script",
    "/making/{name}": "looked at while papers are made, below",
    "/making/{name}/{place}": "a file",
    "/ledger/checked/{name}": "what came of a check of the ledger, below",
}
"""Pages that are not walked over, and why."""


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Iterator[Served]:
    """A desk with cases in several states, brought there without printing."""
    with serving(tmp_path_factory.mktemp("everybody"), clinic) as desk:
        with without_printing():
            _bring_along(desk)
        yield desk


def _bring_along(desk: Served) -> None:
    from tests.record.story import Story

    for name, steps in (("signed", 1), ("agreed", 2), ("over", 4)):
        story = Story(desk.record, desk.staff)
        story.open()
        desk.subjects[name] = story.subject
        now = desk.record.clock().astimezone(IST)
        story.enter(desk.staff.counsellor, "changed", {"plan.date": now.date().isoformat()})
        story.explain(now)
        story.answer_all()
        story.accept_figures()
        story.sign_off()
        if steps > 1:
            story.consent()
        if steps > 2:
            story.confirm(desk.record.clock().astimezone(IST))
            story.operate()


def _open(page: Page, path: str) -> None:
    """Go to ``path``, which must be that page and no other, nor one that says that something went wrong."""
    answer = page.goto(path)
    assert answer is not None
    assert (answer.status, page.url.endswith(path)) == (404 if path in NOT_THERE else 200, True), (path, page.url)


def _look(page: Page, path: str) -> list[object]:
    _open(page, path)
    return serious(page)


def _walk(
    desk: Served, chromium: Browser, tag: str, pages: tuple[tuple[str, str, str], ...] = PAGES
) -> dict[str, object]:
    """What axe finds serious on each page, in one interface language."""
    found: dict[str, object] = {}
    for who in dict.fromkeys(who for who, _, _ in pages):
        # axe is put into the page past its policy, as a person's own tool would be.
        context = desk.context(chromium, None if who == "-" else who, bypass_csp=True, viewport=TABLET)
        context.add_cookies([{"name": "consent-language", "value": tag, "url": desk.address}])
        page = context.new_page()
        for _, name, path in [one for one in pages if one[0] == who]:
            where = f"/case/{desk.subjects[name]}{path}" if name else path
            if faults := _look(page, where):
                found[f"{who} {name}{path}"] = faults
        context.close()
    return found


def test_no_page_is_left_out() -> None:
    """A new page is walked over from its first day."""
    routes = {re.sub(r":\w+\}", "}", path) for one in handlers() for path in one.paths if "GET" in one.http_methods}
    walked = [f"/case/x{path}" if name else path for _, name, path in PAGES]
    left = {
        route
        for route in routes - ELSEWHERE.keys()
        if not any(re.fullmatch(re.sub(r"\{\w+\}", "[^/]+", route), path) for path in walked)
    }
    assert left == set()


def test_nothing_serious_on_any_screen_of_a_case(house: Served, chromium: Browser) -> None:
    found = _walk(house, chromium, "en", SCREENS)
    assert found == {}, json.dumps(found, indent=1, ensure_ascii=False)


def test_nothing_serious_while_papers_are_made_and_once_they_are(house: Served, chromium: Browser) -> None:
    meera = house.context(chromium, "meera", bypass_csp=True, java_script_enabled=True).new_page()
    meera.goto(f"/case/{house.subjects['hard']}/papers")
    meera.locator("input[name=sheet]").first.check()
    press(meera.locator('form[action$="/drafts"] button.main'))
    # The page as it waits, without its script, which would turn it before axe has looked.
    meera.route("**/static/waiting.js*", lambda route: route.fulfill(body="", content_type="text/javascript"))
    making = meera.url
    waiting = _look(meera, making)
    meera.unroute("**/static/waiting.js*")
    meera.goto(making)
    meera.locator(".files a").first.wait_for(timeout=60_000)
    ready = _look(meera, making)
    lila = house.context(chromium, "lila", bypass_csp=True).new_page()
    lila.goto("/ledger")
    press(lila.locator('form[action="/ledger"] button').first)
    lila.wait_for_url("**/ledger/checked/*", timeout=60_000)
    assert (waiting, ready, _look(lila, lila.url)) == ([], [], [])


@pytest.mark.parametrize("tag", interface_languages())
def test_nothing_serious_in_any_language(house: Served, chromium: Browser, tag: str) -> None:
    found = _walk(house, chromium, tag)
    assert found == {}, json.dumps(found, indent=1, ensure_ascii=False)


def test_nothing_serious_right_to_left(house: Served, chromium: Browser) -> None:
    house.stop()
    house.start(mirrored=True)
    try:
        found = _walk(house, chromium, "en")
        assert found == {}, json.dumps(found, indent=1, ensure_ascii=False)
    finally:
        house.stop()
        house.start()


def test_nothing_runs_off_a_telephone_and_fingers_hit_what_they_aim_at(house: Served, chromium: Browser) -> None:
    wide: dict[str, object] = {}
    small: dict[str, object] = {}
    every = tuple(dict.fromkeys((*PAGES, *SCREENS)))
    for who in dict.fromkeys(who for who, _, _ in every):
        page = house.context(chromium, None if who == "-" else who, viewport=PHONE).new_page()
        for _, name, path in [one for one in every if one[0] == who]:
            _open(page, f"/case/{house.subjects[name]}{path}" if name else path)
            if (width := page.evaluate("document.documentElement.scrollWidth")) > PHONE["width"]:
                wide[f"{name}{path}"] = width
            if "/sheet/" not in path and (found := too_small(page)):
                small[f"{name}{path}"] = found
        page.context.close()
    assert (wide, small) == ({}, {}), json.dumps([wide, small], indent=1)
    assert house.faults == []
