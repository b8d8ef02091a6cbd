"""A real server and many counsellors at once: what each was told is kept, and how long it took."""

from __future__ import annotations

import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from threading import Thread

import httpx

from consent.desk.access import SESSION
from consent.record.accounts import Account, make_account, set_password
from consent.record.cases import read_case_state
from consent.record.ledger import entries
from consent.record.login import start_session
from consent.record.moves import Role
from consent.record.place import Record

QUESTIONS = (
    ("person", "patient.telephone", "00000 {:05}"),
    ("matters", "patient.what_matters_in_own_words", "She wants to sew again, told {} times."),
    ("lens", "eye.nucleus.locs_opalescence", "3.{}7"),
    ("front", "eye.pupil_mm", "5.{}7"),
    ("front", "eye.chamber_depth_mm", "3.{}7"),
    ("front", "eye.endothelial_cells_per_mm2", "24{:02}"),
    ("measurement", "measurement.by", "B. Example {}"),
    ("measurement", "measurement.formula", "Formula {}"),
    ("who-and-when", "plan.place", "Hall {}"),
    ("home", "patient.drops_helper", "her daughter, number {}"),
)
"""Screen, question, and an answer with a number in it, each of which any case can hold."""
_CONSENT = "from consent.commands.main import run; run()"
OWN = "a path along the quiet canal"


@dataclass(frozen=True)
class Desk:
    """A server over ``record`` that listens at ``address``."""

    record: Record
    address: str


@dataclass
class Counsellor:
    """One person at one question of one case, with a browser of their own."""

    desk: Desk
    account: Account
    subject: str
    question: tuple[str, str, str]
    client: httpx.Client
    told: dict[int, str] = field(default_factory=dict)
    seconds: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    _seen: str = ""
    _token: str = ""

    def sit_down(self) -> None:
        """Open the screen, as the page is opened before anything is typed."""
        page = self.client.get(f"/case/{self.subject}/enter/{self.question[0]}").text
        self._seen = hidden(page, "seen")
        self._token = hidden(page, "_csrf_token")

    def change(self, number: int) -> None:
        """Type another answer, as the script of the page sends it; remember what was acknowledged, and how fast."""
        screen, path, answer = self.question
        text = answer.format(number)
        sent = {"asked": path, path: text, "seen": self._seen, "_csrf_token": self._token}
        start = time.perf_counter()
        try:
            told = self.client.post(f"/case/{self.subject}/enter/{screen}", data=sent, headers={"x-asked-by": "script"})
            self.seconds.append(time.perf_counter() - start)
            said = told.json()
            if told.status_code != 200 or said["faults"] or not said["kept"]:
                self.errors.append(f"{told.status_code} {path} {text}: {told.text[:300]}")
                return
            self.told[said["kept"]] = text
            self._seen = str(said["seen"])
        except (httpx.HTTPError, ValueError) as failure:
            self.errors.append(f"{path} {text}: {failure!r}")


def hidden(page: str, name: str) -> str:
    """What the hidden field ``name`` of ``page`` holds."""
    found = re.search(rf'name="{name}" value="([^"]*)"', page)
    assert found is not None, page[:500]
    return found[1]


@contextmanager
def served(record: Record, printers: int = 1) -> Iterator[Desk]:
    """``consent serve`` for ``record`` in a process of its own, on this machine alone."""
    with closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-c", _CONSENT, "serve", "--record", str(record.place.folder)]
    server = subprocess.Popen([*command, "--port", str(port), "--printers", str(printers)], stdout=subprocess.DEVNULL)
    try:
        address = f"http://127.0.0.1:{port}"
        _wait(server, address)
        yield Desk(record, address)
    finally:
        server.terminate()
        server.wait(timeout=60)


def _wait(server: subprocess.Popen[bytes], address: str) -> None:
    for _ in range(300):
        assert server.poll() is None, "the server stopped"
        try:
            httpx.get(f"{address}/login")
            return
        except httpx.HTTPError:
            time.sleep(0.1)
    raise AssertionError("the server does not answer")


def counsellors(desk: Desk, subjects: Sequence[str], number: int, lead: Account) -> list[Counsellor]:
    """So many, each logged in, at a question that is nobody else's."""
    places = [(subject, question) for question in QUESTIONS for subject in subjects][:number]
    assert len(places) == number
    made = []
    for place, (subject, question) in enumerate(places):
        login = f"counsellor{place}"
        account = make_account(
            desk.record, lead.person, login, f"C. Example {place}", (Role.COUNSELLOR,), "a first word from the lead"
        )
        set_password(desk.record, account.person, login, OWN)
        made.append(Counsellor(desk, account, subject, question, browser(desk, login, OWN)))
    return made


def browser(desk: Desk, login: str, password: str) -> httpx.Client:
    """A browser in which ``login`` is logged in."""
    cookies = {SESSION: start_session(desk.record, login, password)}
    return httpx.Client(base_url=desk.address, cookies=cookies, timeout=60)


def type_at_once(people: Sequence[Counsellor], changes: int, pause: float = 0.0) -> None:
    """Everybody sits down, types so many changes, ``pause`` seconds from one to the next, and leaves."""

    def work(person: Counsellor, late: float) -> None:
        time.sleep(late)
        person.sit_down()
        for number in range(1, changes + 1):
            start = time.monotonic()
            person.change(number)
            time.sleep(max(0.0, pause - (time.monotonic() - start)))
        person.client.close()

    threads = [Thread(target=work, args=(person, pause * place / len(people))) for place, person in enumerate(people)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def not_kept(record: Record, people: Sequence[Counsellor]) -> list[str]:
    """What somebody was told is kept, and the ledger does not say; or what the case says otherwise in the end."""
    with record.store.reading() as connection:
        written = {entry.sequence: entry for entry in entries(connection)}
    lost = []
    for person in people:
        path = person.question[1]
        for sequence, text in person.told.items():
            entry = written.get(sequence)
            if entry is None or (entry.account, entry.subject) != (person.account.id, person.subject):
                lost.append(f"entry {sequence} of {person.account.login} is not in the ledger")
            elif entry.body["touched"] != [path] or str(said(record, person, sequence)) != text:
                lost.append(f"entry {sequence} does not say {path} = {text}")
        if person.told and str(said(record, person)) != person.told[max(person.told)]:
            lost.append(f"{person.subject} does not say at {path} what {person.account.login} typed last")
    return lost


def said(record: Record, person: Counsellor, until: int | None = None) -> object:
    """What the case says to the question of ``person``, after the entry ``until``."""
    found: object = read_case_state(record, person.subject, until).data
    for name in person.question[1].split("."):
        found = found[name] if isinstance(found, dict) else None
    return found
