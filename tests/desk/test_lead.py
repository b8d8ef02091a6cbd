"""The clinic lead's pages: what is changed is checked as a whole, kept with its history, and used from then on."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from unittest.mock import patch

import pytest

from consent.clinic import read_clinic
from consent.desk.audit_columns import asked_columns, heading, helpful_columns, needed_columns
from consent.language import DESK_DOMAIN, Counts, Rung, load_catalogue
from consent.record.accounts import make_account, read_accounts
from consent.record.keeping_certificate import CHANGED
from consent.record.login import _AGAIN as AGAIN
from consent.record.moves import Role, moves
from consent.record.place import Place, make_record
from consent.record.restore import restore
from consent.record.settings_kept import history
from consent.resources import package_data
from consent.risk.audit.columns import map_columns
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
    lila = house.browser("lila")
    assert '<fieldset class="bare" disabled>' in lila.get("/lead/settings").text
    shown = lila.get("/lead/settings/text").text
    assert "readonly>" in shown and "Nodipar Eye Centre" in shown and 'name="do" value="keep"' not in shown
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


def rows_of_the_ledger(browser: Browser, tag: str) -> str:
    browser.cookies["consent-language"] = tag
    table = re.search(r"<tbody>.*</tbody>", browser.get("/ledger").text, re.S)
    assert table is not None
    return re.sub(r"<[^>]+>", " ", table[0])


def test_the_ledger_tells_in_words_what_was_done_and_whose_account_it_was(house: House) -> None:
    house.nobody().post("/login", {"login": "asha", "password": "not the right one"})
    house.nobody().post("/login", {"login": "nobody.here", "password": "not the right one"})
    noor = house.browser("noor")
    english = rows_of_the_ledger(noor, "en")
    assert "Logged in" in english and "Login refused: wrong name or password" in english
    assert "Dr Asha Invented (asha)" in english and "Account made" in english and "New password kept" in english
    assert "A name that nobody has" in english and "Somebody unknown" in english
    assert "account-" not in english and "login-" not in english and "nobody.here" not in english
    for tag in ("bn", "hi"):
        rows = rows_of_the_ledger(noor, tag)
        assert not re.search(r"[Ll]og|[Pp]assword|[Aa]ccount|[Ss]omebody|nobody", rows)


def test_every_kind_of_entry_has_words() -> None:
    """Kinds that are written with their name in the source, and those of tries, which are put together."""
    written = "\n".join(file.read_text(encoding="utf-8") for file in package_data().rglob("*.py"))
    calls = re.findall(r'Role\.LEAD,\s*"([a-z-]+)"|kind == "([a-z]+(?:-[a-z]+)+)"|told = \("([a-z-]+)"', written)
    named = {kind for found in calls for kind in found if kind} | {CHANGED, "refused", "logged-out"}
    tries = {f"{meaning}{end}" for meaning in ("login", *AGAIN) for end in ("", "-refused", "-too-soon")}
    assert {"account-made", "password-set", "settings-kept", "clock-put-right"} <= named
    known = load_catalogue("en", None, DESK_DOMAIN).messages
    assert [kind for kind in sorted(named | tries) if f"ledger.kind.{kind}" not in known and kind not in moves()] == []


def test_what_was_chosen_for_an_account_is_not_lost_and_its_making_is_told(house: House) -> None:
    lila = house.browser("lila")
    lila.cookies["consent-language"] = "en"
    typed = {"name": "Nina New", "login": "nina.n", "role": ["counsellor", "theatre"], "password": "short"}
    answer = lila.post("/lead/people", typed)
    assert answer.status_code == 422
    new = answer.text[answer.text.index("New account") :]
    assert 'value="Nina New"' in new
    assert re.findall(r'value="(\w+)" checked', new) == ["counsellor", "theatre"]
    made = lila.post("/lead/people", typed | {"password": "four words nobody guesses"})
    page = lila.get(made.headers["location"]).text
    assert re.search(r'role="status">.*The account of Nina New is made: nina.n', page)
    assert (
        'role="status">' not in lila.get("/lead/people?made=nobody").text.partition("<main")[2].partition("</main>")[0]
    )


def test_a_change_that_cannot_be_is_shown_again_as_it_was_typed(house: House) -> None:
    lila = house.browser("lila")
    lila.cookies["consent-language"] = "en"
    answer = lila.post("/lead/people/tara", {"do": "change", "name": "", "role": ["auditor"]})
    assert answer.status_code == 422
    tara = re.search(r'<details class="card person" open>.*?</details>', answer.text, re.S)
    assert tara is not None and re.findall(r'value="(\w+)" checked', tara[0]) == ["auditor"]
    new = answer.text[answer.text.index("New account") :]
    assert "checked" not in new


def test_a_passphrase_typed_otherwise_is_told_in_its_own_words(house: House) -> None:
    lila = house.browser("lila")
    lila.cookies["consent-language"] = "en"
    answer = lila.post("/lead/backup", {"passphrase": "four words for the safe", "again": "another"})
    assert "The passphrase was not typed the same twice." in answer.text and "password was" not in answer.text


def test_a_file_of_another_kind_is_told_which_are_read(house: House) -> None:
    lila = house.browser("lila")
    lila.cookies["consent-language"] = "en"
    page = lila.post("/lead/audit", {}, files={"file": ("cases.txt", b"nothing")}).text
    assert "This file is not read: cases.txt" in page and "CSV, XLSX or ODS" in page
    assert "No file was chosen" in lila.post("/lead/audit", {}, files={"file": ("", b"")}).text


def test_the_columns_told_are_those_the_reader_needs(house: House) -> None:
    lila = house.browser("lila")
    page = lila.get("/lead/audit").text
    for column in (*needed_columns(), *helpful_columns()):
        assert f">{heading(column)}<" in page
    assert [column.id for column in needed_columns()] == ["age_years", "outcome"]
    given = lila.post("/lead/audit", {"do": "empty-file"})
    assert given.headers["content-disposition"] == 'attachment; filename="past-cases.csv"'
    (row,) = csv.reader(given.text.splitlines())
    assert set(map_columns(row, "")) == {column.id for column in asked_columns()}


@pytest.mark.parametrize(
    ("rungs", "may"),
    [
        ({Rung.RELEASED: 3, Rung.CLINICIAN_CHECKED: 1}, "all"),
        ({Rung.BACK_TRANSLATED: 1, Rung.RELEASED: 3}, "some"),
        ({Rung.MACHINE_DRAFT: 4}, "none"),
    ],
)
def test_a_language_says_first_whether_its_sheets_may_be_signed(house: House, rungs: dict[Rung, int], may: str) -> None:
    state = Counts(sum(rungs.values()), {rung: rungs.get(rung, 0) for rung in Rung}, 2)
    lila = house.browser("lila")
    lila.cookies["consent-language"] = "en"
    with patch("consent.desk.pages.lead.counts", lambda *_, **__: state):
        page = lila.get("/lead/languages").text
    words = {
        "all": "Sheets may be signed.",
        "some": "Only sheets whose words were all checked may be signed.",
        "none": "Sheets may not be signed",
    }
    assert words[may] in page and not any(other in page for name, other in words.items() if name != may)
    assert "Out of date: 2." in page and "“clinician-checked” or further" in page
    one = page[page.index('<ul class="tongues"') :]
    assert one.index(words[may]) < one.index("Out of date") < one.index("<details")
