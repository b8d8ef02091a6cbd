"""The whole story in real browsers: three people, one each; then the patient's own telephone."""

from __future__ import annotations

import datetime as dt
import re
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from consent.compose.page_code import short_code
from consent.record.papers import read_paper
from consent.record.state import CONSENT
from tests.browser.looking import serious, too_small
from tests.browser.people import (
    ask_again,
    choose,
    enter_done,
    first_morning,
    hold_talk,
    issue_aftercare,
    open_case,
    patient_signs,
    review_and_sign,
    turn,
    type_in,
)
from tests.browser.served import PHONE, Served
from tests.record.story import IST

pytestmark = pytest.mark.slow


def today() -> dt.date:
    return dt.datetime.now(IST).date()


def to_today(page: Page, subject: str) -> None:
    """The example's day of surgery, and what was measured for it, are moved to today: second looks are of the day."""
    for screen, path in (
        ("who-and-when", "plan.date"),
        ("measurement", "measurement.on"),
        ("fitness", "fitness.blood_pressure_on"),
        ("fitness", "fitness.sugar_on"),
    ):
        page.goto(f"/case/{subject}/enter/{screen}")
        type_in(page, path, today().isoformat())
        turn(page)
        page.wait_for_url(lambda url, screen=screen: not url.split("?")[0].endswith(screen))


def test_three_people_and_the_patient(served: Served, chromium: Browser, tmp_path: Path) -> None:
    subject = served.subjects["ordinary"]
    meera, asha, tara = (served.context(chromium, who).new_page() for who in ("meera", "asha", "tara"))

    opened = open_case(meera, "Rahima Example", "DEMO-0100", today())
    choose(meera, "patient.reads", "no")
    turn(meera)
    expect(meera.locator("h1")).to_contain_text("What matters")
    assert served.case(opened).case.patient.reads == "no"

    to_today(meera, subject)
    hold_talk(meera, subject)
    review_and_sign(asha, subject)
    papers = served.case("ordinary").sealed(CONSENT)
    assert papers is not None
    patient_signs(meera, subject, " ".join(short_code(papers.code)))
    tara.goto(f"/case/{subject}/pause")
    expect(tara.locator("body")).to_contain_text("LEFT eye")
    ask_again(tara, subject)
    enter_done(asha, subject)
    first_morning(asha, subject)
    issue_aftercare(asha, subject)

    meera.goto(f"/case/{subject}/phone")
    address = re.search(r"/phone/[0-9a-f]{64}", meera.content())
    assert address is not None
    patient = served.context(chromium, None, viewport=PHONE).new_page()
    patient.goto(address[0])
    expect(patient.locator("body")).to_contain_text("বাঁ চোখ")
    assert patient.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert too_small(patient) == []
    looked_at = served.context(chromium, None, viewport=PHONE, bypass_csp=True).new_page()
    looked_at.goto(address[0])
    assert serious(looked_at) == []

    case = served.case("ordinary")
    kinds = [
        (told.entry.kind, told.entry.role) for told in case.history if told.entry.kind not in ("changed", "looked-at")
    ]
    assert [kind for kind in kinds if kind[0] not in ("said-back", "answered")] == [
        ("opened", "counsellor"),
        ("explained", "counsellor"),
        ("figures-accepted", "surgeon"),
        ("signed-off", "surgeon"),
        ("consented", "counsellor"),
        ("confirmed", "theatre"),
        ("done", "surgeon"),
        ("first-day", "surgeon"),
        ("aftercare-issued", "surgeon"),
    ]
    assert sum(kind == "said-back" for kind, _ in kinds) == 5
    held = case.sealed("aftercare")
    assert held is not None
    paper = tmp_path / "going-home.pdf"
    paper.write_bytes(read_paper(served.record, held.papers[0].digest))
    # In a process of its own: signatures are checked with an event loop, and the browser has one already.
    command = [sys.executable, "-c", "from consent.commands.main import run; run()", "verify", str(paper)]
    told = subprocess.run(
        [*command, "--record", str(served.folder / "record")], capture_output=True, text=True, check=False
    )
    assert told.returncode == 0, told.stdout + told.stderr
    assert served.faults == []


