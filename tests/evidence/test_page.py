"""The library told: the page for contributors is up to date, and ``consent evidence --outcome`` finds one outcome."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from consent.commands.main import main
from consent.errors import EvidenceError
from consent.evidence import Library, Use, library, read_library
from consent.evidence.page import BEGIN, END, developers, library_page, with_page
from consent.evidence.page import main as rewrite
from consent.resources import package_data
from consent.risk import risk_plan

ROOT = Path(__file__).resolve().parents[2]
PAGE = library_page(library())
ROWS = [line.strip("| ").split(" | ") for line in PAGE.splitlines() if line.startswith("| ")][2:]
HEAD = ["series", "years", "region", "figures", "least checked", "used for"]


# ---- the page ----


def test_developers_md_is_up_to_date() -> None:
    """When this fails: ``.venv/bin/python -m consent.evidence.page``."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert developers() == ROOT / "DEVELOPERS.md"
    assert with_page(text, PAGE) == text


def test_it_stands_under_its_heading() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert text.partition(BEGIN)[0].rpartition("\n## ")[2].startswith("The evidence library\n")


def test_every_series_has_one_row_of_six_cells() -> None:
    assert [row[0] for row in ROWS] == [path.stem for path in sorted(package_data("evidence", "series").glob("*.toml"))]
    assert {len(row) for row in ROWS} == {len(HEAD)}
    assert all(cell.strip() for row in ROWS for cell in row)


@pytest.mark.parametrize(
    ("series", "row"),
    [
        # By hand, from the files.
        ("day-2016", ["day-2016", "2006-2010", "UK/Europe", "4", "abstract", "default, not for calculation"]),
        ("narendran-2009", ["narendran-2009", "2001-2006", "UK/Europe", "2, a model", "memory", "default"]),
        ("sparrow-2012", ["sparrow-2012", "2001-2006", "UK/Europe", "1", "full-text table", "display"]),
    ],
)
def test_a_row_by_hand(series: str, row: list[str]) -> None:
    assert next(found for found in ROWS if found[0] == series) == row


def test_every_default_of_the_risk_plan_is_listed_with_how_it_was_checked() -> None:
    # The page may not ask the room to its right, so it goes by the use of each figure; the plan must agree. Figures
    # that only widen the range keep the use "sensitivity" and are in the table.
    listed = set(re.findall(r"`([\w-]+/[\w-]+)`", PAGE))
    named = {ref for ref in risk_plan().references() if library().cited(ref).figure.use is Use.DEFAULT}
    assert named <= listed
    assert listed - named == {
        f"narendran-2009/{name}" for name in ("capsule-rupture", "reference-probability", "model")
    }


@pytest.mark.parametrize(
    "line",
    [
        "- memory: `narendran-2009/reference-probability`",
        "- quoted: `chu-2016/macular-oedema-diabetes`, read in a summary of the paper",
    ],
)
def test_what_was_not_read_in_its_paper_has_a_line_of_its_own(line: str) -> None:
    assert line in PAGE.splitlines()


def test_a_stroke_in_a_name_does_not_end_a_cell(tmp_path: Path) -> None:
    text = package_data("evidence", "series", "day-2016.toml").read_text(encoding="utf-8")
    changed = text.replace('region = "UK/Europe"', 'region = "UK | <Europe>"')
    (tmp_path / "day-2016.toml").write_text(changed, encoding="utf-8")
    assert "| UK \\| &lt;Europe> |" in library_page(read_library(tmp_path))


def test_an_empty_library_makes_a_page_too() -> None:
    assert library_page(Library({})).startswith("0 series with 0 figures; 0 figures and models")


def test_only_what_stands_between_the_markers_is_rewritten() -> None:
    text = f"before\n{BEGIN}\nold\n{END}\nafter\n"
    once = with_page(text, "new")
    assert once == f"before\n{BEGIN}\n\nnew\n\n{END}\nafter\n"
    assert with_page(once, "new") == once


