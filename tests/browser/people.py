"""What counsellor, surgeon and theatre do in their browsers, as a person does it: by what is written on the page."""

from __future__ import annotations

import datetime as dt

from playwright.sync_api import Locator, Page

from tests.record.story import PASSWORDS

ANSWER = "Looked at and accepted for this patient."


def choose(page: Page, path: str, value: str) -> None:
    """Touch one answer of the question ``path``; where the page keeps it at once, wait until it has."""
    page.locator(f'[data-field="{path}"] input[value="{value}"]').first.check()


def type_in(page: Page, path: str, text: str) -> None:
    """Type an answer, and leave the field."""
    field = page.locator(f'[data-field="{path}"] [name="{path}"]')
    field.fill(text)
    field.blur()


def press(button: Locator) -> None:
    """Press what leads to another page, and wait until that is there: the page before looks much the same."""
    with button.page.expect_navigation():
        button.click()


def turn(page: Page) -> None:
    """To the next screen."""
    page.locator(".foot button.main").click()


def open_case(page: Page, name: str, number: str, day: dt.date) -> str:
    """Open a new case, and return its name in the record."""
    page.goto("/cases/new")
    page.fill('[name="patient.name"]', name)
    page.fill('[name="patient.record_number"]', number)
    page.fill('[name="patient.age_years"]', "67")
    choose(page, "patient.sex", "female")
    page.select_option('[name="patient.language"]', "bn")
    choose(page, "eye.side", "left")
    choose(page, "plan.side", "left")
    page.select_option('[name="plan.surgeon.name"]', "Dr Asha Invented")
    page.fill('[name="plan.date"]', day.isoformat())
    page.locator("main button.main").click()
    page.wait_for_url("**/enter/language")
    return page.url.split("/")[4]


def hold_talk(page: Page, subject: str) -> None:
    """Turn every screen of the talk; record what the patient says back; the patient agrees."""
    page.goto(f"/case/{subject}/talk")
    press(page.locator("main .buttons a.main"))
    while page.locator("nav.turn .next").count():
        if page.locator("#said-back button[name=result]").count():
            press(page.locator("#said-back button[name=result]").first)
        else:
            press(page.locator("nav.turn .next"))
    page.goto(f"/case/{subject}/decision")
    page.locator('input[name=outcome][value="agrees"]').check()
    for path, value in (("talk.speaks_the_language", "yes"), ("talk.after_sedation", "no"), ("talk.copy_given", "yes")):
        choose(page, path, value)
    choose(page, "talk.aids", "pictures")
    page.fill('[name="talk.witness"]', "W. Neighbour")
    choose(page, "talk.witness_in_treating_team", "no")
    if page.locator('[name="talk.same_day_reason"]').count():
        page.fill('[name="talk.same_day_reason"]', "She lives two days away and asked for it.")
    page.locator("main form.medium button.main").click()
    page.wait_for_url(f"**/case/{subject}")


def review_and_sign(page: Page, subject: str) -> None:
    """Answer what is asked, accept the figures, sign off with the password again."""
    page.goto(f"/case/{subject}/review")
    for _ in range(4):
        if not answer_what_waits(page):
            break
        press(page.locator('form[action$="/answer"] button').first)
    accept = page.locator('form[action$="/accept-figures"] button')
    if accept.count():
        press(accept.first)
    answer_what_waits(page)
    if page.locator('form[action$="/answer"] button').count():
        press(page.locator('form[action$="/answer"] button').first)
    sign(page, f"/case/{subject}/sign-off", PASSWORDS["asha"])


def answer_what_waits(page: Page) -> int:
    """Write an answer to every point that waits, take every stop on oneself, and return how many there were."""
    waiting = page.locator('textarea[name^="why."]')
    for place in range(waiting.count()):
        waiting.nth(place).fill(ANSWER)
    for box in page.locator('input[name^="take-on."]').all():
        box.check()
    return waiting.count()


def sign(page: Page, action: str, password: str) -> None:
    """Sign with the password again, and wait until the papers are made."""
    page.locator(f'form[action="{action}"] input[type=password]').fill(password)
    press(page.locator(f'form[action="{action}"] button').last)
    page.wait_for_url(lambda url: "/making/" not in url, timeout=90_000)


def patient_signs(page: Page, subject: str, code: str) -> None:
    """The patient signs the paper of ``code`` before a witness, with yes to every extra step."""
    page.goto(f"/case/{subject}/consented")
    page.fill("[name=code]", code)
    for tick in page.locator('input[name^="step."][value="yes"]').all():
        tick.check()
    page.locator('input[name=how][value="thumb impression"]').check()
    page.fill("[name=witness]", "W. Neighbour")
    page.locator("main form.card button.main").click()
    page.wait_for_url(f"**/case/{subject}")


def ask_again(page: Page, subject: str) -> None:
    """Just before surgery: the patient still wishes it, and nothing has changed."""
    page.goto(f"/case/{subject}/confirm")
    names = page.eval_on_selector_all(
        "fieldset.big-question input", "found => [...new Set(found.map(one => one.name))]"
    )
    for place, name in enumerate(names):
        page.locator(f'input[name="{name}"][value="{"yes" if place == 0 else "no"}"]').check()
    press(page.locator('button[name=decision][value="confirmed"]'))


def enter_done(page: Page, subject: str) -> None:
    """What was done: as planned, nothing went wrong; looked at once more, then recorded."""
    page.goto(f"/case/{subject}/done")
    choose(page, "done.side", "left")
    for name in ("capsule_torn", "vitreous_lost", "piece_retained"):
        choose(page, f"done.{name}", "no")
    choose(page, "done.as_planned", "yes")
    page.locator("input[name=lens]").first.check()
    page.locator('input[name="no-step"]').check()
    press(page.locator("main button.main").last)
    page.locator("main button.main").first.click()
    page.wait_for_url(lambda url: not url.endswith("/done"))


def first_morning(page: Page, subject: str) -> None:
    """What the eye shows on the first morning, entered on the day of surgery itself: the page asks whether it is so."""
    page.goto(f"/case/{subject}/first-day")
    page.fill('[name="day1.acuity_pinhole"]', "6/9")
    page.fill('[name="day1.pressure_mmhg"]', "14")
    for name in ("leak", "hypopyon"):
        choose(page, f"day1.{name}", "no")
    page.locator('input[name="sure"]').check()
    press(page.locator(".foot button.main"))


def issue_aftercare(page: Page, subject: str) -> None:
    """Answer what is asked after surgery, and sign the papers for home."""
    page.goto(f"/case/{subject}/review")
    if answer_what_waits(page):
        press(page.locator('form[action$="/answer"] button').first)
    page.goto(f"/case/{subject}/aftercare")
    sign(page, f"/case/{subject}/aftercare", PASSWORDS["asha"])
