"""What somebody careless, unlucky or hostile does to the pages, and what must come of it.

CWE-362 (races), CWE-400 (resources), CWE-770 (no limits), OWASP ASVS 4.0.3: 4.1.1, 11.1.4, 11.1.6.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import pytest
from litestar.testing import TestClient

from consent.clinic import Clinic
from consent.desk.app import make_app
from consent.desk.office import DeskSettings
from consent.record.accounts import make_account
from consent.record.moves import Role
from consent.record.place import Place, make_record
from consent.resources import templates
from tests.desk.house import OPERATIONS, House
from tests.record.acts import without_printing
from tests.record.story import IST, PASSWORDS

PLAIN = "no patient of yours was harmed"


# One tablet, two people.


@pytest.mark.parametrize(
    ("path", "more"),
    [
        ("/accept-figures", {}),
        ("/answer", {"why.x": "Looked at and accepted."}),
        ("/send-back", {"reason": "Ask again."}),
        ("/sign-off", {"password": PASSWORDS["asha"]}),
        ("/done", {}),
        ("/confirm", {"decision": "confirmed"}),
    ],
)
def test_a_form_of_somebody_elses_page_is_entered_in_nobodys_name(
    house: House, path: str, more: dict[str, str]
) -> None:
    """Dr Asha opened the page; Dr Ravi logged in on the same tablet, in another tab; her page is sent."""
    subject = house.subjects["ordinary"]
    page = house.browser("asha").get(f"/case/{subject}/review").text
    (me,) = set(re.findall(r'name="me" value="([^"]+)"', page))
    make_account(house.record, house.staff.lead.person, "ravi", "Dr Ravi Invented", (Role.SURGEON,), PLAIN, "INV-9")
    with patch.dict(PASSWORDS, ravi=PLAIN):
        ravi = house.nobody().log_in("ravi")
    ravi.post("/password", {"old": PLAIN, "new": "seven blue doors in a row", "again": "seven blue doors in a row"})
    before = house.case().sequence
    answer = ravi.post(f"/case/{subject}{path}", {"seen": str(before), "me": me, **more})
    assert answer.status_code == 403 and "opened by somebody else" in answer.text
    assert house.case().sequence == before


def test_every_form_that_is_sent_says_whose_it_is() -> None:
    found = 0
    for path in sorted((templates() / "desk").glob("*.html")):
        if path.name in ("base.html", "login.html"):  # open to somebody who is not logged in
            continue
        for form in re.findall(r'<form[^>]*method="post".*?</form>', path.read_text(encoding="utf-8"), re.S):
            assert "{{ marks() }}" in form or "mine.hidden(" in form, (path.name, form[:80])
            found += 1
    assert found > 30


# What was signed is what was seen.


def test_nothing_is_signed_once_the_settings_are_others(day: House) -> None:
    story = day.story()
    story.explain(OPERATIONS.astimezone(IST) - dt.timedelta(days=2))
    story.answer_all()
    browser, office = day.browser("asha"), day.app.state.office
    page = browser.get(f"/case/{story.subject}/review").text
    (rests_on,) = re.findall(r'name="rests-on" value="(\w+)"', page)
    assert rests_on == office.settings_print
    clinic = office.record.clinic
    telephone = clinic.telephone.model_copy(update={"night": "00000 55555"})
    office.use(replace(office.record, clinic=clinic.model_copy(update={"telephone": telephone})))
    sent = {"seen": str(day.case().sequence), "password": PASSWORDS["asha"], "rests-on": rests_on}
    answer = browser.post(f"/case/{story.subject}/sign-off", sent)
    assert answer.status_code == 409 and "settings were changed after you opened this page" in answer.text
    assert day.case().state == "explained"
    again = browser.post(f"/case/{story.subject}/sign-off", sent | {"rests-on": office.settings_print})
    assert again.status_code == 303 and day.case().state == "signed off"


# Sent twice.


def test_an_answer_that_was_lost_on_its_way_clashes_with_nobody(house: House) -> None:
    subject, meera = house.subjects["ordinary"], house.browser("meera")
    seen = str(house.case().sequence)
    form = {"seen": seen, "asked": "eye.pupil_mm", "eye.pupil_mm": "5.5"}
    first, second = (meera.post(f"/case/{subject}/enter/front", form, script=True) for _ in range(2))
    assert (first.status_code, second.status_code) == (200, 200), second.text
    assert [told.entry.kind for told in house.case().history].count("changed") == 1
    question = {"seen": seen, "question": "When can I cook?", "number": "1"}
    for _ in range(2):
        meera.post(f"/case/{subject}/asked", question)
    assert [one.question for one in house.case().case.talk.questions] == ["When can I cook?"]


# Addresses nobody means.


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "1899-12-31", "2200-01-01", "2027-02-30", ""])
def test_a_day_on_which_nobody_operates_is_no_fault_of_ours(kept_house: House, day: str) -> None:
    for path in ("/theatre", "/lists"):
        assert kept_house.browser("asha").get(f"{path}?day={day}").status_code == 200


# Limits.


def test_cookies_of_nobody_do_not_buy_more_requests(tmp_path: Path, clinic: Clinic) -> None:
    settings = DeskSettings(requests_a_minute=5)
    with (
        without_printing(),
        TestClient(
            make_app(make_record(Place(tmp_path / "record"), clinic), settings), base_url=settings.address
        ) as client,
    ):
        answers = [
            client.get("/login", headers={"cookie": f"consent-session=made-up-{number}"}).status_code
            for number in range(8)
        ]
    assert answers[-1] == 429