def test_with_scripts_off_the_case_gets_as_far_as_the_signature(served: Served, chromium: Browser) -> None:
    subject = served.subjects["hard"]
    meera = served.context(chromium, "meera", java_script_enabled=False, viewport=PHONE).new_page()
    asha = served.context(chromium, "asha", java_script_enabled=False).new_page()
    to_today(meera, subject)
    meera.goto(f"/case/{subject}/enter/front")
    meera.fill('[name="eye.pupil_mm"]', "55")
    turn(meera)
    expect(meera.locator(".field.wrong")).to_contain_text("Between 1 and 10")
    assert meera.input_value('[name="eye.pupil_mm"]') == "55"
    meera.fill('[name="eye.pupil_mm"]', "5.5")
    turn(meera)
    meera.wait_for_url("**/enter/back*")
    assert served.case("hard").case.eye.pupil_mm == 5.5
    hold_talk(meera, subject)
    review_and_sign(asha, subject)
    assert served.case("hard").state == "signed off"


def test_by_keyboard_alone(served: Served, chromium: Browser) -> None:
    page = served.context(chromium, None).new_page()
    page.goto("/login")
    page.wait_for_selector("input:focus")  # the page puts it there; a person sees it before typing
    page.keyboard.type("meera")
    page.keyboard.press("Tab")
    page.keyboard.type("seven brass bells ring")
    page.keyboard.press("Enter")
    page.wait_for_url("**/cases")
    open_by_keyboard(page)
    page.goto("/cases")
    reach(page, "a", "Haradhan Example")
    page.keyboard.press("Enter")
    page.wait_for_url("**/case/*")
    reach(page, "a", "Enter and change")
    page.keyboard.press("Enter")
    page.wait_for_url("**/enter/person")
    reach(page, "summary", "Subjects")
    page.keyboard.press("Enter")
    reach(page, "a", "The lens")
    page.keyboard.press("Enter")
    page.wait_for_url("**/enter/lens")
    subject = page.url.split("/")[4]
    before = served.case(subject).case.eye.nucleus.grade
    reach(page, "input", "")
    page.keyboard.press("ArrowLeft")
    expect(page.locator("#kept")).to_contain_text("Kept")
    assert served.case(subject).case.eye.nucleus.grade != before
    page.goto(f"/case/{subject}/talk/1")
    page.keyboard.press("ArrowRight")
    page.wait_for_url("**/talk/2")
    page.goto("/cases")
    reach(page, "summary", "M. Example")
    page.keyboard.press("Enter")
    reach(page, "button", "Log out")
    page.keyboard.press("Enter")
    page.wait_for_url("**/login")


def open_by_keyboard(page: Page) -> None:
    """Open a case: type into fields, choose with Space and arrows, go on with Enter."""
    day = today()
    typed = {"patient.name": "Kamala Example", "patient.record_number": "DEMO-0200", "patient.age_years": "70"}
    typed["plan.date"] = f"{day:%m%d%Y}"
    chosen = {"patient.sex": "female", "eye.side": "left", "plan.side": "left"}
    picked = {"patient.language": "bn", "plan.surgeon.name": "Dr Asha Invented"}
    reach(page, "a", "New patient")
    page.keyboard.press("Enter")
    page.wait_for_url("**/cases/new")
    for _ in range(60):
        page.keyboard.press("Tab")
        name, kind = page.evaluate("() => [document.activeElement.name || '', document.activeElement.className]")
        if kind == "main":
            break
        if name in typed:
            page.keyboard.type(typed.pop(name))
        elif name in chosen:
            press_until(page, "ArrowRight", chosen.pop(name))
        elif name in picked:
            press_until(page, "ArrowDown", picked.pop(name))
    page.keyboard.press("Enter")
    page.wait_for_url("**/enter/language")
    assert not (typed or chosen or picked)


