"""Whole files of an operating list: the template, what comes back corrected, and files that attack or are odd."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import pytest

from consent.case import Case, read_case
from consent.case.listing import (
    ListOptions,
    list_csv,
    preview_lines,
    read_list,
    set_aside_csv,
    template_csv,
    write_template,
)
from consent.case.table import FORMULA_STARTS
from consent.errors import CaseError
from tests.case.lists import GOOD, as_csv, facts, good, workbook, written

EXAMPLES = ("ordinary", "hard", "second-eye", "torn")


def example(name: str, folder: Path) -> Case:
    return read_case(folder / f"{name}.toml")


def refused(path: Path) -> str:
    with pytest.raises(CaseError) as caught:
        read_list(path)
    return str(caught.value)


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_template_filled_gives_the_shipped_cases(examples: Path, tmp_path: Path) -> None:
    """The template, filled by its headings with what each example says, is read back as the same facts."""
    path = tmp_path / "template.csv"
    write_template(path)
    headings = next(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    cases = [example(name, examples) for name in EXAMPLES]
    filled = io.StringIO(newline="")
    writer = csv.DictWriter(filled, headings)
    writer.writeheader()
    writer.writerows(rows_of(list_csv(cases)))
    found = read_list(written(tmp_path, filled.getvalue()), ListOptions(invented=True))
    assert list(map(facts, found.cases)) == list(map(facts, cases))
    assert found.remarks == ("columns are separated by comma",)


def test_a_workbook_gives_the_same_cases_as_csv(examples: Path, tmp_path: Path) -> None:
    """Dates, times and numbers as a spreadsheet keeps them."""
    cases = [example(name, examples) for name in EXAMPLES]
    text = rows_of(list_csv(cases))
    rows: list[list[object]] = [list(text[0])]
    for row in text:
        rows.append([_typed(heading, cell.removeprefix("'")) for heading, cell in row.items()])
    found = read_list(written(tmp_path, workbook(rows), "list.xlsx"), ListOptions(invented=True))
    assert list(map(facts, found.cases)) == list(map(facts, cases))


def _typed(heading: str, cell: str) -> object:
    if heading in ("Date of surgery", "Birth date") and cell:
        return dt.date.fromisoformat(cell)
    if heading == "Time" and cell:
        return dt.time.fromisoformat(cell)
    try:
        return float(cell) if heading != "Telephone" else cell
    except ValueError:
        return cell or None


def test_the_template_has_a_mark_and_no_rows(tmp_path: Path) -> None:
    path = tmp_path / "template.csv"
    write_template(path)
    assert path.read_bytes().startswith(b"\xef\xbb\xbf" + b"Name,")
    assert path.read_bytes().decode("utf-8-sig") == template_csv()
    assert "no headings with rows" in refused(path)
    with pytest.raises(CaseError, match="was not written"):
        write_template(tmp_path / "no folder" / "template.csv")


def test_rows_set_aside_are_corrected_and_read_again(tmp_path: Path) -> None:
    rows = [good(), good(Name="Kamla Example", Record_number="D-2", Eye="both"), good(Name="Abdul", Record_number="")]
    first = read_list(written(tmp_path, as_csv(*rows)))
    assert len(first.cases) == 1
    again = set_aside_csv(first)
    told = rows_of(again)
    assert [row["row in the file"] for row in told] == ["3", "4"]
    assert (
        told[0]["why it was set aside"] == '"Eye": "both" is not understood (write right, left; one row for each eye)'
    )
    second = read_list(written(tmp_path, again, "again.csv"))
    assert (len(second.cases), len(second.set_aside)) == (0, 2)
    assert set_aside_csv(second).count("why it was set aside") == 1
    corrected = again.replace("both", "right", 1).replace("Abdul,,", "Abdul,D-3,")
    third = read_list(written(tmp_path, corrected, "third.csv"))
    assert [case.patient.record_number for case in third.cases] == ["D-2", "D-3"]
    assert third.remarks == ("columns are separated by comma",)


def test_corrected_rows_are_compared_with_the_good_ones_of_before(tmp_path: Path) -> None:
    first = read_list(written(tmp_path, as_csv(good(), good(Record_number="", Eye="right"))))
    again = set_aside_csv(first)
    same = written(tmp_path, again.replace("Example,,", "Example,DEMO-0001,"), "same.csv")
    (row,) = read_list(same, beside=first.cases).good
    assert "the other eye of the same patient stands in the list read before" in row.flags[0]
    other = written(tmp_path, again.replace("Example,,", "Example,DEMO-9,"), "other.csv")
    (row,) = read_list(other, beside=first.cases).good
    assert "the same name in the list read before: Shanti Example, DEMO-0001" in row.flags[0]
    twice = written(tmp_path, again.replace("Example,,", "Example,DEMO-0001,").replace("right", "left"), "twice.csv")
    (bad,) = read_list(twice, beside=first.cases).set_aside
    assert bad.problems[0].what == "the same eye of the same patient stands in the list read before"


@pytest.mark.parametrize("start", FORMULA_STARTS)
def test_a_formula_is_set_aside_and_never_worked_out(start: str, tmp_path: Path) -> None:
    """OWASP, CSV injection: a tab or a line break before the sign makes no difference."""
    evil = f"{start}=cmd|' /C calc'!A0"
    text = io.StringIO(newline="")
    csv.writer(text).writerows([GOOD, good(Name=evil).values()])
    found = read_list(written(tmp_path, text.getvalue()))
    assert not found.cases
    (cells,) = rows_of(set_aside_csv(found))
    assert not any(cell.startswith(FORMULA_STARTS) for cell in cells.values() if isinstance(cell, str))
    assert read_list(written(tmp_path, set_aside_csv(found), "again.csv")).set_aside[0].row.cells[0] == evil


def test_a_heading_is_no_formula_either(tmp_path: Path) -> None:
    path = written(tmp_path, as_csv(good(Eye="?") | {"=1+1": "x"}))
    assert "'=1+1" in set_aside_csv(read_list(path)).splitlines()[0]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_odd_encodings_give_the_same_names(encoding: str, tmp_path: Path) -> None:
    path = written(tmp_path, as_csv(good(Name="José D\u2019Souza")).encode(encoding))
    found = read_list(path)
    assert found.cases[0].patient.name == "José D\u2019Souza"
    assert any("Windows-1252" in remark for remark in found.remarks) == (encoding == "cp1252")


def test_latin_1_and_windows_1252_agree_on_accents(tmp_path: Path) -> None:
    """ISO 8859-1 and Windows-1252 differ only from 0x80 to 0x9F."""
    path = written(tmp_path, as_csv(good(Name="Zoë Müller")).encode("latin-1"))
    assert read_list(path).cases[0].patient.name == "Zoë Müller"


def test_nul_is_refused(tmp_path: Path) -> None:
    assert "not a text file" in refused(written(tmp_path, as_csv(good(Name="A\0B"))))


def test_a_cell_of_five_megabytes_is_refused_or_set_aside_in_few_words(tmp_path: Path) -> None:
    assert len(refused(written(tmp_path, as_csv(good(Name="x" * 5_000_000))))) < 500
    import zipfile

    content = io.BytesIO(workbook([list(GOOD), list(good(Name="HUGE").values())]))
    large = io.BytesIO()
    with zipfile.ZipFile(content) as old, zipfile.ZipFile(large, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b"HUGE", b"x" * 5_000_000))
    found = read_list(written(tmp_path, large.getvalue(), "list.xlsx"))
    assert "the cell holds 5000000 letters" in str(found.set_aside[0].problems[0])
    assert len("\n".join(preview_lines(found))) < 1000


def test_merged_cells_above_the_headings_and_empty_lines(tmp_path: Path) -> None:
    """A merged cell keeps its text in the first of its cells and leaves the others empty (ECMA-376, 18.3.1.55)."""
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for row in (["OPERATING LIST"], [], list(GOOD), [], list(good().values()), [], [None, " "]):
        sheet.append(row)
    sheet.merge_cells("A1:H2")
    book.save(tmp_path / "list.xlsx")
    found = read_list(tmp_path / "list.xlsx")
    assert [row.row.number for row in found.rows] == [5]
    assert len(found.cases) == 1
    assert "above the headings and not read: row 1" in found.remarks


def test_a_file_without_known_headings_is_refused_with_all_that_are_needed(tmp_path: Path) -> None:
    told = refused(written(tmp_path, "a,b\n1,2\n"))
    assert told.count("no column says") == len(GOOD)
    assert "patient name" in told
    assert "say for the whole list which surgeon it is" in told


def test_nothing_of_a_terminal_gets_through_the_preview(tmp_path: Path) -> None:
    text = as_csv(good(Name="A\x1b[2JB", Eye="\x1b[31mleft") | {"\x1b[31mX": "\x07"})
    assert "\x1b" not in "\n".join(preview_lines(read_list(written(tmp_path, text))))


def test_an_entry_that_cannot_stand_on_a_list_is_not_written(examples: Path) -> None:
    case = example("hard", examples)
    health = case.health.model_copy(update={"medicines": ("one; two",)})
    with pytest.raises(CaseError, match="holds a semicolon"):
        list_csv([case.model_copy(update={"health": health})])
