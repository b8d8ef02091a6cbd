"""What many tests share: the two invented cases, composed and printed once."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pytest

from consent.case import Case, read_case
from consent.clinic import Clinic, read_clinic
from consent.compose import Document
from consent.pack import Pack, compose_pack
from consent.print import to_html, to_pdf
from consent.resources import package_data

NAMES = ("ordinary", "hard")


def shipped_case(name: str) -> Case:
    """One of the two invented cases."""
    return read_case(package_data("case", "examples", f"{name}.toml"))


@dataclass
class Paper:
    """One sheet as composed, as HTML and as printed."""

    case: Case
    document: Document
    folder: Path

    @property
    def name(self) -> str:
        tags = "-".join(tag for tag, _ in self.document.languages)
        return f"{self.case.patient.record_number}.{self.document.sheet}.{tags}"

    @cached_property
    def html(self) -> str:
        return to_html(self.document)

    @cached_property
    def pdf(self) -> Path:
        path = self.folder / f"{self.name}.pdf"
        path.write_bytes(to_pdf(self.document))
        return path

    @cached_property
    def pages(self) -> list[str]:
        """Text of each page as pdftotext (Poppler) reads it."""
        done = subprocess.run(["pdftotext", "-raw", str(self.pdf), "-"], capture_output=True, check=True)
        return done.stdout.decode().split("\f")[:-1]


@pytest.fixture(scope="session")
def clinic() -> Clinic:
    return read_clinic()


@pytest.fixture(scope="session")
def packs(clinic: Clinic) -> dict[str, Pack]:
    """Both cases, every sheet in Bengali and English, the surgeon's too."""
    return {name: compose_pack(shipped_case(name), clinic, ("bn", "en")) for name in NAMES}


@pytest.fixture(scope="session")
def papers(packs: dict[str, Pack], tmp_path_factory: pytest.TempPathFactory) -> list[Paper]:
    folder = tmp_path_factory.mktemp("papers")
    return [Paper(pack.assessment.case, document, folder) for pack in packs.values() for document in pack.documents]