def press_until(page: Page, key: str, value: str) -> None:
    """Press ``key`` until ``value`` is chosen in the question that has the focus."""
    page.keyboard.press("Space" if key == "ArrowRight" else key)
    for _ in range(20):
        if page.evaluate("() => document.activeElement.value") == value:
            return
        page.keyboard.press(key)
    raise AssertionError(f"{value} cannot be chosen by keyboard")


def reach(page: Page, tag: str, text: str) -> None:
    """Press Tab until the focus is on the element, which must show that it has it."""
    for _ in range(150):
        page.keyboard.press("Tab")
        found = page.evaluate(
            "() => { const at = document.activeElement, look = getComputedStyle(at);"
            " const width = parseFloat(look.outlineWidth);"
            " return [at.tagName.toLowerCase(), at.innerText || '', look.outlineStyle, width]; }"
        )
        if found[0] == tag and text in found[1]:
            assert found[2] != "none" and found[3] >= 2, f"focus on {text or tag} cannot be seen"
            return
    raise AssertionError(f"{text or tag} cannot be reached by keyboard")


def test_two_counsellors_in_one_case_are_told_and_nothing_is_lost(served: Served, chromium: Browser) -> None:
    subject = served.subjects["second-eye"]
    one, other = (served.context(chromium, who).new_page() for who in ("meera", "asha"))
    for page in (one, other):
        page.goto(f"/case/{subject}/enter/front")
    type_in(one, "eye.pupil_mm", "3.1")
    expect(one.locator("#kept")).to_contain_text("Kept")
    type_in(other, "eye.chamber_depth_mm", "2.4")
    expect(other.locator("#meanwhile")).to_contain_text("M. Example")
    type_in(other, "eye.pupil_mm", "6.1")
    expect(other.locator("#kept")).to_contain_text("Kept")
    type_in(one, "eye.pupil_mm", "2.9")
    expect(one.locator('[data-field="eye.pupil_mm"] .fault')).to_contain_text("6.1")
    assert one.input_value('[name="eye.pupil_mm"]') == "2.9"
    eye = served.case("second-eye").case.eye
    assert (eye.pupil_mm, eye.chamber_depth_mm) == (6.1, 2.4)
    expect(one.locator("#others")).to_contain_text("Dr Asha Invented")


def test_what_is_typed_while_the_desk_is_away_arrives_once_it_is_back(served: Served, chromium: Browser) -> None:
    subject = served.subjects["second-eye"]
    context = served.context(chromium, "meera")
    page = context.new_page()
    page.goto(f"/case/{subject}/enter/front")
    served.stop()
    type_in(page, "eye.axial_length_mm", "24.7")
    expect(page.locator("#kept")).to_contain_text("No connection")
    served.start()
    expect(page.locator("#kept")).to_contain_text("Kept", timeout=15_000)
    assert served.case("second-eye").case.eye.axial_length_mm == 24.7
    served.faults.clear()  # the browser tells each try that found nobody


def test_what_was_typed_stays_when_the_session_has_ended_or_is_anothers(served: Served, chromium: Browser) -> None:
    subject = served.subjects["second-eye"]
    served.story("second-eye").explain(dt.datetime.now(IST) - dt.timedelta(minutes=9))
    context = served.context(chromium, "asha")
    page = context.new_page()
    page.goto(f"/case/{subject}/review")
    page.locator("details", has=page.locator('form[action$="/send-back"]')).locator("summary").click()
    page.fill('form[action$="/send-back"] textarea', "The pupil was not measured in dim light.")
    cookies = context.cookies()
    context.clear_cookies(name="consent-session")
    page.locator('form[action$="/send-back"] button').click()
    expect(page.locator("#told a")).to_have_attribute("href", "/login")
    assert page.input_value('form[action$="/send-back"] textarea') == "The pupil was not measured in dim light."
    context.add_cookies(served.context(chromium, "meera").cookies())
    page.locator('form[action$="/send-back"] button').click()
    expect(page.locator("#told")).to_contain_text("opened by somebody else")
    assert served.case("second-eye").state == "explained"
    context.add_cookies(cookies)
    page.locator('form[action$="/send-back"] button').click()
    expect(page.locator(".stands")).to_contain_text("sent back")
    assert served.case("second-eye").state == "sent back"
