"""What many tests share: the invented cases, composed once; every sheet printed once, when first looked at.

Each worker of pytest-xdist composes for itself and finds there what another has printed.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import os
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from consent.case import Case, read_case
from consent.case.talk import Outcome
from consent.clinic import Clinic, read_clinic
from consent.compose import Document
from consent.pack import Pack, compose_list, compose_pack
from consent.pack.files import write_whole
from consent.print import to_html, to_pdf
from consent.resources import package_data
from tests.chromium import started

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from tests.render.reading import Page, Run

NAMES = ("ordinary", "hard", "second-eye", "torn")
LANGUAGES = {"ordinary": ("bn", "en"), "hard": ("bn", "en"), "second-eye": ("hi", "en"), "torn": ("bn", "en")}
"""The patient's language and the clinic's, in which each example is composed."""
LIST_DAY = dt.date(2027, 2, 24)
"""The day of surgery of the ordinary and of the second eye; the other two are in aftercare or late."""


def shipped_case(name: str) -> Case:
    """One of the invented cases."""
    return read_case(package_data("case", "examples", f"{name}.toml"))


@dataclass
class Paper:
    """One sheet as composed, as HTML and as printed. ``example`` names the case it is of."""

    case: Case
    document: Document
    folder: Path
    example: str = "case"

    @property
    def tags(self) -> tuple[str, ...]:
        return tuple(tag for tag, _ in self.document.languages)

    @property
    def first(self) -> str:
        """The language that comes first, which is the reader's."""
        return self.tags[0]

    @property
    def name(self) -> str:
        return f"{self.example}.{self.document.sheet}.{'-'.join(self.tags)}"

    @cached_property
    def html(self) -> str:
        return to_html(self.document)

    @cached_property
    def pdf(self) -> Path:
        """The printed sheet; its name holds the digest of its HTML, so that it is never another sheet's."""
        words = hashlib.sha256(self.html.encode()).hexdigest()[:12]
        path = self.folder / f"{self.name}.{words}.pdf"
        if not path.exists():
            write_whole(path, to_pdf(self.document))
        return path

    @cached_property
    def pages(self) -> list[str]:
        """Text of each page as pdftotext (Poppler) reads it."""
        done = subprocess.run(["pdftotext", "-raw", str(self.pdf), "-"], capture_output=True, check=True)
        return done.stdout.decode().split("\f")[:-1]

    @cached_property
    def boxes(self) -> list[Page]:
        """Every page with the boxes of its words, by Poppler."""
        from tests.render.reading import read_boxes

        return read_boxes(self.pdf)

    @cached_property
    def runs(self) -> list[list[Run]]:
        """Page by page, the pieces of text in the order in which they were printed, by pypdf."""
        from tests.render.reading import read_runs

        return read_runs(self.pdf)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """One Chromium for all tests of a process, since Playwright drives from one place."""
    with started() as browser:
        yield browser


@pytest.fixture(scope="session")
def clinic() -> Clinic:
    return read_clinic()


@pytest.fixture(scope="session")
def packs(clinic: Clinic) -> dict[str, Pack]:
    """Every example with every sheet in the patient's language and the clinic's, those for staff in both too."""
    return {name: compose_pack(shipped_case(name), clinic, LANGUAGES[name]) for name in NAMES}


@pytest.fixture(scope="session")
def paper_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One folder for all workers of a run; each run has another."""
    base = tmp_path_factory.getbasetemp()
    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "papers"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def papers(packs: dict[str, Pack], clinic: Clinic, paper_folder: Path) -> list[Paper]:
    """Every sheet of every example, and the paper for a patient who wants time."""
    found = [
        Paper(pack.assessment.case, document, paper_folder, name)
        for name, pack in packs.items()
        for document in pack.documents
    ]
    case = shipped_case("ordinary")
    waiting = case.model_copy(update={"talk": case.talk.model_copy(update={"outcome": Outcome.WANTS_TIME})})
    (paper,) = compose_pack(waiting, clinic, LANGUAGES["ordinary"], ("decision",)).documents
    return [*found, Paper(waiting, paper, paper_folder, "ordinary")]


@pytest.fixture(scope="session")
def list_papers(clinic: Clinic, paper_folder: Path) -> list[Paper]:
    """The lists of an operating day with two to operate on, and two others who should have come."""
    cases = [shipped_case(name) for name in NAMES]
    return [
        Paper(cases[0], document, paper_folder, "day")
        for tag in ("en", "bn", "hi")
        for document in compose_list(cases, clinic, LIST_DAY, tag)
    ]
