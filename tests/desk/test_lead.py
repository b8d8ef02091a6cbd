"""The clinic lead's pages: what is changed is checked as a whole, kept with its history, and used from then on."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import pytest

from consent.clinic import read_clinic
from consent.record.accounts import make_account, read_accounts
from consent.record.moves import Role
from consent.record.place import Place, make_record
from consent.record.restore import restore
from consent.record.settings_kept import history
from consent.resources import package_data
from tests.desk import house as driver
from tests.desk.house import Browser, House, open_house
from tests.record.acts import without_printing
from tests.record.story import PASSWORDS


@pytest.fixture
def own(tmp_path: Path) -> Iterator[House]:
    """A desk with a settings file of its own."""
    file = tmp_path / "clinic.toml"
    shutil.copy(package_data("clinic", "demo.toml"), file)
    settings = replace(driver.SETTINGS, clinic_file=file)
    record = make_record(Place(tmp_path / "record"), read_clinic(file))
    with without_printing(), patch.object(driver, "SETTINGS", settings), open_house(record) as made:
        yield made


def text(house: House) -> str:
    path = house.app.state.office.settings.clinic_file
    return str(path.read_text(encoding="utf-8"))


def test_a_setting_is_kept_with_its_comments_and_used_at_once(own: House) -> None:
    before = text(own)
    lila = own.browser("lila")
    answer = lila.post(
        "/lead/settings", {"asked": "aftercare.shield_nights", "aftercare.shield_nights": "5", "why": "new habit"}
    )
    assert answer.status_code == 303
    after = text(own)
    assert after == before.replace("shield_nights = 7", "shield_nights = 5")
    assert own.app.state.office.record.clinic.aftercare.shield_nights == 5
    kept = history(own.record)
    assert [(one.person, one.why) for one in kept] == [("Lila Invented", "new habit"), ("Lila Invented", "as found")]
    assert (kept[0].text, kept[1].text) == (after, before)


def test_a_setting_that_cannot_be_is_shown_again_and_nothing_is_written(own: House) -> None:
    before = text(own)
    answer = own.browser("lila").post("/lead/settings", {"asked": "drops.gap_minutes", "drops.gap_minutes": "90"})
    assert answer.status_code == 422 and 'value="90"' in answer.text and "Between 5 and 30" in answer.text
    assert (text(own), history(own.record)) == (before, ())


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ('regimen = "weekly-4-3-2-1"', "no regimen is called"),
        ("schema = 1", "is not known"),
        ('name = "Nodipar', "is not TOML"),
    ],
)
def test_text_that_cannot_be_used_is_not_kept(own: House, change: str, told: str) -> None:
    before = text(own)
    bad = {
        'regimen = "weekly-4-3-2-1"': 'regimen = "nobody"',
        "schema = 1": "schema = 1\nsurprise = 2",
        'name = "Nodipar': "name = Nodipar",
    }
    answer = own.browser("lila").post(
        "/lead/settings/text", {"text": before.replace(change, bad[change]), "do": "keep"}
    )
    assert answer.status_code == 422 and told in answer.text
    assert text(own) == before


def test_a_regimen_of_the_house_is_offered_once_it_is_kept(own: House) -> None:
    lila = own.browser("lila")
    page = lila.get("/lead/settings/text?add=weekly-4-3-2-1").text
    assert "[regimens.weekly-4-3-2-1]" in page.replace("&#34;", '"')
    added = text(own) + (
        '\n[regimens.house]\ntitle = "House course"\n\n[[regimens.house.items]]\ndrug = "prednisolone-acetate"\n'
        'steps = [{ from_day = 1, days = 7, times_a_day = 4 }]\nsource = "our own habit"\n'
        'verified = "common practice, no source"\n'
    )
    answer = lila.post("/lead/settings/text", {"text": added, "do": "keep"})
    assert answer.status_code == 303
    assert "House course" in lila.get("/lead/drops").text


def _shown(browser: Browser) -> str:
    """What the page of settings says it was made from."""
    (version,) = re.findall(r'name="version" value="(\d+)"', browser.get("/lead/settings").text)
    return str(version)


def test_of_two_leads_neither_loses_what_the_other_kept(own: House) -> None:
    """CWE-362: both opened the page before either kept anything."""
    make_account(own.record, own.staff.lead.person, "lata", "Lata Invented", (Role.LEAD,), PASSWORDS["lila"] + " too")
    with patch.dict(PASSWORDS, lata=PASSWORDS["lila"] + " too"):
        lata = own.nobody().log_in("lata")
    lata.post(
        "/password",
        {"old": PASSWORDS["lila"] + " too", "new": "nine kites in the wind", "again": "nine kites in the wind"},
    )
    lila, whole = own.browser("lila"), own.record.clinic
    version = _shown(lila)
    both = {"telephone.night": whole.telephone.night, "place": whole.place, "version": version}
    asked = {"asked": ["telephone.night", "place"]}
    assert lata.post("/lead/settings", {**both, **asked, "telephone.night": "00000 99999"}).status_code == 303
    assert lila.post("/lead/settings", {**both, **asked, "place": "Elsewhere (invented)"}).status_code == 303
    now = own.app.state.office.record.clinic
    assert (now.telephone.night, now.place) == ("00000 99999", "Elsewhere (invented)")
    clash = lila.post("/lead/settings", {**both, **asked, "telephone.night": "00000 11122"})
    assert clash.status_code == 409 and "Somebody else changed the settings meanwhile" in clash.text
    assert 'value="00000 11122"' in clash.text, "what was typed stays"
    assert own.app.state.office.record.clinic.telephone.night == "00000 99999"
    typed = text(own).replace("00000 99999", "00000 33344")
    refused = lila.post("/lead/settings/text", {"text": typed, "do": "keep", "version": version})
    assert refused.status_code == 409 and "+night" in refused.text.replace(" ", "") and "00000 99999" in text(own)


def test_only_what_was_touched_is_told_as_changed(own: House) -> None:
    lila = own.browser("lila")
    default = {"asked": ["week_starts_on", "aftercare.shield_nights"], "week_starts_on": "sunday"}
    assert lila.post("/lead/settings", {**default, "aftercare.shield_nights": "6"}).status_code == 303
    assert "week_starts_on" not in text(own)


def test_the_shipped_settings_are_not_changed(house: House) -> None:
    answer = house.browser("lila").post("/lead/settings", {"asked": "name", "name": "Another"})
    assert answer.status_code == 409
    assert history(house.record) == ()


def test_accounts_are_made_changed_and_closed(house: House) -> None:
    lila = house.browser("lila")
    made = {"login": "nina", "name": "N. Fresh", "role": ["counsellor"], "password": "a word to begin with here"}
    assert lila.post("/lead/people", made).status_code == 303
    assert lila.post("/lead/people", made).status_code == 422
    changed = {"do": "change", "name": "N. Fresh", "role": ["theatre"], "registration": ""}
    assert lila.post("/lead/people/nina", changed).status_code == 303
    assert lila.post("/lead/people/nina", {"do": "close"}).status_code == 303
    with house.record.store.reading() as connection:
        found = next(one for one in read_accounts(connection, house.record.key).values() if one.login == "nina")
    assert (found.roles, found.closed, found.own) == (("theatre",), True, False)


def test_a_lead_does_not_change_the_own_account(house: House) -> None:
    answer = house.browser("lila").post(
        "/lead/people/lila",
        {"do": "change", "name": "Lila Invented", "role": ["lead", "surgeon"], "registration": "X-1"},
    )
    assert answer.status_code == 422


def test_a_backup_of_the_page_makes_the_record_again(house: House, tmp_path: Path) -> None:
    phrase = "four words for the safe"
    lila = house.browser("lila")
    made = lila.post("/lead/backup", {"passphrase": phrase, "again": phrase}).headers["location"]
    answer = lila.get(f"{made}/0")
    assert answer.status_code == 200 and answer.headers["content-disposition"].startswith("attachment")
    assert lila.get(f"{made}/0").status_code == 404
    assert [one for one in house.record.place.folder.iterdir() if one.name.startswith("backup-")] == []
    file = tmp_path / "kept"
    file.write_bytes(answer.content)
    restored = restore(file, phrase, Place(tmp_path / "again"), house.record.clinic)
    assert restored
    assert house.browser("lila").post("/lead/backup", {"passphrase": phrase, "again": "another"}).status_code == 422


def checked(browser: Browser) -> str:
    """What the page says after a check of the record."""
    waiting = browser.post("/ledger").headers["location"]
    return browser.get(browser.get(waiting).headers["location"]).text


def test_the_ledger_names_no_patient_and_tells_whether_it_holds(house: House) -> None:
    noor = house.browser("noor")
    page = noor.get("/ledger").text
    assert "M. Example" in page and "Shanti" not in page and "DEMO-0001" not in page
    assert "It holds together." in checked(noor)
    with house.record.store.writing() as connection:
        connection.exec_driver_sql("DROP TRIGGER IF EXISTS ledger_no_update")
    assert "It does not hold together" in checked(noor)


def test_past_cases_are_read_and_the_file_is_not_kept(own: House) -> None:
    lila = own.browser("lila")
    answer = lila.post("/lead/audit", {}, files={"file": ("cases.txt", b"nothing")})
    assert answer.status_code == 422
    answer = lila.post(
        "/lead/audit", {"keep": "yes"}, files={"file": ("cases.csv", b"age,sex,rupture\n70,female,no\n")}
    )
    assert answer.status_code == 422
    assert own.app.state.office.record.clinic.audit is None
