"""Pages that everybody can use: axe-core finds nothing serious, nothing runs off a telephone, fingers hit.

axe-core (Deque), rules for WCAG 2.0 to 2.2, levels A and AA. Width: WCAG 2.2, 1.4.10 (Reflow). Targets: 2.5.8 asks for
24 CSS pixels; 44 are asked for here, as 2.5.5 does.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import axe_playwright_python
import pytest
from playwright.sync_api import Browser, Page

from consent.clinic import Clinic
from consent.desk.words import interface_languages
from tests.browser.served import PHONE, TABLET, Served, serving
from tests.record.acts import without_printing
from tests.record.story import IST

pytestmark = pytest.mark.slow
_AXE = Path(axe_playwright_python.__file__).parent / "axe.min.js"
_RUN = """async () => {
  const found = await axe.run(document, {
    runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    resultTypes: ["violations"],
  });
  return found.violations.filter((one) => ["serious", "critical"].includes(one.impact))
    .map((one) => [one.id, one.nodes.map((node) => node.html.slice(0, 160)).slice(0, 3)]);
}"""
_SMALL = """() => [...document.querySelectorAll("button, .button, input:not([type=hidden]), select, textarea, nav a")]
  .filter((one) => one.offsetParent !== null && !one.closest(".pick, .visually-hidden, .skip"))
  .map((one) => [one.outerHTML.slice(0, 120), one.getBoundingClientRect().height])
  .filter(([, height]) => height > 0 && height < 43.5)"""
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
    ("tara", "hard", "/pause"),
    ("tara", "agreed", "/pause"),
    *(("lila", "", f"/lead{path}") for path in ("", "/people", "/languages", "/backup", "/settings", "/settings/text",
                                                 "/drops", "/audit")),
    ("lila", "", "/ledger"),
)  # fmt: skip
"""Whose browser, which case (or none), which page."""


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


def _look(page: Page, path: str) -> list[object]:
    page.goto(path)
    page.evaluate(_AXE.read_text(encoding="utf-8"))
    found: list[object] = page.evaluate(_RUN)
    return found


def _walk(desk: Served, chromium: Browser, tag: str) -> dict[str, object]:
    """What axe finds serious on each page, in one interface language."""
    found: dict[str, object] = {}
    for who in dict.fromkeys(who for who, _, _ in PAGES):
        # axe is put into the page past its policy, as a person's own tool would be.
        context = desk.context(chromium, None if who == "-" else who, bypass_csp=True, viewport=TABLET)
        context.add_cookies([{"name": "consent-language", "value": tag, "url": desk.address}])
        page = context.new_page()
        for _, name, path in [one for one in PAGES if one[0] == who]:
            where = f"/case/{desk.subjects[name]}{path}" if name else path
            if faults := _look(page, where):
                found[f"{who} {name}{path}"] = faults
        context.close()
    return found


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
    for who in dict.fromkeys(who for who, _, _ in PAGES):
        page = house.context(chromium, None if who == "-" else who, viewport=PHONE).new_page()
        for _, name, path in [one for one in PAGES if one[0] == who]:
            page.goto(f"/case/{house.subjects[name]}{path}" if name else path)
            if (width := page.evaluate("document.documentElement.scrollWidth")) > PHONE["width"]:
                wide[f"{name}{path}"] = width
            if "/sheet/" not in path and (found := page.evaluate(_SMALL)):
                small[f"{name}{path}"] = found
        page.context.close()
    assert (wide, small) == ({}, {}), json.dumps([wide, small], indent=1)
    assert house.faults == []
