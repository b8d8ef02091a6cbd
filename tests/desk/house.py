"""The driver of the pages for tests: people, cases, and what each sees."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest.mock import patch

from httpx import Response
from litestar import Litestar
from litestar.testing import TestClient

from consent.case import read_case
from consent.desk.app import make_app, served
from consent.desk.office import DeskSettings
from consent.desk.work import Outcome, Workshop
from consent.record.cases import read_case_state
from consent.record.keeping_certificate import keep_local_certificate
from consent.record.place import Record
from consent.record.state import CaseState
from consent.resources import package_data
from tests.record.story import PASSWORDS, Staff, Story, make_staff

EXAMPLES = ("ordinary", "hard", "second-eye")
OPERATIONS = dt.datetime(2027, 2, 24, 4, 30, tzinfo=dt.UTC)
"""Ten in the morning in India, on the day of surgery of the ordinary case and of the second eye."""
SETTINGS = DeskSettings(requests_a_minute=100_000)


class Browser:
    """One person's browser: it keeps its cookies, and sends the token of the form with each form."""

    def __init__(self, client: TestClient[Litestar]) -> None:
        self.client = client
        self.cookies: dict[str, str] = {}

    def get(self, path: str, script: bool = False, **headers: str) -> Response:
        return self._ask("GET", path, headers | ({"x-asked-by": "script"} if script else {}))

    def post(self, path: str, fields: Mapping[str, Any] | None = None, script: bool = False, **more: Any) -> Response:
        headers = {"x-form-token": self.token()} | ({"x-asked-by": "script"} if script else {})
        return self._ask("POST", path, headers, data=dict(fields or {}), **more)

    def token(self) -> str:
        found = re.search(r'name="_csrf_token" value="([^"]+)"', self.get("/login").text)
        assert found is not None
        return found[1]

    def log_in(self, who: str) -> Browser:
        answer = self.post("/login", {"login": who, "password": PASSWORDS[who]})
        assert answer.status_code == 303, answer.text
        return self

    def _ask(self, method: str, path: str, headers: dict[str, str], **more: Any) -> Response:
        """Several browsers share one client, so each brings its own cookies."""
        sent = {"cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())} if self.cookies else {}
        answer = self.client.request(method, path, headers=headers | sent, follow_redirects=False, **more)
        self.cookies |= dict(answer.cookies)
        self.client.cookies.clear()
        return answer


@dataclass
class House:
    """The running desk. ``subjects``: the three open cases by the name of their example."""

    app: Litestar
    record: Record
    staff: Staff
    subjects: dict[str, str]
    client: TestClient[Litestar]
    browsers: dict[str, Browser] = field(default_factory=dict)

    def nobody(self) -> Browser:
        """A browser of somebody who is not logged in."""
        return Browser(self.client)

    def browser(self, who: str) -> Browser:
        """The browser of ``who``, logged in."""
        if who not in self.browsers:
            self.browsers[who] = self.nobody().log_in(who)
        return self.browsers[who]

    def case(self, name: str = "ordinary") -> CaseState:
        return read_case_state(self.record, self.subjects[name])

    def story(self, name: str = "ordinary") -> Story:
        """The driver of the record for one of the cases, to bring it further without the pages."""
        return Story(self.record, self.staff, self.subjects[name])


@contextmanager
def open_house(record: Record) -> Iterator[House]:
    """A desk over ``record``, which is empty; what takes long is done at once, in this process."""
    staff = make_staff(record)
    keep_local_certificate(record)
    subjects = {}
    for name in EXAMPLES:
        story = Story(record, staff)
        story.open(read_case(Path(package_data("case", "examples", f"{name}.toml"))))
        subjects[name] = story.subject
    app = make_app(record, SETTINGS)
    with (
        patch.object(Workshop, "begin", _at_once(record)),
        TestClient(served(app, SETTINGS), base_url=SETTINGS.address) as client,
    ):
        yield House(app, record, staff, subjects, client)


def _at_once(record: Record) -> Any:
    from consent.desk import printing, work
    from consent.errors import ConsentError

    def begin(
        self: Workshop,
        task: str,
        order: Mapping[str, Any],
        account: str,
        words: str,
        seconds: float,
        back: str,
        about: str = "",
    ) -> Any:
        future: Future[Outcome] = Future()
        try:
            future.set_result(printing._TASKS[task](record, order))
        except ConsentError as error:
            future.set_result(work.outcome_of(error))
        piece = work.Piece(f"piece-{len(self._pieces)}", account, words, seconds, back, future, about)
        self._pieces[piece.id] = piece
        return piece

    return begin
