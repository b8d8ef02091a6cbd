"""The file of an audit as clinics have it: separators, encodings, workbooks, and files that are broken or too large."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from pathlib import Path

import openpyxl
import pytest

from consent.case.table import Table
from consent.errors import CaseError
from consent.evidence import OddsModel
from consent.risk.audit import columns
from consent.risk.audit.columns import AuditRules, audit_rules
from consent.risk.audit.file import read_table
from consent.risk.audit.rows import read_cases

HEADINGS = ["Age", "Sex", "Axial length (mm)", "Date of surgery", "White", "PCR or VL"]
ROWS: list[list[object]] = [
    [67, "M", 23.5, dt.date(2025, 3, 4), False, "no"],
    [72, "F", 26, dt.date(2025, 3, 5), True, "yes"],
    [81, "F", None, dt.date(2025, 3, 6), False, "no"],
]
AS_TEXT = [("67", "M", "23.5", "2025-03-04", "no", "no"), ("72", "F", "26", "2025-03-05", "yes", "yes")]
AS_CSV = "Age,Sex,Axial length (mm),Date of surgery,White,PCR or VL\n67,M,23.5,2025-03-04,no,no\n"
AS_CSV += "72,F,26,2025-03-05,yes,yes\n81,F,,2025-03-06,no,no\n"


def written(folder: Path, content: bytes | str, name: str = "cases.csv") -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def workbook(*sheets: tuple[str, list[list[object]]], hidden: str = "") -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for title, rows in sheets:
        sheet = book.create_sheet(title)
        sheet.sheet_state = "hidden" if title == hidden else "visible"
        for row in rows:
            sheet.append(row)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def open_document(rows: str) -> bytes:
    """A spreadsheet of OASIS OpenDocument 1.3 with one table; ``rows`` is its XML."""
    names = " ".join(f'xmlns:{n}="urn:oasis:names:tc:opendocument:xmlns:{n}:1.0"' for n in ("office", "table", "text"))
    body = f'<office:body><office:spreadsheet><table:table table:name="S">{rows}</table:table></office:spreadsheet>'
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as packed:
        packed.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        packed.writestr("META-INF/manifest.xml", "<manifest/>")
        packed.writestr(
            "content.xml", f"<office:document-content {names}>{body}</office:body></office:document-content>"
        )
    return content.getvalue()


def ods_cell(value: object) -> str:
    if value is None:
        return "<table:table-cell/>"
    if isinstance(value, bool):
        return f'<table:table-cell office:value-type="boolean" office:boolean-value="{str(value).lower()}"/>'
    if isinstance(value, dt.date):
        return f'<table:table-cell office:value-type="date" office:date-value="{value}"/>'
    if isinstance(value, int | float):
        return f'<table:table-cell office:value-type="float" office:value="{value}"/>'
    return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'


def ods_rows(rows: list[list[object]]) -> str:
    return "".join(f"<table:table-row>{''.join(map(ods_cell, row))}</table:table-row>" for row in rows)


def cells(table: Table) -> list[tuple[str, ...]]:
    return [row.cells for row in table.rows]


def smaller(monkeypatch: pytest.MonkeyPatch, **limits: int) -> None:
    """The shipped rules with lower limits."""
    rules = audit_rules()
    changed: AuditRules = rules.model_copy(update={"limits": rules.limits.model_copy(update=limits)})
    for module in ("columns", "file"):
        monkeypatch.setattr(f"consent.risk.audit.{module}.audit_rules", lambda: changed)
    assert columns.audit_rules().limits == changed.limits


def refused(path: Path) -> str:
    with pytest.raises(CaseError) as caught:
        read_table(path)
    return str(caught.value)


@pytest.mark.parametrize("separator", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte order mark"])
@pytest.mark.parametrize("line", ["\n", "\r\n"], ids=["unix", "windows"])
def test_separators_marks_and_line_ends_give_the_same_rows(
    separator: str, mark: bytes, line: str, tmp_path: Path
) -> None:
    text = AS_CSV.replace(",", separator).replace("\n", line)
    table = read_table(written(tmp_path, mark + text.encode()))
    assert table.headings == tuple(HEADINGS)
    assert cells(table)[:2] == AS_TEXT
    assert [row.number for row in table.rows] == [2, 3, 4]


def test_a_workbook_and_an_open_document_give_the_same_as_csv(tmp_path: Path, model: OddsModel) -> None:
    plain = read_table(written(tmp_path, AS_CSV))
    excel = read_table(written(tmp_path, workbook(("Cases", [HEADINGS, *ROWS])), "cases.xlsx"))
    free = read_table(written(tmp_path, open_document(ods_rows([HEADINGS, *ROWS])), "cases.ods"))
    assert cells(plain) == cells(excel) == cells(free)
    eyes = [read_cases(table, model, "x").eyes for table in (plain, excel, free)]
    assert eyes[0] == eyes[1] == eyes[2]
    assert len(eyes[0]) == 3


def test_a_decimal_comma_is_read_where_semicolons_separate(tmp_path: Path, model: OddsModel) -> None:
    # 26.1 mm is "26 mm and over", odds ratio 1.47 (Narendran 2009); 25.9 mm is not.
    text = "age;axial length;pcr or vl\n50;26,1;no\n50;25,9;no\n"
    long, short = read_cases(read_table(written(tmp_path, text)), model, "x").eyes
    assert (long.composite, short.composite) == (1.47, 1.0)


def test_latin_1_is_read_and_said(tmp_path: Path) -> None:
    path = written(tmp_path, "age,surgeon,pcr or vl\n67,José,no\n".encode("latin-1"))
    table = read_table(path)
    assert cells(table) == [("67", "José", "no")]
    assert any("not UTF-8" in remark for remark in table.remarks)
    assert not any("UTF-8" in remark for remark in read_table(written(tmp_path, AS_CSV)).remarks)


def test_blank_lines_keep_the_numbers_of_a_spreadsheet(tmp_path: Path) -> None:
    table = read_table(written(tmp_path, "\nage,pcr or vl\n\n67,no\n,\n68,yes\n"))
    assert [(row.number, row.cells[0]) for row in table.rows] == [(4, "67"), (6, "68")]
    rows: list[list[object]] = [[], ["age", "pcr or vl"], [], [67, "no"], [None, None], [68, "yes"]]
    table = read_table(written(tmp_path, workbook(("S", rows)), "cases.xlsx"))
    assert [(row.number, row.cells[0]) for row in table.rows] == [(4, "67"), (6, "68")]


def test_the_first_visible_sheet_is_read_and_the_others_are_named(tmp_path: Path) -> None:
    sheets = [("Old", [["x"], ["y"]]), ("Cases", [HEADINGS, *ROWS]), ("Notes", [["z"], ["z"]])]
    table = read_table(written(tmp_path, workbook(*sheets, hidden="Old"), "cases.xlsx"))  # type: ignore[arg-type]
    assert table.headings == tuple(HEADINGS)
    assert table.remarks == ('sheet read: "Cases"', "sheets not read: Notes")


def test_an_apostrophe_before_a_formula_is_taken_away(tmp_path: Path) -> None:
    table = read_table(written(tmp_path, "age,surgeon,pcr or vl\n67,'=1+1,'-\n68,'tis,no\n"))
    assert cells(table) == [("67", "=1+1", "-"), ("68", "'tis", "no")]


@pytest.mark.parametrize(
    "text",
    [
        'age,notes,pcr or vl\n67,"open,no\n68,,no\n',
        'age,notes,pcr or vl\n67,"open,no\n68,,no\n69,"closed",no\n',
        'age,notes,pcr or vl\n67,"open,no\n68,,no\n69,closed",no\n',
    ],
    ids=["to the end", "wrongly closed", "closed two rows later"],
)
def test_an_open_quotation_mark_never_swallows_rows(text: str, tmp_path: Path) -> None:
    assert "quotation mark" in refused(written(tmp_path, text)) or "line" in refused(written(tmp_path, text))


def test_a_cell_that_may_have_swallowed_the_end_of_a_row_is_named(tmp_path: Path) -> None:
    text = 'age,notes,eye,pcr or vl\n67,"open,left,no\n68,closed",left,no\n70,"two\nlines",right,no\n'
    table = read_table(written(tmp_path, text))
    assert [remark for remark in table.remarks if "several lines" in remark] == [
        "a cell runs over several lines, check its quotation marks: row 2"
    ]


@pytest.mark.parametrize(
    ("content", "name", "says"),
    [
        (b"", "cases.csv", "no headings"),
        (b"age,pcr or vl\n", "cases.csv", "no headings with rows"),
        (b"PK\x03\x04", "cases.csv", "not a text file"),
        (b"\xff\xfea\0g\0e\0", "cases.csv", "not a text file"),
        (b"age", "cases.pdf", "are not read"),
        (b"age,pcr\n1,2\n", "cases.xlsx", "not a workbook"),
        (b"PK\x05\x06" + b"\0" * 18, "cases.xlsx", "cannot be read"),
    ],
)
def test_what_is_no_table_is_refused_in_words(content: bytes, name: str, says: str, tmp_path: Path) -> None:
    assert says in refused(written(tmp_path, content, name))


def test_a_missing_file_is_an_error_in_words(tmp_path: Path) -> None:
    assert "cannot be read" in refused(tmp_path / "none.csv")
    assert "cannot be read" in refused(tmp_path / "nul\0.csv")


def test_too_many_rows_or_bytes_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, AS_CSV)
    smaller(monkeypatch, rows=2)
    assert "more than 2 rows" in refused(path)
    smaller(monkeypatch, rows=3)
    assert len(read_table(path).rows) == 3
    smaller(monkeypatch, bytes=len(AS_CSV) - 1)
    assert "larger than" in refused(path)


def test_a_workbook_that_unpacks_to_too_much_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path, workbook(("S", [["age", "pcr or vl"], ["0" * 30_000, "no"]])), "cases.xlsx")
    smaller(monkeypatch, unpacked_bytes=30_000)
    assert "unpacks to too much" in refused(path)


def test_a_cell_far_out_is_named_before_it_takes_all_memory(tmp_path: Path) -> None:
    # One cell at XFD1048576 makes a reader of whole rectangles ask for 550 GB.
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet["A1"], sheet["XFD1048576"] = "age", "x"
    book.save(tmp_path / "far.xlsx")
    assert "row 1048576 or column 16384" in refused(tmp_path / "far.xlsx")
    text = '<table:table-cell office:value-type="string"><text:p>x</text:p></table:table-cell>'
    skip = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell/></table:table-row>'
    rows = f"<table:table-row>{text}</table:table-row>{skip}<table:table-row>{text}</table:table-row>"
    assert "row 1048002" in refused(written(tmp_path, open_document(rows), "far.ods"))


def test_empty_formatted_cells_far_out_do_no_harm(tmp_path: Path) -> None:
    tail = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated='
    tail += '"16000"/></table:table-row>'
    path = written(tmp_path, open_document(ods_rows([HEADINGS, *ROWS]) + tail), "cases.ods")
    assert cells(read_table(path))[:2] == AS_TEXT


@pytest.mark.parametrize(
    "rows",
    [
        "<table:table-row><table:table-cell></table:table-row>",  # a reader that waits for the end never ends
        '<table:table-row table:number-rows-repeated="many"/>',
    ],
)
def test_a_damaged_workbook_is_refused_before_it_is_read(rows: str, tmp_path: Path) -> None:
    assert "damaged" in refused(written(tmp_path, open_document(rows), "cases.ods"))


def test_a_document_type_is_refused(tmp_path: Path) -> None:
    # Entities that multiply ("billion laughs") are declared in a document type; a workbook has none.
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as packed:
        packed.writestr("content.xml", '<!DOCTYPE a [<!ENTITY b "c">]><a>&b;</a>')
    assert "damaged" in refused(written(tmp_path, content.getvalue(), "cases.ods"))
