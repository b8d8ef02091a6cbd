"""``consent list`` as a person at a terminal meets it."""

from __future__ import annotations

from pathlib import Path

import pytest

from consent.commands.main import main
from consent.resources import package_data

HARD, ORDINARY, TORN, SECOND = (
    str(package_data("case", "examples", f"{name}.toml")) for name in ("hard", "ordinary", "torn", "second-eye")
)


@pytest.fixture(autouse=True)
def _no_settings_of_ones_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def text_of(path: Path) -> str:
    import pypdf

    return " ".join(page.extract_text() for page in pypdf.PdfReader(path).pages)


def test_it_writes_both_lists_and_names_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "new" / "day"
    assert main(["list", HARD, TORN, "--to", str(folder)]) == 0
    said = capsys.readouterr()
    names = ["operating-list.2026-12-28.en.pdf", "missed-visits.2026-12-28.en.pdf"]
    assert said.out.splitlines() == [str(folder / name) for name in names]
    assert sorted(path.name for path in folder.iterdir()) == sorted(names)
    assert all((folder / name).read_bytes().startswith(b"%PDF") for name in names)
    assert "For staff" in said.err
    assert "the surgeon sets it" in said.err


def test_the_paper_holds_the_patient_of_the_day_and_not_the_one_operated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["list", HARD, TORN, "--to", str(tmp_path)]) == 0
    assert capsys.readouterr().out
    found = text_of(tmp_path / "operating-list.2026-12-28.en.pdf")
    assert "DEMO-0002" in found
    assert "DEMO-0004" not in found


def test_the_day_is_the_first_of_the_cases_where_none_is_given(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By ``consent list --help``: the first of the cases. hard.toml is of 28 December 2026, ordinary.toml of
    February."""
    assert main(["list", ORDINARY, HARD, "--to", str(tmp_path)]) == 0
    assert capsys.readouterr().out
    found = text_of(tmp_path / "operating-list.2026-12-28.en.pdf")
    assert "28 December 2026" in found
    assert "DEMO-0002" in found
    assert "DEMO-0001" not in found


def test_the_default_day_is_one_on_which_somebody_is_operated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Cases already operated are given for their missed visits; their day is past. Common practice, no source."""
    assert main(["list", TORN, ORDINARY, "--to", str(tmp_path)]) == 0
    assert capsys.readouterr().out
    assert (tmp_path / "operating-list.2027-02-24.en.pdf").exists()


def test_a_day_may_be_given(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["list", HARD, ORDINARY, "--on", "2027-02-24", "--to", str(tmp_path)]) == 0
    assert capsys.readouterr().out
    assert "DEMO-0001" in text_of(tmp_path / "operating-list.2027-02-24.en.pdf")
    assert "DEMO-0002" in text_of(tmp_path / "missed-visits.2027-02-24.en.pdf")


@pytest.mark.parametrize("day", ["28.12.2026", "2026-13-01", "2026-02-30", "tomorrow", "28/12/2026"])
def test_a_bad_date_is_refused_with_an_example(day: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["list", HARD, "--on", day, "--to", str(tmp_path / "none")]) == 2
    said = capsys.readouterr()
    assert f'"{day}" is not a date' in said.err
    assert "2026-12-28" in said.err
    assert said.out == ""
    assert not (tmp_path / "none").exists()


def test_an_empty_date_is_refused_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An empty variable of a script is a mistake, not a wish for the default. Common practice, no source."""
    assert main(["list", HARD, "--on", "", "--to", str(tmp_path / "none")]) == 2
    assert "is not a date" in capsys.readouterr().err


def test_one_record_number_twice_is_refused_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["list", HARD, HARD, "--to", str(tmp_path / "none")]) == 2
    said = capsys.readouterr()
    assert "record number DEMO-0002 stands twice" in said.err
    assert "Traceback" not in said.err
    assert said.out == ""
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["missing.toml", "--to", "x"], 3, "cannot be read"),
        ([HARD, "--to", "x", "--clinic", "missing.toml"], 4, "cannot be read"),
        ([HARD, "--to", "x", "--language", "xx"], 2, '"xx"'),
    ],
)
def test_a_mistake_has_words_and_an_exit_code(
    arguments: list[str],
    code: int,
    says: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["list", *arguments]) == code
    said = capsys.readouterr()
    assert says in said.err
    assert "Traceback" not in said.err
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize("tag", ["bn", "hi"])
def test_another_language_is_in_the_name_of_the_file(
    tag: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["list", HARD, "--to", str(tmp_path), "--language", tag]) == 0
    assert capsys.readouterr().out
    assert {path.name for path in tmp_path.iterdir()} >= {
        f"{name}.2026-12-28.{tag}.pdf" for name in ("operating-list", "missed-visits")
    }


def test_the_day_stands_in_the_name_of_each_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Yesterday's list is not mistaken for today's. Common practice, no source."""
    assert main(["list", HARD, "--to", str(tmp_path)]) == 0
    assert main(["list", HARD, "--on", "2027-01-05", "--to", str(tmp_path)]) == 0
    assert capsys.readouterr().out
    assert sorted(path.name for path in tmp_path.glob("*.pdf")) == [
        "missed-visits.2026-12-28.en.pdf",
        "missed-visits.2027-01-05.en.pdf",
        "operating-list.2026-12-28.en.pdf",
    ]


def test_a_list_of_several_patients_is_not_put_among_the_papers_of_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """ "A folder holds the papers of one patient": DEVELOPERS.md, decisions."""
    assert main(["prepare", ORDINARY, "--to", str(tmp_path), "--language", "en", "--sheet", "before-day"]) == 0
    assert main(["list", HARD, ORDINARY, "--to", str(tmp_path)]) == 2
    assert str(tmp_path) in capsys.readouterr().err
    assert not (tmp_path / "operating-list.2026-12-28.en.pdf").exists()


def test_second_eye_and_ordinary_share_a_day(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["list", SECOND, ORDINARY, "--to", str(tmp_path)]) == 0
    assert capsys.readouterr().out
    found = text_of(tmp_path / "operating-list.2027-02-24.en.pdf")
    assert "DEMO-0001" in found
    assert "DEMO-0003" in found
