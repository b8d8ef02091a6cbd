"""``consent languages`` as a clinic meets it: what stands where, what the words say, and a review of its own."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from consent.commands.main import main
from consent.language import languages, load_catalogue
from consent.resources import package_data

BY = "A. Example, MBBS, reads Bengali as first language"


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The settings of a clinic that reviewed nothing yet."""
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    path = tmp_path / "clinic.toml"
    shutil.copy(package_data("clinic", "demo.toml"), path)
    return str(path)


def _json(capsys: pytest.CaptureFixture[str], *arguments: str) -> object:
    assert main(["languages", *arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def _refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["languages", *arguments]) != 0
    said = capsys.readouterr()
    assert said.out == ""
    return said.err


def test_state_of_every_language(settings: str, capsys: pytest.CaptureFixture[str]) -> None:
    found = _json(capsys, "--clinic", settings)
    assert isinstance(found, dict)
    assert tuple(found) == languages()
    assert {entry["messages"] for entry in found.values()} == {len(load_catalogue("en").messages)}


def test_a_review_of_one_sheet_makes_it_one_that_may_be_signed(
    settings: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = _json(capsys, "show", "bn", "--clinic", settings)
    raised = _json(capsys, "review", "bn", "--rung", "5", "--by", BY, "--sheet", "going-home", "--clinic", settings)
    after = _json(capsys, "show", "bn", "--clinic", settings)
    assert isinstance(before, dict)
    assert isinstance(raised, dict)
    assert isinstance(after, dict)
    assert len(raised["raised"]) == before["going-home"]["messages"] > 80
    assert {sheet for sheet, row in before.items() if row["may_be_signed"]} == set()
    assert {sheet for sheet, row in after.items() if row["may_be_signed"]} == {"going-home"}
    assert after["going-home"]["by"] == [BY]


def test_what_a_message_says(settings: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["languages", "read", "bn", "--message", "eye.right", "--clinic", settings]) == 0
    text = capsys.readouterr().out
    assert "eye.right" in text
    assert load_catalogue("bn").message("eye.right").forms[0] in text
    assert "RIGHT eye" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("show", "mr"), "no words in 'mr'"),
        (("read", "bn"), "not said which messages"),
        (("read", "bn", "--message", "form.nothing"), "no message 'form.nothing'"),
        (("read", "bn", "--sheet", "leaflet"), "no sheet 'leaflet'"),
        (("review", "bn", "--rung", "5", "--by", BY, "--all"), "no settings of a clinic"),
    ],
)
def test_what_cannot_be_is_said(
    arguments: tuple[str, ...], said: str, settings: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said in _refused(capsys, *arguments)
