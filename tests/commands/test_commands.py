"""The command line as a person at a terminal meets it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from consent.commands.main import main, parser
from consent.errors import MachineError, Problem
from consent.language import fonts_for, languages
from consent.resources import package_data

HARD = str(package_data("case", "examples", "hard.toml"))
ORDINARY = str(package_data("case", "examples", "ordinary.toml"))


@pytest.fixture(autouse=True)
def _no_settings_of_ones_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def _out(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(arguments) == 0
    return capsys.readouterr().out


def test_demo_ends_with_a_pack_and_a_line_saying_what_to_open(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["demo", "--to", str(tmp_path / "pack"), "--case", "ordinary"]) == 0
    said = capsys.readouterr()
    assert all(Path(line).is_file() for line in said.out.splitlines())
    assert f"Open {tmp_path / 'pack' / 'index.html'} first" in said.err


def test_assess_as_json_is_one_object_on_stdout(capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(_out(capsys, "assess", HARD, "--json"))
    assert {risk["outcome"] for risk in data["risks"]} >= {
        "capsule_rupture",
        "endophthalmitis",
        "retinal_detachment",
        "macular_oedema",
        "dropped_nucleus",
        "suprachoroidal_haemorrhage",
        "vision_worse",
        "capsule_clouding_laser",
    }


def test_assess_on_the_terminal_names_points_and_figures(capsys: pytest.CaptureFixture[str]) -> None:
    text = _out(capsys, "assess", ORDINARY)
    assert "capsule_rupture" in text
    assert "moxifloxacin 0.5%" in text
    assert "Draft for review by the licensed clinician" in text


@pytest.mark.parametrize(
    "outcome", ["capsule_rupture", "endophthalmitis", "macular_oedema", "vision_worse", "loss_of_eye"]
)
def test_explain_prints_the_chain_of_any_outcome(outcome: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = _out(capsys, "explain", HARD, outcome)
    assert text.startswith(outcome)
    assert "  1. " in text


def test_explain_of_a_typo_names_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["explain", HARD, "capsule_ruptur"]) == 2
    assert 'did you mean "capsule_rupture"?' in capsys.readouterr().err


def test_evidence_lists_prints_one_and_filters(capsys: pytest.CaptureFixture[str]) -> None:
    assert "day-2016" in _out(capsys, "evidence")
    assert "36" in _out(capsys, "evidence", "day-2016", "--json")
    assert "odds ratios, pupil: large 1, medium 1.14, small 1.45; quoted" in _out(capsys, "evidence", "narendran-2009")
    weak = _out(capsys, "evidence", "--unverified")
    assert "reference-probability" in weak
    assert "stewart-2023" not in weak


def test_schema_accepts_the_shipped_case(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON Schema draft 2020-12, checked with the jsonschema library."""
    schema = json.loads(_out(capsys, "schema", "case"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator.check_schema(json.loads(_out(capsys, "schema", "clinic")))


def test_check_finds_printer_and_fonts(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(_out(capsys, "check", "--json"))
    assert {name for name, there in found.items() if there} >= {"printer", *(f"fonts for {tag}" for tag in languages())}
    assert {name for name in found if "machine voice" in name} == {
        f"machine voice for {tag} (for prepare --audio)" for tag in languages()
    }


def test_check_names_each_font_that_is_missing_and_how_to_get_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def without_bold_bengali(tag: str, weight: str = "Regular") -> tuple[Path, ...]:
        if (tag, weight) == ("bn", "Bold"):
            remedy = "sudo apt-get install fonts-noto-core"
            raise MachineError(Problem("the font Noto Sans Bengali Bold is not installed", "fonts", remedy=remedy))
        return fonts_for(tag, weight)

    monkeypatch.setattr("consent.commands.check.fonts_for", without_bold_bengali)
    assert main(["check"]) != 0
    said = capsys.readouterr()
    assert "MISSING fonts for bn" in said.out
    assert said.out.count("MISSING") == 1
    assert "Noto Sans Bengali Bold" in said.err
    assert "apt-get install fonts-noto-core" in said.err


def test_languages_counts_every_message_of_both(capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(_out(capsys, "languages", "--json"))
    assert data["bn"]["messages"] == data["en"]["messages"] > 500
    assert data["bn"]["stale"] == 0


def test_clinic_file_option_goes_before_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shipped = package_data("clinic", "demo.toml").read_text(encoding="utf-8")
    own = tmp_path / "own.toml"
    own.write_text(shipped.replace('population = "south-asia"', 'population = "uk"'), encoding="utf-8")
    monkeypatch.setenv("CONSENT_CLINIC", str(package_data("clinic", "demo.toml")))
    data = json.loads(_out(capsys, "assess", ORDINARY, "--clinic", str(own), "--json"))
    rupture = next(risk for risk in data["risks"] if risk["outcome"] == "capsule_rupture")
    assert rupture["usual"] == pytest.approx(9730 / 961208)  # Sim 2024, abstract
    monkeypatch.setenv("CONSENT_CLINIC", str(own))
    data = json.loads(_out(capsys, "assess", ORDINARY, "--json"))
    assert data["risks"][4]["usual"] == pytest.approx(9730 / 961208)


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["assess", "missing.toml"], 3, "cannot be read"),
        (["prepare", ORDINARY, "--to", "x", "--language", "xx"], 2, 'no words in "xx"'),
        (["prepare", ORDINARY, "--to", "x", "--sheet", "consentform"], 2, 'did you mean "consent-form"?'),
        (["assess", ORDINARY, "--clinic", "missing.toml"], 4, "cannot be read"),
        (["evidence", "narendran"], 5, 'did you mean "narendran-2009"?'),
    ],
)
def test_a_mistake_has_words_an_exit_code_and_no_traceback(
    arguments: list[str], code: int, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == code
    said = capsys.readouterr()
    assert says in said.err
    assert "Traceback" not in said.err
    assert said.out == ""


@pytest.mark.parametrize("sheet", ["risk-sheet", "separate-choices", "day-of-surgery"])
def test_each_sheet_may_be_prepared_alone_by_its_name(
    sheet: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = _out(capsys, "prepare", ORDINARY, "--to", str(tmp_path), "--language", "en", "--sheet", sheet)
    assert [path.name for path in tmp_path.glob("*.pdf")] == [f"{sheet}.en.pdf"]
    assert str(tmp_path / f"{sheet}.en.pdf") in listed.splitlines()


def test_every_sheet_is_offered_where_a_name_is_not_known(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["prepare", ORDINARY, "--to", "x", "--sheet", "nothing-like-it"]) == 2
    said = capsys.readouterr().err
    listed = " ".join(said.split()).rpartition("there are: ")[2].split(", ")
    assert listed[:3] == ["consent-form", "risk-sheet", "separate-choices"]
    assert {"counsellor-guide", "decision", "day-of-surgery", "going-home", "drop-calendar"} <= set(listed)
    assert listed[-1] == "surgeon-review"


def test_an_unknown_regimen_has_its_own_exit_code(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = Path(ORDINARY).read_text(encoding="utf-8").replace("weekly-4-3-2-1", "weekly-4-3-2")
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    assert main(["assess", str(tmp_path / "case.toml")]) == 6
    assert "weekly-4-3-2-1" in capsys.readouterr().err


def test_help_answers_without_heavy_imports() -> None:
    """``consent --help`` answers at once: nothing heavy is loaded to print it."""
    code = (
        "import sys; from consent.commands.main import parser; parser().format_help(); "
        "print(sorted({'weasyprint','pydantic','babel','jinja2','pikepdf','rich','uharfbuzz'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_help_lists_every_exit_code_of_the_family() -> None:
    from consent import errors

    codes = {
        error.exit_code
        for error in vars(errors).values()
        if isinstance(error, type) and issubclass(error, errors.ConsentError) and error is not errors.ConsentError
    }
    text = parser().format_help()
    for code in codes:
        assert f"  {code}  " in text


def test_installed_command_runs() -> None:
    command = Path(sys.executable).parent / "consent"
    done = subprocess.run([command, "--version"], capture_output=True, text=True, check=True, env=dict(os.environ))
    assert done.stdout.startswith("consent ")
