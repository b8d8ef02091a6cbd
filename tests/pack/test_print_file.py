"""Print files and lists of a day, read back with pypdf: order, fresh sheets of paper, who has no papers."""

from __future__ import annotations

from pathlib import Path

import pypdf
import pytest

from consent.case import Case
from consent.clinic import Clinic
from consent.pack.batch import Batch, Order, run_batch
from consent.pack.batch_job import Finished, Job, make
from consent.pack.day_sheets import day_sheets, write_day_sheets
from consent.pack.print_file import places, write_print_files
from consent.review import assess
from tests.blocks import blocks_of
from tests.pack.invented_list import DAY, invented_cases
from tests.pack.list_work import NO_WORDS, NOW, go_wrong

SHEETS = ("separate-choices", "before-day", "surgeon-review")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Batch:
    """Three patients of one day, the last of whom has no papers."""
    cases = [case for case in invented_cases(5) if case.patient.record_number in ("INV-0005", "INV-0001", NO_WORDS)]
    root = tmp_path_factory.mktemp("list")
    batch = run_batch(list(reversed(cases)), clinic, root, NOW, Order(2, sheets=SHEETS), work=go_wrong)
    write_print_files(batch, clinic)
    return batch


def pages(path: Path) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(path).pages]


def slips_in(found: list[str]) -> list[int]:
    return [at for at, text in enumerate(found) if "Next patient" in text]


@pytest.mark.parametrize("name", ["print-desk.pdf", "print-home.pdf"])
def test_patients_come_in_the_order_of_the_list_each_behind_a_slip(name: str, made: Batch) -> None:
    found = pages(made.root / name)
    starts = [*slips_in(found), len(found)]
    assert len(starts) == 4
    for place, case in enumerate(made.cases):
        mine = found[starts[place] : starts[place + 1]]
        number = case.patient.record_number
        assert f"{place + 1} of 3" in mine[0]
        assert number in mine[0]
        assert "LEFT eye" in mine[0]
        others = {other.patient.record_number for other in made.cases} - {number}
        assert not any(other in text for other in others for text in mine)
        assert all(number in text for text in mine if text.strip())


@pytest.mark.parametrize("name", ["print-desk.pdf", "print-home.pdf"])
def test_every_slip_and_every_sheet_begins_on_the_front_of_a_sheet_of_paper(name: str, made: Batch) -> None:
    """A printer that prints both sides puts pages 1, 3, 5 and so on upon a front."""
    lengths = []
    for case, result, folder in zip(made.cases, made.results, map(made.folder, range(3)), strict=True):
        lengths.append((case.patient.record_number, 1))
        wanted = {"print-desk.pdf": ("separate-choices", "surgeon-review"), "print-home.pdf": ("before-day",)}[name]
        for sheet in wanted:
            files = sorted(file for file in result.files if file.startswith(sheet) and file.endswith(".pdf"))
            lengths += [(case.patient.record_number, len(pypdf.PdfReader(folder / file).pages)) for file in files]
    found, at = pages(made.root / name), 0
    for number, length in lengths:
        assert at % 2 == 0
        assert all(number in found[page] for page in range(at, at + length))
        at += length
        if length % 2:
            assert found[at].strip() == ""
            at += 1
    assert at == len(found)


def test_without_both_sides_no_page_is_empty(made: Batch, clinic: Clinic, tmp_path: Path) -> None:
    import shutil

    root = shutil.copytree(made.root, tmp_path / "copy")
    batch = Batch(root, made.made_at, made.cases, made.results, 0)
    desk, home = write_print_files(batch, clinic, duplex=False)
    assert all(text.strip() for path in (desk, home) for text in pages(path))


def test_the_slip_of_who_has_no_papers_says_so_and_the_others_count_theirs(made: Batch) -> None:
    found = pages(made.root / "print-desk.pdf")
    slips = {case.patient.record_number: found[at] for case, at in zip(made.cases, slips_in(found), strict=True)}
    assert "NO PAPERS" in slips[NO_WORDS]
    assert [number for number, text in slips.items() if "NO PAPERS" in text] == [NO_WORDS]


def test_a_slip_names_no_illness(made: Batch) -> None:
    found = pages(made.root / "print-desk.pdf")
    words = " ".join(found[at] for at in slips_in(found)).lower()
    assert not any(word in words for word in ("diabet", "cataract", "hard", "infect", "allerg"))


def test_print_files_are_the_same_byte_for_byte_and_nothing_hidden_is_left(made: Batch, clinic: Clinic) -> None:
    before = {path: path.read_bytes() for path in made.root.glob("print-*.pdf")}
    write_print_files(made, clinic)
    assert {path: path.read_bytes() for path in made.root.glob("print-*.pdf")} == before
    assert not (made.root / ".printing").exists()


def test_a_file_that_would_hold_slips_only_is_not_written(made: Batch, clinic: Clinic, tmp_path: Path) -> None:
    only = tuple(
        Finished(one.name, one.digest, {name: code for name, code in one.files.items() if "before-day" not in name})
        for one in made.results
    )
    import shutil

    root = shutil.copytree(made.root, tmp_path / "copy")
    written = write_print_files(Batch(root, made.made_at, made.cases, only, 0), clinic)
    assert [path.name for path in written] == ["print-desk.pdf"]
    assert not (root / "print-home.pdf").exists()


