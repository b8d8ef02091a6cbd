"""``consent audit`` as a person at a terminal meets it."""

from __future__ import annotations

import csv
import datetime as dt
import json
import stat
from pathlib import Path

import openpyxl
import pytest

from consent.clinic import read_clinic
from consent.commands.main import main
from consent.resources import package_data

HEADINGS = ["Age", "Sex", "Surgeon", "Date of surgery", "PCR or VL"]
SHIPPED = package_data("clinic", "demo.toml").read_text(encoding="utf-8")


@pytest.fixture(autouse=True)
def _no_settings_of_ones_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def rows(operations: int, events: int, surgeons: int = 3) -> list[list[object]]:
    """Women of 50, the first ``events`` of them with an event, over two years."""
    day = dt.date(2024, 1, 1)
    return [
        [50, "F", f"Dr {n % surgeons}", day + dt.timedelta(days=n % 700), "yes" if n < events else "no"]
        for n in range(operations)
    ]


def as_csv(path: Path, table: list[list[object]], headings: list[str] | None = None) -> str:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([headings or HEADINGS, *table])
    return str(path)


@pytest.fixture
def cases(tmp_path: Path) -> str:
    """500 operations with 4 events, three surgeons."""
    return as_csv(tmp_path / "cases.csv", rows(500, 4))


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A clinic's settings with a comment."""
    path = tmp_path / "own.toml"
    path.write_text(f"# kept by Asha\n{SHIPPED}", encoding="utf-8")
    return path


def printed(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["audit", *arguments]) == 0
    return capsys.readouterr().out


def test_it_prints_counts_ratio_surgeons_groups_and_snippet(cases: str, capsys: pytest.CaptureFixture[str]) -> None:
    # 500 women of 50, all else unknown: 500 x 0.0075 = 3.75 expected; O/E = 4/3.75 = 1.067.
    text = printed(capsys, cases)
    for part in (
        "500 rows: 500 used, 0 set aside.",
        "events 4, expected by the model 3.75",
        "Observed over expected 1.067",
        "Raw rate 0.80 %",
        "Dr 0",
        "[audit]\noperations = 500\nevents = 4\nexpected_events = 3.75\nmean_composite = 1.0\n",
        'years = "2024-2025"',
        "doi:10.1002/sim.1844",
        "doi:10.1111/j.1475-6773.2010.01158.x",
        "PMID 31842878",
        "haripriya-2017/capsule-rupture",
    ):
        assert part in text


def test_json_is_one_object_with_the_same_figures(cases: str, capsys: pytest.CaptureFixture[str]) -> None:
    data = json.loads(printed(capsys, cases, "--json"))
    assert data["used"] is True
    assert data["rows"] == {
        "used": 500,
        "set_aside": 0,
        "outside_the_model": 0,
        "unread": 0,
        "unread_with_event": 0,
        "unread_without_outcome": 0,
    }
    found = data["calibration"]
    assert (found["events"], found["expected"]) == (4, pytest.approx(3.75))
    # Unaudited 0.71522 (south Asia against the model's series): (4 + 5)/(3.75 + 5/0.71522) = 9/10.74085 = 0.83792.
    assert found["shrunk"] == pytest.approx(0.83792, abs=5e-6)
    assert [entry["surgeon"] for entry in found["surgeons"]] == ["Dr 0", "Dr 1", "Dr 2"]
    assert sum(group["operations"] for group in found["groups"]) == 500
    assert data["audit"]["operations"] == 500


