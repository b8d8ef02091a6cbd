"""Two thousand things nobody means to send, to every form and every route, and nothing breaks and nothing is lost.

OWASP ASVS 4.0.3: 5.1 (what comes in is checked), 5.2 and 5.3 (nothing of it is markup, template, query or path),
7.4.1 (no fault tells about the program), 12.1.1 and 12.1.2 (files), 13.1 (content types), 14.4 (headers).
"""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random
from unittest.mock import patch

import pytest
from httpx import Response

from consent.clinic import read_clinic
from consent.desk.access import ANYONE
from consent.record.accounts import make_account
from consent.record.cases import read_case_state
from consent.record.checking import check_record
from consent.record.ledger import read_head, stored_hash
from consent.record.moves import Role
from consent.record.place import Place, make_record
from consent.resources import package_data
from tests.desk import house as driver
from tests.desk import nasty
from tests.desk.house import Browser, House, open_house
from tests.desk.test_access import WHO, filled, routes
from tests.record.acts import without_printing
from tests.record.clock import TestClock
from tests.record.story import IST, Story

pytestmark = pytest.mark.slow
DAY = dt.datetime(2027, 2, 24, 4, 30, tzinfo=dt.UTC)
SEED = 20270224
"""CONSENT_FUZZ_SEED=1 .venv/bin/pytest -m slow tests/desk/test_fuzz.py sends other things."""
NEVER = re.compile(
    rf"Traceback|site-packages|sqlalchemy|{re.escape(str(Path(__file__).parents[2]))}|/tmp/|\.py\b|File &#34;|"
    rf"{re.escape(nasty.MARK)}|{nasty.SUM}",
    re.IGNORECASE,
)
"""What no page may hold: a trace of the program, a path of the machine, markup or sums that somebody typed."""
HEADERS = (
    "content-security-policy",
    "x-content-type-options",
    "x-frame-options",
    "referrer-policy",
    "cross-origin-opener-policy",
    "cache-control",
)
SPARE, LEAVER = "spare", "leaver"
"""Logins of somebody whose account may be changed and closed, and of somebody who logs out time and again."""
GIVEN = "a first word given by the lead"


@dataclass
class Stranger:
    """Sends what no browser would, as somebody who is logged in, and remembers what was acknowledged."""

    house: House
    random: Random
    tokens: dict[str, str] = field(default_factory=dict)
    entries: dict[int, str] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    sent: int = 0

    def browser(self, who: str) -> Browser:
        if who == LEAVER:
            self.house.browsers[LEAVER] = self.house.nobody()
            self.house.browsers[LEAVER].post("/login", {"login": LEAVER, "password": GIVEN})
            self.tokens.pop(LEAVER, None)
        browser = self.house.browser(who)
        if who not in self.tokens:
            self.tokens[who] = browser.token()
        return browser

    def ask(self, who: str, method: str, path: str, body: bytes = b"", kind: str = "", **headers: bytes) -> Response:
        """Ask as ``who``, look at the answer, and remember the last entry there is."""
        browser = self.browser(who)
        cookies = "; ".join(f"{name}={value}" for name, value in browser.cookies.items()).encode()
        sent = {b"cookie": cookies, b"x-form-token": self.tokens[who].encode(), b"content-type": kind.encode()}
        sent |= {name.replace("_", "-").encode(): value for name, value in headers.items()}
        answer = self.house.client.request(
            method, path, content=body, headers=list(sent.items()), follow_redirects=False
        )
        self.house.client.cookies.clear()
        self.sent += 1
        self._look(answer, f"{who} {method} {path[:120]} {body[:300]!r} {headers}")
        return answer

    def _look(self, answer: Response, what: str) -> None:
        if answer.status_code >= 500:
            self.faults.append(f"{answer.status_code}: {what}")
        lacking = [name for name in HEADERS if name not in answer.headers]
        if lacking:
            self.faults.append(f"without {lacking}: {what}")
        told = str(answer.headers.get("location", ""))
        if told and not re.match(r"/(?![/\\])", told):
            self.faults.append(f"sent elsewhere, to {told!r}: {what}")
        kind = answer.headers.get("content-type", "")
        if ("html" in kind or "json" in kind) and (found := NEVER.search(answer.text)):
            self.faults.append(f"{found[0]!r} in the page: {what}")
        with self.house.record.store.reading() as connection:
            head = read_head(connection, self.house.record.key)
        self.entries[head.sequence] = head.hash


