"""Every route with every role; forms without their token; who may not, is told, and it is kept.

OWASP ASVS 4.0.3: 4.1.1 (enforced on the server), 4.1.3 (least privilege), 4.1.5 (fails securely), 4.2.2 (anti-CSRF).
"""

from __future__ import annotations

import re

import pytest
from litestar.handlers import HTTPRouteHandler

from consent.desk.access import ANYONE
from consent.record.moves import Role
from tests.desk.house import House

OPEN_TO_ANYONE = {
    "/login",
    "/language",
    "/phone/{token:str}",
    "/static/{file_path:path}",
    "/styles/{file_path:path}",
    "/health",
    "/metrics",
}
"""What needs no account, and why: logging in, the language of that page, the patient's page, styles."""
WHO = {
    Role.COUNSELLOR: "meera",
    Role.SURGEON: "asha",
    Role.THEATRE: "tara",
    Role.LEAD: "lila",
    Role.AUDITOR: "noor",
}


def routes(house: House) -> list[tuple[str, str, frozenset[str]]]:
    """Method, path and roles of every route."""
    found = []
    for route in house.app.routes:
        for handler in getattr(route, "route_handlers", ()):
            assert isinstance(handler, HTTPRouteHandler)
            for method in handler.http_methods - {"OPTIONS"}:
                found.append((method, route.path_format if hasattr(route, "path_format") else route.path, handler))
    return [(method, path, handler.opt.get("roles", frozenset())) for method, path, handler in found]


def filled(house: House, path: str) -> str:
    """``path`` with something in the place of each of its parameters."""
    path = re.sub(r"\{subject[^}]*\}", house.subjects["ordinary"], path)
    path = re.sub(r"\{[^}]*:int\}|\{(place|number)\}", "1", path)
    return re.sub(r"\{[^}]*\}", "person", path)


def test_every_route_names_its_roles(kept_house: House) -> None:
    without = [(method, path) for method, path, roles in routes(kept_house) if not roles]
    assert without == []
    known = {role.value for role in Role}
    assert {path for _, path, roles in routes(kept_house) if roles - known - ANYONE} == set()


def test_only_what_must_be_is_open_to_anyone(kept_house: House) -> None:
    found = {re.sub(r"\{(\w+)\}", r"{\1}", path) for _, path, roles in routes(kept_house) if roles == ANYONE}
    wanted = {re.sub(r":\w+\}", "}", path) for path in OPEN_TO_ANYONE}
    assert {re.sub(r":\w+\}", "}", path) for path in found} <= wanted


def test_nobody_sees_a_page_without_logging_in(kept_house: House) -> None:
    nobody = kept_house.nobody()
    for method, path, roles in routes(kept_house):
        if roles == ANYONE:
            continue
        where = filled(kept_house, path)
        answer = nobody.get(where) if method == "GET" else nobody.post(where)
        assert (answer.status_code, answer.headers.get("location")) == (303, "/login"), (method, path)


@pytest.mark.parametrize("role", list(Role))
def test_who_may_not_is_refused_on_every_route(kept_house: House, role: Role) -> None:
    browser = kept_house.browser(WHO[role])
    looked_at = 0
    for method, path, roles in routes(kept_house):
        if roles == ANYONE or role.value in roles or path == "/logout":
            continue
        where = filled(kept_house, path)
        answer = browser.get(where) if method == "GET" else browser.post(where)
        assert answer.status_code == 403, (method, path, role)
        looked_at += 1
    assert looked_at > 0


@pytest.mark.parametrize("role", list(Role))
def test_who_may_look_is_never_refused_and_nothing_breaks(kept_house: House, role: Role) -> None:
    browser = kept_house.browser(WHO[role])
    for method, path, roles in routes(kept_house):
        if method == "GET" and (role.value in roles):
            answer = browser.get(filled(kept_house, path))
            assert answer.status_code not in (403, 500), (path, role, answer.text[:2000])


def test_a_form_without_its_token_is_refused(kept_house: House) -> None:
    browser = kept_house.browser("meera")
    before = kept_house.case().sequence
    for method, path, _ in routes(kept_house):
        if method == "POST":
            answer = browser._ask("POST", filled(kept_house, path), {}, data={"seen": str(before)})
            assert answer.status_code == 403, path
    assert kept_house.case().sequence == before


def test_a_token_of_another_browser_does_not_fit(kept_house: House) -> None:
    other = kept_house.nobody().token()
    browser = kept_house.browser("meera")
    browser.token()
    answer = browser._ask("POST", "/cases", {"x-form-token": other}, data={"wanted": "a"})
    assert answer.status_code == 403


def test_a_role_taken_away_is_gone_at_the_next_step(house: House) -> None:
    # OWASP ASVS 4.0.3, 3.3.3 and 4.1.2: what somebody may do is looked up at each request.
    from consent.record.accounts import change_account

    tara = house.browser("tara")
    assert tara.get("/theatre").status_code == 200
    change_account(house.record, house.staff.lead.person, "tara", "T. Example", (Role.COUNSELLOR,), None)
    answer = tara.get("/theatre")
    assert (answer.status_code, answer.headers.get("location")) == (303, "/login")


def test_a_first_password_of_the_lead_opens_nothing_but_its_change(house: House) -> None:
    from consent.record.accounts import make_account

    given = "a word to begin with here"
    make_account(house.record, house.staff.lead.person, "nina", "N. Fresh", (Role.COUNSELLOR,), given)
    nina = house.nobody()
    nina.post("/login", {"login": "nina", "password": given})
    answer = nina.get("/cases")
    assert (answer.status_code, answer.headers.get("location")) == (303, "/password")
    own = "mango tree over the wall"
    nina.post("/password", {"old": given, "new": own, "again": own})
    nina.post("/login", {"login": "nina", "password": own})
    assert nina.get("/cases").status_code == 200


def test_logging_out_ends_the_session_on_the_server(house: House) -> None:
    # OWASP ASVS 4.0.3, 3.3.1: the token is worth nothing afterwards, even if it was kept.
    browser = house.nobody().log_in("meera")
    token = browser.cookies["consent-session"]
    browser.post("/logout")
    browser.cookies["consent-session"] = token
    assert browser.get("/cases").headers.get("location") == "/login"