def test_csv_and_workbook_give_the_same_report(cases: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    book = openpyxl.Workbook()
    for row in [HEADINGS, *rows(500, 4)]:
        book.worksheets[0].append(row)
    book.save(tmp_path / "cases.xlsx")
    plain, packed = (json.loads(printed(capsys, name, "--json")) for name in (cases, str(tmp_path / "cases.xlsx")))
    assert plain.pop("remarks") != packed.pop("remarks")
    assert plain == packed


def test_five_surgeons_are_drawn_to_their_centre(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = as_csv(tmp_path / "five.csv", rows(1000, 9, surgeons=5))
    data = json.loads(printed(capsys, name, "--json"))
    found = data["calibration"]
    assert found["between_surgeons"] is not None
    for surgeon in found["surgeons"]:
        nearest, farthest = sorted((surgeon["ratio"], found["ratio"]))
        assert nearest <= surgeon["shrunk"] <= farthest
    assert "shrunk towards the centre" in printed(capsys, name)


def test_rows_set_aside_are_named_and_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = [*rows(120, 2), ["old", "F", "=Dr 9", dt.date(2024, 5, 1), "yes"]]
    name, rejects = as_csv(tmp_path / "cases.csv", table), tmp_path / "rejects.csv"
    assert main(["audit", name, "--rejects", str(rejects)]) == 0
    said = capsys.readouterr()
    assert 'Set aside, row 122: Age: "old" is not an age' in said.out
    assert "1 that could not be read; of those, 1 have an event and 0 an outcome" in said.out
    assert "patients' data" in said.err
    written = list(csv.reader(rejects.read_text(encoding="utf-8-sig").splitlines()))
    assert written[1][:3] == ["old", "F", "'=Dr 9"]
    assert stat.S_IMODE(rejects.stat().st_mode) == 0o600
    rejects.write_text(rejects.read_text(encoding="utf-8-sig").replace("old", "67"), encoding="utf-8")
    again = json.loads(printed(capsys, str(rejects), "--json"))
    assert (again["rows"]["used"], again["rows"]["set_aside"]) == (1, 0)
    assert again["columns"]["ignored"] == []


def test_no_rejects_file_where_nothing_was_set_aside(
    cases: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    printed(capsys, cases, "--rejects", str(tmp_path / "rejects.csv"))
    assert not (tmp_path / "rejects.csv").exists()


@pytest.mark.parametrize(("operations", "used"), [(99, False), (100, True)])
def test_below_the_minimum_only_the_benchmark_is_shown(
    operations: int, used: bool, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # 100 operations: minimum_operations of consent/risk/outcomes.toml.
    name = as_csv(tmp_path / "few.csv", rows(operations, 3))
    text = printed(capsys, name)
    assert "Benchmark: 1.37 %" in text
    assert ("the audit is not used" in text) is not used
    assert ("[audit]" in text) is used
    assert ("Observed over expected" in text) is used
    data = json.loads(printed(capsys, name, "--json"))
    assert data["used"] is used
    assert (data["audit"] is None) is not used


def test_too_few_are_never_written(own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = own.read_bytes()
    name, drawing = as_csv(tmp_path / "few.csv", rows(99, 3)), tmp_path / "few.svg"
    assert main(["audit", name, "--clinic", str(own), "--write", "--picture", str(drawing)]) == 3
    assert "at least 100 are needed" in capsys.readouterr().err
    assert own.read_bytes() == before
    assert not drawing.exists()


def test_write_puts_the_audit_into_the_settings_and_keeps_the_rest(
    cases: str, own: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = own.read_text(encoding="utf-8")
    own.chmod(0o640)
    text = printed(capsys, cases, "--clinic", str(own), "--write")
    assert "audit.operations: not set -> 500" in text
    after = own.read_text(encoding="utf-8")
    assert after.startswith(before)
    assert stat.S_IMODE(own.stat().st_mode) == 0o640
    clinic = read_clinic(own)
    assert clinic.audit is not None
    assert (clinic.audit.operations, clinic.audit.events, clinic.audit.expected_events) == (500, 4, 3.75)
    assert clinic.audit.years == "2024-2025"
    assert clinic.model_copy(update={"audit": None}) == read_clinic().beside(own)
    assert not [path for path in own.parent.iterdir() if path.name.startswith(".own")]


def test_a_second_audit_says_before_and_now(
    cases: str, own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    printed(capsys, cases, "--clinic", str(own), "--write")
    second = as_csv(tmp_path / "second.csv", rows(600, 4, surgeons=6))
    text = printed(capsys, second, "--clinic", str(own), "--write")
    assert "audit.operations: 500 -> 600" in text
    assert "audit.events" not in text  # 4 and still 4
    assert own.read_text(encoding="utf-8").startswith("# kept by Asha\n")
    printed(capsys, cases, "--clinic", str(own), "--write")
    audit = read_clinic(own).audit
    assert audit is not None
    assert audit.operations == 500


def test_a_link_to_the_settings_stays_a_link(
    cases: str, own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    link = tmp_path / "link.toml"
    link.symlink_to(own)
    printed(capsys, cases, "--clinic", str(link), "--write")
    assert link.is_symlink()
    assert read_clinic(own).audit is not None


def test_without_write_the_settings_are_only_read(cases: str, own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = own.read_bytes()
    own.write_bytes(before.replace(b'population = "south-asia"', b'population = "uk"'))
    changed = own.read_bytes()
    assert "sim-2024/capsule-rupture" in printed(capsys, cases, "--clinic", str(own))
    assert own.read_bytes() == changed


def test_years_are_asked_for_where_the_file_has_no_dates(
    own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name = as_csv(tmp_path / "undated.csv", [[50, "no"]] * 150, ["age", "pcr or vl"])
    assert main(["audit", name, "--clinic", str(own), "--write"]) == 2
    assert "give --years" in capsys.readouterr().err
    printed(capsys, name, "--clinic", str(own), "--write", "--years", "2025")
    audit = read_clinic(own).audit
    assert audit is not None
    assert audit.years == "2025"


def test_the_picture_is_a_file_without_words(cases: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = printed(capsys, cases, "--picture", str(tmp_path / "cases.svg"))
    drawing = (tmp_path / "cases.svg").read_text(encoding="utf-8")
    assert drawing.startswith("<svg ")
    assert "<text" not in drawing
    assert "a tick every" in text


def test_surgeons_names_are_no_markup_and_no_escape(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = [[50, "F", "[red]Rao[/red]\x1b[2J", dt.date(2024, 5, 1), "no"]] * 120
    text = printed(capsys, as_csv(tmp_path / "odd.csv", table))
    assert "[red]Rao[/red]" in text
    assert "\x1b" not in text


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (["{cases}", "--write"], 2, "--clinic FILE"),
        (["{cases}", "--write", "--clinic", "clinic.json"], 2, "only settings in TOML"),
        (["{cases}", "--write", "--clinic", "none.toml"], 4, "cannot be read"),
        (["none.csv"], 3, "cannot be read"),
        (["{cases}", "--picture", "plot.png"], 2, "does not end in .svg"),
        (["{cases}", "--rejects", "{cases}"], 2, "would be overwritten"),
        (["{cases}", "--picture", "/nowhere/at/all/plot.svg"], 9, "cannot be written"),
        (["{cases}", "--years", "2" * 201], 2, "too long"),
    ],
)
def test_a_mistake_has_words_an_exit_code_and_no_traceback(
    arguments: list[str], code: int, says: str, cases: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["audit", *(text.format(cases=cases) for text in arguments)]) == code
    said = capsys.readouterr()
    assert says in said.err
    assert "Traceback" not in said.err


def test_a_missing_column_names_what_it_may_be_called(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    name = as_csv(tmp_path / "no-outcome.csv", [[50, "F"]], ["Age", "Sex"])
    assert main(["audit", name]) == 3
    said = capsys.readouterr()
    assert "posterior capsule rupture" in said.err
    assert said.out == ""


def test_settings_that_cannot_be_written_stay_whole(
    cases: str, own: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    before = own.read_bytes()

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    assert main(["audit", cases, "--clinic", str(own), "--write"]) == 9
    assert "No space left" in capsys.readouterr().err
    assert own.read_bytes() == before
    assert not [path for path in own.parent.iterdir() if path.name.startswith(".own")]


@pytest.mark.parametrize(
    "bad",
    [
        [["old", "F", "Dr 9", dt.date(2024, 5, 1), "yes"]],
        [[50, "F", "Dr 9", dt.date(2024, 5, 1), "PCR ?"]],
        [["old", "F", "Dr 9", dt.date(2024, 5, 1), "no"]] * 40,
    ],
    ids=["an event", "an outcome that cannot be read", "more than 5 percent"],
)
def test_an_audit_with_a_hole_in_it_is_printed_and_not_written(
    bad: list[list[object]], own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = own.read_bytes()
    name = as_csv(tmp_path / "hole.csv", [*rows(500, 4), *bad])
    assert main(["audit", name, "--clinic", str(own), "--write"]) != 0
    said = capsys.readouterr()
    assert "Operations 500, events 4" in said.out
    assert "too much was set aside" in said.err
    assert own.read_bytes() == before


def test_a_file_of_rejects_never_replaces_the_audit(
    own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rejects = tmp_path / "rejects.csv"
    bad = [["old", "F", "Dr 9", dt.date(2024, 5, 1), "no"]] * 200
    printed(capsys, as_csv(tmp_path / "cases.csv", [*rows(500, 4), *bad]), "--rejects", str(rejects))
    rejects.write_text(rejects.read_text(encoding="utf-8-sig").replace("old", "67"), encoding="utf-8")
    before = own.read_bytes()
    assert main(["audit", str(rejects), "--clinic", str(own), "--write"]) != 0
    assert "set aside before" in capsys.readouterr().err
    assert own.read_bytes() == before


def test_settings_with_windows_line_ends_keep_them(cases: str, own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own.write_bytes(own.read_bytes().replace(b"\n", b"\r\n"))
    printed(capsys, cases, "--clinic", str(own), "--write")
    after = own.read_bytes()
    assert b"[audit]\r\n" in after
    assert after.count(b"\n") == after.count(b"\r\n")