def broken_record(stranger: Stranger, cases: list[str]) -> list[str]:
    """What no longer holds: the chain, an entry that was acknowledged, a case that cannot be read."""
    record = stranger.house.app.state.office.record
    found = [str(problem) for problem in check_record(record).problems]
    with record.store.reading() as connection:
        found += [
            f"entry {sequence} is gone"
            for sequence, hash_ in stranger.entries.items()
            if sequence and stored_hash(connection, sequence) != hash_
        ]
    for subject in cases:
        if not read_case_state(record, subject).case.patient.name:
            found.append(f"{subject} has no name")
    return found


def further(house: House) -> dict[str, str]:
    """Cases in every state, so that each form has one that it is for."""
    at = house.record.clock().astimezone(IST)
    before = at - dt.timedelta(days=2)
    cases = {}
    for steps, name in enumerate(("draft", "explained", "ready", "signed", "consented", "confirmed", "done")):
        story = Story(house.record, house.staff)
        story.open()
        whole = (
            lambda story=story: story.explain(before),
            lambda story=story: (story.accept_figures(), story.answer_all()),
            lambda story=story: story.sign_off(),
            lambda story=story: story.consent(),
            lambda story=story: story.confirm(house.record.clock().astimezone(IST)),
            lambda story=story: story.operate(),
        )
        for step in whole[:steps]:
            step()
        cases[name] = story.subject
    return cases


def asked_by(roles: frozenset[str]) -> str:
    """Somebody who may."""
    return next(login for role, login in WHO.items() if role.value in roles or roles == ANYONE)


def every_form(house: House, cases: dict[str, str]) -> list[tuple[str, str, nasty.Pairs]]:
    """Who, where to, and all that it holds, of each form on each page, and of each route that has none."""
    found: dict[tuple[str, tuple[str, ...]], tuple[str, str, nasty.Pairs]] = {}
    declared = [(method, path, roles) for method, path, roles in routes(house)]
    for method, path, roles in declared:
        if method != "GET" or "file_path" in path:
            continue
        for subject in cases.values() if "{subject" in path and "/enter/" not in path else [cases["draft"]]:
            names = _SCREENS if "/enter/" in path else ("person",)
            for name in names:
                where = filled(house, path.replace("{name:str}", name).replace("{name}", name)).replace(
                    house.subjects["ordinary"], subject
                )
                who = asked_by(roles)
                for action, pairs in nasty.forms_of(house.browser(who).get(where).text):
                    key = (re.sub(r"case-[0-9a-f]{16}", "", action or where), tuple(sorted({n for n, _ in pairs})))
                    found.setdefault(key, (LEAVER if action == "/logout" else who, action or where, pairs))
    reached = {_plain(action) for _, action, _ in found.values()}
    for method, path, roles in declared:
        where = filled(house, path)
        if method == "POST" and _plain(where) not in reached:
            found[(where, ())] = (asked_by(roles), where, [(name, "1") for name in _USUAL])
    return list(found.values())


def _plain(action: str) -> str:
    return re.sub(r"case-[0-9a-f]{16}", "{subject}", action.partition("?")[0])


_USUAL = ("seen", "entry", "screen", "reason", "password", "language", "said", "question")
_SCREENS = ("person", "health", "sight", "back", "medicines", "operation", "who-and-when", "home")


@pytest.fixture(scope="module")
def clinic_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("fuzz") / "clinic.toml"
    shutil.copy(package_data("clinic", "demo.toml"), file)
    return file


@pytest.fixture(scope="module")
def open_desk(clinic_file: Path) -> Iterator[House]:
    """A desk on the day of surgery with a settings file of its own."""
    settings = replace(driver.SETTINGS, clinic_file=clinic_file)
    record = make_record(Place(clinic_file.parent / "record"), read_clinic(clinic_file), TestClock(DAY))
    with without_printing(), patch.object(driver, "SETTINGS", settings), open_house(record) as made:
        for login in (SPARE, LEAVER):
            make_account(record, made.staff.lead.person, login, "S. Spare", (Role.COUNSELLOR,), GIVEN)
        yield made


@pytest.fixture(scope="module")
def stranger(open_desk: House) -> Stranger:
    return Stranger(open_desk, Random(int(os.environ.get("CONSENT_FUZZ_SEED", SEED))))


@pytest.fixture(scope="module")
def cases(open_desk: House) -> dict[str, str]:
    return further(open_desk)


