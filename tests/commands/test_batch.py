"""``consent batch`` as a person at a terminal meets it: once with real printing, from a list to paper."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pypdf
import pytest

from consent.case.listing import list_csv
from consent.commands.main import main
from consent.errors import UnfinishedError
from consent.pack import SHEETS
from tests.pack.invented_list import invented_cases

_AS_INSTALLED = """
from consent.commands.main import run
from consent.pack import batch_job
batch_job.program_digest = lambda: "the same program, whoever writes to its source meanwhile"
run()
"""
BROKEN = ",".join(["Shanti Example", "INV-0099", "not an age"])


@pytest.fixture(autouse=True)
def _no_settings_of_ones_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def _list(path: Path, count: int, with_a_broken_row: bool = False) -> str:
    text = list_csv(invented_cases(count))
    path.write_text(text + (f"{BROKEN}\r\n" if with_a_broken_row else ""), encoding="utf-8", newline="")
    return str(path)


def test_a_template_is_written_and_nothing_else(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "new.csv"
    assert main(["batch", "--template", str(path)]) == 0
    assert capsys.readouterr().out.strip() == str(path)
    assert path.read_text(encoding="utf-8-sig").count("\n") == 1
    assert list(tmp_path.iterdir()) == [path]


def test_a_preview_says_row_by_row_what_is_wrong_and_makes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = _list(tmp_path / "list.csv", 2, with_a_broken_row=True)
    assert main(["batch", listed, "--preview", "--invented"]) == 0
    said = capsys.readouterr().out
    assert "row 4" in said
    assert "SET ASIDE" in said
    assert said.rstrip().endswith("2 rows can be used, 1 are set aside")
    assert [path.name for path in tmp_path.iterdir()] == ["list.csv"]


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        (["--to", "x"], "there is no list"),
        (["list.csv"], "--to"),
        (["list.csv", "--to", "x", "--processes", "0"], "--processes"),
    ],
)
def test_half_an_order_is_refused(arguments: list[str], what: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["batch", *arguments]) == 2
    assert what in capsys.readouterr().err


def test_from_a_list_with_a_broken_row_to_paper_and_again(tmp_path: Path) -> None:
    """Six patients whose small sheets are really printed, by the command as it is installed."""
    listed, root = _list(tmp_path / "list.csv", 6, with_a_broken_row=True), tmp_path / "out"
    command = [sys.executable, "-c", _AS_INSTALLED, "batch", listed, "--to", str(root)]
    command += ["--invented", "--sheet", "separate-choices", "--sheet", "before-day", "--language", "en"]
    first = subprocess.run([*command, "--json"], capture_output=True, text=True)
    assert first.returncode == UnfinishedError.exit_code == 16
    told = json.loads(first.stdout)
    assert [one["record_number"] for one in told["patients"]] == [f"INV-000{place}" for place in range(1, 7)]
    assert told["kept"] == 0
    assert len(told["set_aside"]) == 1
    assert "INV-0099" in (root / "set-aside.csv").read_text(encoding="utf-8-sig")
    assert "\x1b" not in first.stderr
    for one in told["patients"]:
        names = {path.name for path in Path(one["folder"]).iterdir()}
        assert {"separate-choices.en.pdf", "before-day.en.pdf", "drops.ics", "index.html", "done.json"} <= names
    sheets = len(pypdf.PdfReader(root / "print-desk.pdf").pages)
    assert sheets == 6 * 4  # a slip and one page, each with an empty back
    assert len(told["lists"]) == 4
    second = subprocess.run(command, capture_output=True, text=True)
    assert second.returncode == 16
    assert "6 of 6 packs are there already" in second.stderr
    assert "Made: 0. Kept: 6." in second.stderr


def test_an_earlier_file_of_rows_set_aside_does_not_outlive_its_list(tmp_path: Path) -> None:
    listed, root = _list(tmp_path / "list.csv", 1), tmp_path / "out"
    root.mkdir()
    (root / "set-aside.csv").write_text("of yesterday")
    assert main(["batch", listed, "--to", str(root), "--invented", "--sheet", "lens-card", "--processes", "1"]) == 0
    assert not (root / "set-aside.csv").exists()


def test_a_folder_of_case_files_is_a_list_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (case,) = invented_cases(1)
    folder = tmp_path / "cases"
    folder.mkdir()
    text = json.dumps(case.model_dump(mode="json", by_alias=True, exclude_none=True))
    (folder / "one.json").write_text(text, encoding="utf-8")
    (folder / "two.toml").write_text("schema = 1\n", encoding="utf-8")
    assert main(["batch", str(folder), "--preview"]) == 0
    said = capsys.readouterr().out
    assert "one.json: can be used" in said
    assert "two.toml" in said


def test_a_list_without_any_row_that_can_be_used_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = _list(tmp_path / "list.csv", 0, with_a_broken_row=True)
    assert main(["batch", listed, "--to", str(tmp_path / "out")]) == 3
    assert "no row of the list can be used" in capsys.readouterr().err


def test_ctrl_c_stops_in_words_and_keeps_what_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("consent.commands.batch.run_batch", stopped)
    with pytest.raises(SystemExit) as end:
        main(["batch", _list(tmp_path / "list.csv", 1), "--to", str(tmp_path / "out"), "--invented"])
    assert end.value.code == 130
    assert "the same command goes on from here" in capsys.readouterr().err


def test_a_sheet_that_there_is_not_is_refused_before_anything_is_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = _list(tmp_path / "list.csv", 1)
    assert main(["batch", listed, "--to", str(tmp_path / "out"), "--sheet", "lens-cart"]) == 2
    assert SHEETS[-2] in capsys.readouterr().err
    assert not (tmp_path / "out" / "patients").exists()
