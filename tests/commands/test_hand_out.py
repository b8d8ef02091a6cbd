"""Signed papers handed out from the command line: into a folder of one case, or nothing is written."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from consent.clinic import read_clinic
from consent.commands.main import main
from consent.record.place import Place, make_record
from consent.resources import package_data
from tests.editing import case_maker
from tests.record.acts import without_printing
from tests.record.clock import TestClock
from tests.record.story import PASSWORDS, Story, make_staff

USAGE, MACHINE = 2, 9
"""Exit codes that consent --help lists."""
Hand = Callable[[str, Path], tuple[int, str, str]]
OTHER = {"patient.name": "Rahima Invented", "patient.record_number": "DEMO-0777"}


@pytest.fixture
def story(tmp_path: Path) -> Iterator[Story]:
    """A record, with papers of a few bytes."""
    place = Place(tmp_path / "record")
    with without_printing(), closing(make_record(place, read_clinic(), TestClock())) as record:
        yield Story(record, make_staff(record))


@pytest.fixture
def hand(story: Story, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Hand:
    """``consent record papers`` of a case, into a folder."""
    monkeypatch.setattr("consent.record.place.open_record.__defaults__", (story.record.clock,))

    def told(subject: str, folder: Path) -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORDS['meera']}\n"))
        where = ("--record", str(story.record.place.folder), "--to", str(folder))
        code = main(("record", "papers", subject, "--reason", "for the talk", "--as", "meera", *where))
        return (code, *capsys.readouterr())

    return told


def _signed(story: Story, **changes: str) -> str:
    story.open(case_maker()(changes))
    story.explain(story.record.clock())
    story.sign_off()
    return story.subject


def _all(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_papers_of_another_patient_are_not_written_over(story: Story, hand: Hand, tmp_path: Path) -> None:
    """The names of the files are the same: she would take home what another has signed. Nothing is entered either."""
    one, two = _signed(story), _signed(story, **OTHER)
    folder = tmp_path / "papers"
    assert hand(one, folder)[0] == 0
    before, entries = _all(folder), len(story.entries())
    code, _, err = hand(two, folder)
    assert (code, "papers of another patient" in err) == (USAGE, True), err
    assert _all(folder) == before and len(story.entries()) == entries
    assert hand(one, folder)[0] == 0, "the same case again is handed out again"
    assert hand(two, tmp_path / "other")[0] == 0


def test_papers_of_the_other_eye_are_not_written_over(story: Story, hand: Hand, tmp_path: Path) -> None:
    one, two = _signed(story), _signed(story)
    assert hand(one, tmp_path / "papers")[0] == 0
    before = _all(tmp_path / "papers")
    code, _, err = hand(two, tmp_path / "papers")
    assert (code, f"papers of another case ({one})" in err) == (USAGE, True), err
    assert _all(tmp_path / "papers") == before


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("assessment.json", '{"record_number": "OTHER/7"}', "papers of another patient (record OTHER/7)"),
        ("papers.json", "{", "does not say whose"),
        ("consent-form.bn-en.v1.pdf", "x", "no papers.json that says whose"),
    ],
)
def test_a_folder_of_somebody_is_left_alone(
    story: Story, hand: Hand, tmp_path: Path, name: str, content: str, said: str
) -> None:
    (tmp_path / "papers").mkdir()
    (tmp_path / "papers" / name).write_text(content)
    code, _, err = hand(_signed(story), tmp_path / "papers")
    assert (code, said in err) == (USAGE, True), err
    assert _all(tmp_path / "papers") == {name: content.encode()}


def test_a_pack_is_not_put_beside_signed_papers_of_another(
    story: Story, hand: Hand, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "papers"
    assert hand(_signed(story, **OTHER), folder)[0] == 0
    before = _all(folder)
    case = package_data("case", "examples", "ordinary.toml")
    assert main(("prepare", str(case), "--to", str(folder))) == USAGE
    assert "papers of another patient (record DEMO-0777)" in capsys.readouterr().err
    assert main(("list", str(case), "--to", str(folder))) == USAGE
    assert _all(folder) == before


@pytest.mark.parametrize("below", ["", "/below"])
def test_a_folder_that_cannot_be_made_is_said(story: Story, hand: Hand, tmp_path: Path, below: str) -> None:
    subject = _signed(story)
    (tmp_path / "file").write_text("x")
    entries = len(story.entries())
    code, _, err = hand(subject, Path(f"{tmp_path / 'file'}{below}"))
    assert (code, "the folder cannot be made" in err, "choose another folder" in err) == (MACHINE, True, True), err
    assert len(story.entries()) == entries


def test_the_folder_says_whose_it_is(story: Story, hand: Hand, tmp_path: Path) -> None:
    subject = _signed(story)
    code, out, _ = hand(subject, tmp_path / "papers")
    assert code == 0
    written = {Path(line).name for line in out.splitlines()}
    assert {*_all(tmp_path / "papers")} == {*written, "papers.json"}
    told = json.loads((tmp_path / "papers" / "papers.json").read_text())
    assert told == {"record_number": "DEMO-0001", "case": subject}
