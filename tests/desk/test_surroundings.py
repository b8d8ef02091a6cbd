"""What surrounds each answer: headers, cookies, hosts, limits, logs.

OWASP ASVS 4.0.3: 3.4 (cookies), 14.4 (headers), 14.5.3 (hosts), 13.1 and 12.1.1 (size), 11.1.4 (rate), 7.1 (logs).
"""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from litestar.testing import TestClient

from consent.clinic import Clinic
from consent.desk.app import make_app, served
from consent.desk.office import DeskSettings
from consent.logs import AsJson
from consent.record.place import Place, make_record
from consent.resources import templates
from tests.desk.house import House
from tests.record.acts import without_printing


def test_every_answer_carries_the_headers(kept_house: House) -> None:
    browser = kept_house.browser("meera")
    for path in ("/login", "/cases", "/no-such-page", "/static/desk.css"):
        headers = browser.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["cache-control"] == "no-store"
        assert "strict-transport-security" not in headers


def test_by_tls_the_browser_is_told_to_stay_there(tmp_path: Path, clinic: Clinic) -> None:
    # RFC 6797, section 6.1; OWASP ASVS 4.0.3, 14.4.5.
    record = make_record(Place(tmp_path / "record"), clinic)
    settings = DeskSettings(names=("desk.invented",), port=443, tls=True)
    with TestClient(served(make_app(record, settings), settings), base_url=settings.address) as client:
        assert client.get("/login").headers["strict-transport-security"] == "max-age=31536000"


def test_no_page_needs_what_the_policy_forbids() -> None:
    # No inline script, style or handler in any template: the policy has no exception for them.
    import re

    for path in (templates() / "desk").glob("*.html"):
        if path.name in ("phone-file.html", "phone_file.html"):
            continue  # a file that is sent: it has no server, and its own policy
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"<script(?![^>]*\bsrc=)", text), path.name
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=", text), path.name
        assert not re.search(r"(src|href)=\"https?://", text), path.name


def test_cookies_are_out_of_reach_of_scripts_and_other_sites(kept_house: House) -> None:
    browser = kept_house.nobody()
    browser.token()
    answer = browser.post("/login", {"login": "meera", "password": "seven brass bells ring"})
    cookie = next(value for value in answer.headers.get_list("set-cookie") if value.startswith("consent-session="))
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie.replace("Strict", "strict")


def test_cookies_travel_by_tls_only_where_there_is_tls(tmp_path: Path, clinic: Clinic) -> None:
    record = make_record(Place(tmp_path / "record"), clinic)
    settings = DeskSettings(names=("desk.invented",), port=443, tls=True)
    with TestClient(make_app(record, settings), base_url=settings.address) as client:
        cookie = client.get("/login").headers["set-cookie"]
    assert "Secure" in cookie


def test_another_host_name_is_refused(kept_house: House) -> None:
    answer = kept_house.nobody().get("/login", host="desk.elsewhere")
    assert answer.status_code == 400


def test_a_form_larger_than_any_of_ours_is_refused(kept_house: House) -> None:
    browser = kept_house.browser("meera")
    answer = browser.post("/cases", {"wanted": "a" * 400_000})
    assert answer.status_code == 413


def test_more_fields_than_a_form_can_hold_are_refused(kept_house: House) -> None:
    browser = kept_house.browser("meera")
    answer = browser.post("/cases", {f"field{number}": "a" for number in range(700)})
    assert answer.status_code == 413


def test_too_many_requests_are_slowed_down(tmp_path: Path, clinic: Clinic) -> None:
    with without_printing():
        record = make_record(Place(tmp_path / "record"), clinic)
        settings = DeskSettings(requests_a_minute=5)
        with TestClient(make_app(record, settings), base_url=settings.address) as client:
            answers = [client.get("/login").status_code for _ in range(7)]
    assert answers[:5] == [200] * 5 and answers[-1] == 429


def test_a_fault_of_ours_names_no_patient(kept_house: House, monkeypatch: pytest.MonkeyPatch, caplog) -> None:
    def broken(*_: object) -> object:
        raise RuntimeError("Shanti Example, DEMO-0001")

    monkeypatch.setattr("consent.desk.pages.cases._groups", broken)
    with caplog.at_level(logging.INFO):
        page = kept_house.browser("meera").get("/cases")
    assert page.status_code == 500
    assert "Shanti" not in page.text and "Traceback" not in page.text
    logged = "\n".join(AsJson().format(record) for record in caplog.records)
    assert "Shanti" not in logged and "RuntimeError" in logged


def test_no_address_holds_anything_typed(kept_house: House) -> None:
    browser = kept_house.browser("meera")
    found = browser.post("/cases", {"wanted": "shanti"})
    assert "Shanti Example" in found.text and "Kamla" not in found.text
    assert "shanti" not in str(found.url)


def test_no_page_names_a_folder_of_the_machine() -> None:
    from consent.desk.told import without_folders

    told = '/srv/our clinic/locales/bn/LC_MESSAGES/consent.po, message "before.with"'
    assert without_folders(told) == 'consent.po, message "before.with"'
    assert without_folders("C:\\clinic\\record.sqlite3") == "record.sqlite3"
    assert without_folders("case-0123456789abcdef, 5/6, eye.pupil_mm") == "case-0123456789abcdef, 5/6, eye.pupil_mm"


def test_forms_sent_are_not_remembered_by_the_framework(kept_house: House) -> None:
    # Litestar keeps the last 1,024 bodies of forms to read them faster: passwords would stay in memory.
    from litestar._parsers import parse_url_encoded_form_data

    before = parse_url_encoded_form_data.cache_info().currsize
    kept_house.nobody().post("/login", {"login": "nobody", "password": "a word nobody else may see"})
    assert parse_url_encoded_form_data.cache_info().currsize == before


def test_a_token_of_another_key_is_replaced_and_the_next_form_is_taken(kept_house: House) -> None:
    browser = kept_house.nobody()
    browser.cookies["consent-form"] = "a" * 128
    answer = browser.post("/login", {"login": "nobody", "password": "x"})
    assert "do not belong together" in answer.text


def test_a_page_of_faults_is_html_also_where_a_handler_may_answer_otherwise(kept_house: House) -> None:
    answer = kept_house.browser("meera").post("/cases/new", {"asked": "patient.name"})
    assert (answer.status_code, answer.headers["content-type"]) == (422, "text/html; charset=utf-8")