@pytest.mark.parametrize(
    "text", ["", f"{BEGIN}\n", f"{END}\n{BEGIN}\n", f"{BEGIN}{END}{BEGIN}{END}", f"{END}{BEGIN}{END}"]
)
def test_markers_that_are_not_there_once_each_are_refused(text: str) -> None:
    with pytest.raises(EvidenceError, match="not there once each"):
        with_page(text, "new")


def test_the_module_rewrites_its_part_of_a_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "DEVELOPERS.md"
    path.write_text(f"before\n{BEGIN}\n{END}\nafter\n", encoding="utf-8")
    assert rewrite(path) == 0
    assert path.read_text(encoding="utf-8") == f"before\n{BEGIN}\n\n{PAGE}\n\n{END}\nafter\n"
    assert str(path) in capsys.readouterr().out


def test_the_module_says_what_is_in_its_way(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert rewrite(tmp_path / "missing.md") == 5
    assert "run this in a checkout" in capsys.readouterr().err
    (tmp_path / "bare.md").write_text("no markers", encoding="utf-8")
    assert rewrite(tmp_path / "bare.md") == 5
    assert "not there once each" in capsys.readouterr().err
    assert (tmp_path / "bare.md").read_text(encoding="utf-8") == "no markers"


# ---- consent evidence --outcome ----


def told(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert main(["evidence", *arguments]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("outcome", ["capsule_rupture", "dropped_nucleus", "endophthalmitis", "floppy_iris"])
def test_an_outcome_brings_every_series_and_only_figures_of_that_outcome(
    outcome: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found = json.loads(told(capsys, "--outcome", outcome, "--json"))
    held = {f"{s.id}/{f.id}" for s in library() for f in s.figures if f.outcome == outcome}
    assert {f"{series['id']}/{figure['id']}" for series in found for figure in series["figures"]} == held
    assert {figure["outcome"] for series in found for figure in series["figures"]} == {outcome}


def test_an_outcome_on_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    text = told(capsys, "--outcome", "retinal_detachment")
    assert "detachment-ruptured: 3.27 % (2.37 to 4.5)" in text  # Day 2016
    assert "day-2015" in text
    assert "good-vision" not in text
    assert "odds ratios" not in text


def test_a_model_is_told_with_its_own_outcome_only(capsys: pytest.CaptureFixture[str]) -> None:
    assert "odds ratios, pupil: large 1, medium 1.14, small 1.45" in told(capsys, "--outcome", "capsule_rupture")
    scored = json.loads(told(capsys, "muhtaseb-2004", "--outcome", "capsule_rupture", "--json"))
    assert "score" in scored[0]
    plain = json.loads(told(capsys, "muhtaseb-2004", "--outcome", "vitreous_loss", "--json"))
    assert "score" not in plain[0]


def test_it_goes_with_the_other_options(capsys: pytest.CaptureFixture[str]) -> None:
    weak = told(capsys, "--outcome", "macular_oedema", "--unverified")
    assert "macular-oedema-diabetes: 4.04 %" in weak
    assert "rupture-ratio" not in weak
    assert "suprachoroidal-haemorrhage: " in told(capsys, "stewart-2023", "--outcome", "suprachoroidal_haemorrhage")


def test_nothing_found_is_said_and_is_no_data(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["evidence", "day-2016", "--outcome", "capsule_rupture"]) == 0
    said = capsys.readouterr()
    assert (said.out, "No figure" in said.err) == ("", True)
    assert json.loads(told(capsys, "day-2016", "--outcome", "capsule_rupture", "--json")) == []


@pytest.mark.parametrize(
    ("outcome", "remedy"),
    [
        ("capsule_ruptur", 'did you mean "capsule_rupture"?'),
        ("endophtalmitis", '"endophthalmitis"'),
        ("xyz", "there are: "),
    ],
)
def test_an_unknown_outcome_names_the_nearest(outcome: str, remedy: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["evidence", "--outcome", outcome]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert "--outcome" in said.err
    assert remedy in said.err


def test_without_it_the_command_is_as_before(capsys: pytest.CaptureFixture[str]) -> None:
    lines = told(capsys).splitlines()
    assert len(lines) == len(library().series)
    assert all("figures" in line for line in lines)
