"""Serves a desk on a free port of this machine, and gives each person a browser of their own."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import Browser, BrowserContext, Page

from consent.case import read_case
from consent.clinic import Clinic
from consent.record.cases import read_case_state
from consent.record.keeping_certificate import keep_local_certificate
from consent.record.place import Place, Record, make_record
from consent.record.state import CaseState
from consent.resources import package_data
from tests.record.story import PASSWORDS, Staff, Story, make_staff

PHONE, TABLET, DESK = {"width": 390, "height": 844}, {"width": 820, "height": 1180}, {"width": 1280, "height": 900}
_PROGRAM = """
import sys
from pathlib import Path
from consent.clinic import read_clinic
from consent.desk.office import DeskSettings
from consent.desk.serving import serve
from consent.record.place import Place, open_record
if __name__ == "__main__":
    folder, port, mirrored = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3] == "yes"
    settings = DeskSettings(port=port, mirrored=mirrored, requests_a_minute=100_000)
    serve(open_record(Place(folder), read_clinic()), settings, "127.0.0.1")
"""


@dataclass
class Served:
    """A desk that is being served. ``subjects``: its open cases by the name of their example."""

    folder: Path
    port: int
    record: Record
    staff: Staff
    subjects: dict[str, str]
    process: subprocess.Popen[bytes] | None = None
    faults: list[str] = field(default_factory=list)

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def case(self, name: str) -> CaseState:
        return read_case_state(self.record, self.subjects.get(name, name))

    def story(self, name: str) -> Story:
        """The driver of the record, to bring a case further without the pages."""
        return Story(self.record, self.staff, self.subjects[name])

    def start(self, mirrored: bool = False) -> None:
        """Serve, and wait until it answers."""
        program = self.folder / "serve_for_tests.py"
        program.write_text(_PROGRAM, encoding="utf-8")
        arguments = [str(self.folder / "record"), str(self.port), "yes" if mirrored else "no"]
        self.process = subprocess.Popen([sys.executable, str(program), *arguments])
        for _ in range(300):
            if self.process.poll() is not None:
                raise RuntimeError(f"the desk ended at once, with {self.process.returncode}")
            try:
                with urlopen(f"{self.address}/login", timeout=2):  # noqa: S310  our own server
                    return
            except (URLError, OSError):
                time.sleep(0.1)
        raise TimeoutError("the desk does not answer")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(timeout=60)
            self.process = None

    def context(self, chromium: Browser, who: str | None, **options: Any) -> BrowserContext:
        """A browser of ``who``, logged in; what goes wrong in its console is a fault of the test."""
        context = chromium.new_context(base_url=self.address, viewport=options.pop("viewport", TABLET), **options)
        context.on("page", self._watch)
        if who is not None:
            page = context.new_page()
            log_in(page, who)
            page.close()
        return context

    def _watch(self, page: Page) -> None:
        def told(message: Any) -> None:
            # A refusal that a test asks for is told by the browser as a failed resource.
            if message.type == "error" and "the server responded with a status of 4" not in message.text:
                self.faults.append(f"{page.url}: {message.text}")

        page.on("console", told)
        page.on("pageerror", lambda error: self.faults.append(f"{page.url}: {error}"))


def log_in(page: Page, who: str) -> None:
    page.goto("/login")
    page.fill("input[name=login]", who)
    page.fill("input[name=password]", PASSWORDS[who])
    page.click("main button")
    page.wait_for_url("**/*")


@contextmanager
def serving(folder: Path, clinic: Clinic, mirrored: bool = False) -> Iterator[Served]:
    """A desk with five people and three open cases."""
    record = make_record(Place(folder / "record"), clinic)
    staff = make_staff(record)
    keep_local_certificate(record)
    subjects = {}
    for name in ("ordinary", "hard", "second-eye"):
        story = Story(record, staff)
        story.open(read_case(Path(package_data("case", "examples", f"{name}.toml"))))
        subjects[name] = story.subject
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    desk = Served(folder, port, record, staff, subjects)
    try:
        desk.start(mirrored)
        yield desk
    finally:
        desk.stop()
        record.close()