@pytest.fixture(autouse=True)
def nothing_broken(stranger: Stranger, cases: dict[str, str]) -> Iterator[None]:
    """After each test: every answer was one, and the record holds all that it held."""
    stranger.faults.clear()
    yield
    subjects = [*cases.values(), *stranger.house.subjects.values()]
    broken = broken_record(stranger, subjects)
    assert (stranger.faults[:12], broken) == ([], [])


def test_forms_filled_in_as_nobody_would(stranger: Stranger, cases: dict[str, str]) -> None:
    random = stranger.random
    forms = every_form(stranger.house, cases)
    posted = {_plain(action) for _, action, _ in forms}
    assert len(forms) > 40 and "/case/{subject}/sign-off" in posted, sorted(posted)
    everywhere = [*cases.values(), *stranger.house.subjects.values()]
    for number in range(900):
        who, action, pairs = forms[number % len(forms)]
        if random.random() < 0.1:
            action = re.sub(r"case-[0-9a-f]{16}", random.choice((*everywhere, *nasty.PLACES[:8])), action)
        action = re.sub(rf"/lead/people/({'|'.join(WHO.values())})$", f"/lead/people/{SPARE}", action)
        sent = nasty.altered(random, nasty.chosen(random, pairs))
        kind = nasty.URL_ENCODED
        body = nasty.url_encoded(sent)
        if random.random() < 0.08:
            body, kind = nasty.multipart(random, sent, [])
        elif random.random() < 0.05:
            kind = random.choice(nasty.TYPES)
        script = {"x_asked_by": b"script"} if random.random() < 0.3 else {}
        answer = stranger.ask(who, "POST", action, body, kind, **script)
        acknowledged(stranger, answer)


def acknowledged(stranger: Stranger, answer: Response) -> None:
    """What a script was told is kept, stands in the ledger."""
    if answer.headers.get("content-type", "").startswith("application/json") and "kept" in answer.text:
        kept = answer.json().get("kept")
        with stranger.house.record.store.reading() as connection:
            if kept and stored_hash(connection, kept) is None:
                stranger.faults.append(f"entry {kept} was acknowledged and is not there")


def test_addresses_that_no_page_has(stranger: Stranger, cases: dict[str, str]) -> None:
    random = stranger.random
    declared = [(method, path, roles) for method, path, roles in routes(stranger.house) if path != "/logout"]
    for number in range(520):
        method, path, roles = declared[number % len(declared)]
        names = re.findall(r"\{[^}]*\}", path)
        wrong = random.choice(names) if names and random.random() < 0.7 else None
        if wrong:
            path = path.replace(wrong, random.choice((*nasty.PLACES, *cases.values())))
        where = filled(stranger.house, path)
        if random.random() < 0.6:
            where += "?" + "&".join(random.sample(nasty.QUERIES, random.randint(1, 3)))
        script = {"x_asked_by": b"script"} if random.random() < 0.2 else {}
        stranger.ask(asked_by(roles), method, where, b"seen=1" if method == "POST" else b"", **script)


def test_cookies_and_headers_that_nobody_was_given(stranger: Stranger) -> None:
    random = stranger.random
    for _ in range(150):
        cookie, path = (
            random.choice(nasty.COOKIES),
            random.choice(("/", "/login", "/cases", "/static/desk.css", "/none")),
        )
        stranger.ask("meera", "GET", path, cookie=cookie)
        stranger.ask("meera", "POST", "/cases", b"wanted=a", nasty.URL_ENCODED, cookie=cookie)
        odd = random.choice((b"\xff", b"a" * 9000, b"../..", b"\xe0\xa4\x95", b"-1", b"*/*;q=x", b",,,;;", b"\x00"))
        name = random.choice(
            ("accept_language", "x_form_token", "host", "accept", "x_asked_by", "content_length", "range")
        )
        stranger.ask("meera", random.choice(("GET", "POST")), "/cases", b"", nasty.URL_ENCODED, **{name: odd})


def test_files_that_are_not_what_they_say(stranger: Stranger) -> None:
    random, files = stranger.random, nasty.files()
    for number in range(130):
        name, content = files[number % len(files)]
        field, fields = random.choice(("file", "file", "file", "files", "_csrf_token", "")), [("years", "2026")]
        body, kind = nasty.multipart(random, nasty.altered(random, fields), [(field, name, content)])
        where = (
            "/lead/audit" if random.random() < 0.8 else random.choice(("/lead/settings/text", "/lead/people", "/cases"))
        )
        stranger.ask("lila", "POST", where, body, kind)


def test_it_was_two_thousand(stranger: Stranger) -> None:
    assert stranger.sent >= 2000