def _moved(case: Case, days: int) -> Case:
    import datetime as dt

    plan = case.plan.model_copy(update={"date": DAY + dt.timedelta(days=days)})
    return case.model_copy(update={"plan": plan})


def test_a_place_is_counted_among_those_of_the_same_day() -> None:
    one, two, three = invented_cases(3)
    assert places([one, _moved(two, -1), three]) == ((1, 2), (1, 1), (2, 2))


def _listed(cases: list[Case], failed: set[str], clinic: Clinic, tag: str) -> dict[str, list[list[str]]]:
    """Cell by cell what the lists of the first case's day say; the first table of each."""
    from consent.compose.document import Table
    from consent.errors import Problem

    lost = (Problem("no pack", "here"),)
    results = [Finished("p", "d", problems=lost if one.patient.record_number in failed else ()) for one in cases]
    batch = Batch(Path(), NOW, tuple(cases), tuple(results), 0)
    found = {}
    for document in day_sheets(batch, [assess(case, clinic) for case in cases], clinic, cases[0].plan.date, tag):
        tables = blocks_of(document, Table)
        found[document.sheet] = [[line[0].plain for line in row] for row in tables[0].rows] if tables else []
    return found


def test_numbers_on_checklist_and_summary_are_places_in_the_list_and_who_has_no_papers_comes_first(
    clinic: Clinic,
) -> None:
    cases = list(invented_cases(6))
    found = _listed(cases, {"INV-0004"}, clinic, "en")
    assert [row[0] for row in found["desk-checklist"]] == ["1", "2", "3", "4", "5", "6"]
    for row in found["desk-checklist"]:
        assert f"INV-000{row[0]}" in row[1]
        assert ("NO PAPERS" in row[4]) == (row[0] == "4")
    assert found["surgeon-summary"][0][0] == "4"
    assert all(f"INV-000{row[0]}" in row[1] for row in found["surgeon-summary"])


@pytest.mark.parametrize("tag", ["en", "bn", "hi"])
def test_every_list_of_the_day_comes_in_each_language(tag: str, clinic: Clinic) -> None:
    found = _listed(list(invented_cases(2)), set(), clinic, tag)
    assert list(found) == ["operating-list", "desk-checklist", "surgeon-summary", "missed-visits"]


def test_lists_of_an_earlier_time_go_and_each_day_has_its_own(made: Batch, clinic: Clinic, tmp_path: Path) -> None:
    one, two, _ = made.cases
    (tmp_path / "lists").mkdir()
    old = tmp_path / "lists" / "operating-list.2027-01-01.en.pdf"
    old.write_bytes(b"%PDF an earlier day")
    (tmp_path / "lists" / "notes.txt").write_text("of the desk")
    batch = Batch(tmp_path, NOW, (one, _moved(two, -1)), made.results[:2], 0)
    written = write_day_sheets(batch, clinic)
    names = [path.name for path in written.paths]
    assert len(names) == 8
    assert [name for name in names if name.startswith("desk")] == [
        "desk-checklist.2027-02-23.en.pdf",
        "desk-checklist.2027-02-24.en.pdf",
    ]
    assert sorted(path.name for path in (tmp_path / "lists").iterdir()) == sorted([*names, "notes.txt"])


def test_who_cannot_be_assessed_as_ordered_stands_on_the_lists_nevertheless(
    made: Batch, clinic: Clinic, tmp_path: Path
) -> None:
    """A regimen nobody knows stops the papers; the patient still comes that morning."""
    (case,) = invented_cases(1)
    odd = case.model_copy(update={"plan": case.plan.model_copy(update={"regimen": "no-such-regimen"})})
    job = Job("p-odd", odd.model_dump(mode="json", by_alias=True, exclude_none=True), "digest")
    from consent.pack.batch_job import Wanted

    result = make(job, clinic, Wanted(NOW), tmp_path)
    assert "no-such-regimen" in str(result.problems[0])
    written = write_day_sheets(Batch(tmp_path, NOW, (odd,), (result,), 0), clinic)
    assert written.left_off == ()
    checklist = next(path for path in written.paths if path.name.startswith("desk-checklist"))
    assert "NO PAPERS" in pages(checklist)[0]
    assert "INV-0001" in pages(checklist)[0]


_MEASURED = """
import resource, sys, tests.bench.batch_memory as memory
from consent.pack import print_file
from pathlib import Path
slip = Path(sys.argv[2]).read_bytes()
print_file._slips = lambda part, *_: [slip] * len(part)
print(memory.main(int(sys.argv[1])))
"""


@pytest.mark.slow
def test_memory_of_a_print_file_grows_far_slower_than_its_list(made: Batch) -> None:
    """Ten times as many patients; sheets are open in chunks, and what grows is the table of the objects of all pages.

    Slips are printed beforehand, for they are the same work for each.
    """
    import subprocess
    import sys

    slip = next(made.folder(0).glob("separate-choices.*.pdf"))
    command = [sys.executable, "-c", _MEASURED]
    root = Path(__file__).resolve().parents[2]
    small, large = (
        int(subprocess.run([*command, str(n), str(slip)], capture_output=True, text=True, check=True, cwd=root).stdout)
        for n in (20, 200)
    )
    assert large / small < 1.6
