"""Tables as clinics have them: RFC 4180 and what else is called CSV, old encodings, titles, and files that attack."""

from __future__ import annotations

import csv
import io
import tempfile
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from consent.case.plain import ascii_digits, heading_key
from consent.case.set_aside import guarded_csv, rows_csv
from consent.case.table import FORMULA_STARTS, Row, TableRules, read_table
from consent.errors import CaseError
from tests.case.lists import workbook, written


@dataclass(frozen=True)
class Small:
    rows: int = 100
    bytes: int = 20_000_000
    unpacked_bytes: int = 10_000_000
    columns: int = 50


def known(headings: Sequence[str]) -> int:
    return sum(heading_key(heading) in ("name", "eye", "age") for heading in headings)


RULES = TableRules(Small(), known, "leave columns out", "split it", 5, True, ("cp1252", "Windows-1252"))
ONE_ROW = replace(RULES, heading_rows=1, utf16=False)


def refused(path: Path, rules: TableRules = RULES) -> str:
    with pytest.raises(CaseError) as caught:
        read_table(path, rules)
    return str(caught.value)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_every_unicode_encoding_with_its_mark_gives_the_same(encoding: str, delimiter: str, tmp_path: Path) -> None:
    """Unicode 23.8: the byte order mark. Spreadsheets save "Unicode text" as UTF-16 with tabs."""
    mark = "\ufeff" if encoding in ("utf-16-le", "utf-16-be") else ""
    text = mark + "Name,Age\r\nশান্তি,67\r\n".replace(",", delimiter)
    table = read_table(written(tmp_path, text.encode(encoding), "list.txt"), RULES)
    assert (table.headings, table.rows[0].cells) == (("Name", "Age"), ("শান্তি", "67"))
    assert not any("not UTF-8" in remark for remark in table.remarks)


def test_half_of_utf_16_is_refused(tmp_path: Path) -> None:
    assert "not a text file" in refused(written(tmp_path, b"\xff\xfeN\0a\0m"))


def test_utf_16_without_a_mark_and_nul_are_refused(tmp_path: Path) -> None:
    assert "not a text file" in refused(written(tmp_path, "Name,Age\nX,1\n".encode("utf-16-le")))
    assert "not a text file" in refused(written(tmp_path, b"Name,Age\nX\0,1\n"))
    assert "not a text file" in refused(written(tmp_path, "Name,Age\nX\0,1\n".encode("utf-16")))


def test_windows_1252_is_read_and_said(tmp_path: Path) -> None:
    """WHATWG encoding index: 0x92 is the curly apostrophe in Windows-1252, a control sign in Latin-1."""
    table = read_table(written(tmp_path, b"Name,Age\r\nD\x92Souza Jos\xe9,67\r\n"), RULES)
    assert table.rows[0].cells[0] == "D\u2019Souza Jos\u00e9"
    assert any("Windows-1252" in remark for remark in table.remarks)


def test_bytes_that_windows_1252_lacks_stop_nothing(tmp_path: Path) -> None:
    assert read_table(written(tmp_path, b"Name,Age\nA\x81B,67\n"), RULES).rows[0].cells[1] == "67"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_every_cell_may_stand_in_quotation_marks(delimiter: str, tmp_path: Path) -> None:
    """RFC 4180, 2.5 to 2.7: fields may be quoted; a quoted field may hold separators, line breaks and doubled marks."""
    cells = ['"Name"', '"Age"'], ['"a "" b, c;\td\r\ne"', '"67"']
    table = read_table(written(tmp_path, "\r\n".join(map(delimiter.join, cells))), RULES)
    assert table.rows == (Row(2, ('a " b, c;\td\r\ne', "67")),)


def test_headings_below_titles_are_found_and_the_titles_named(tmp_path: Path) -> None:
    text = ",,\r\nDISTRICT HOSPITAL,,\r\nList of 24 Feb,,\r\n\r\nSl,NAME,Age\r\n1,A,67\r\n"
    table = read_table(written(tmp_path, text), RULES)
    assert table.headings == ("Sl", "NAME", "Age")
    assert [row.number for row in table.rows] == [6]
    assert any("not read: row 2, 3" in remark for remark in table.remarks)
    rows: list[list[object]] = [["DISTRICT HOSPITAL"], [None, None, None], ["Sl", "NAME", "Age"], [1, "A", 67]]
    table = read_table(written(tmp_path, workbook(rows), "list.xlsx"), RULES)
    assert (table.headings, [row.number for row in table.rows]) == (("Sl", "NAME", "Age"), [4])


def test_the_first_row_is_the_headings_where_only_one_may_be(tmp_path: Path) -> None:
    assert read_table(written(tmp_path, "TITLE,\nName,Age\nA,67\n"), ONE_ROW).headings == ("TITLE", "")


@pytest.mark.parametrize("content", ["", "\r\n\r\n", ",,,\r\n", "Name,Age\r\n", "\ufeff"])
def test_nothing_under_headings_is_refused(content: str, tmp_path: Path) -> None:
    assert "no headings with rows" in refused(written(tmp_path, content))


def test_a_cell_of_five_megabytes_is_refused_in_words(tmp_path: Path) -> None:
    assert "line 2" in refused(written(tmp_path, "Name,Age\r\n" + "x" * 5_000_000 + ",67\r\n"))


def test_too_many_rows_and_too_large_a_file_are_refused(tmp_path: Path) -> None:
    path = written(tmp_path, "Name,Age\n" + "A,67\n" * 101)
    assert "more than 100 rows" in refused(path)
    assert "larger than" in refused(path, replace(RULES, limits=Small(bytes=100)))


def packed(sheet: bytes) -> bytes:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("xl/worksheets/sheet1.xml", sheet)
    return content.getvalue()


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    """CWE-409: data that decompress to far more than they were."""
    bomb = packed(b"<worksheet>" + b" " * 50_000_000)
    assert len(bomb) < 100_000
    assert "unpacks to too much" in refused(written(tmp_path, bomb, "list.xlsx"))


def test_a_bomb_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    bomb = packed(b"<worksheet>" + b" " * 50_000_000)
    entry = bomb.rindex(b"PK\x01\x02")
    lying = bomb[: entry + 24] + (100).to_bytes(4, "little") + bomb[entry + 28 :]
    assert "not a workbook" in refused(written(tmp_path, lying, "list.xlsx")) or "damaged" in refused(
        written(tmp_path, lying, "list.xlsx")
    )


@pytest.mark.parametrize("start", FORMULA_STARTS)
def test_what_starts_a_formula_is_guarded_and_comes_back(start: str, tmp_path: Path) -> None:
    """OWASP, CSV injection: the signs with which spreadsheet programs begin a formula, and their full-width twins."""
    cell = f"{start}HYPERLINK(1)"
    text = rows_csv(["Name", "Age"], [(Row(2, (cell, "67")), ["why"])], ["row", "reason"], lambda _: False)
    assert next(csv.reader(io.StringIO(text.partition("\r\n")[2])))[0] == f"'{cell}"
    assert read_table(written(tmp_path, text), RULES).rows[0].cells == (cell, "67", "2", "why")


PLAIN = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)


def _comes_back(cell: str) -> bool:
    return not (cell.startswith("'") and cell[1:].startswith(FORMULA_STARTS))


@settings(max_examples=200, deadline=None)
@given(st.lists(st.lists(PLAIN.filter(_comes_back), min_size=3, max_size=3), min_size=1, max_size=4))
def test_what_is_written_is_read_again(rows: list[list[str]]) -> None:
    """RFC 4180 both ways, with the guard put on and taken off."""
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    if not filled:
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "list.csv"
        path.write_text(guarded_csv([["Name", "Age", "Eye"], *filled]), encoding="utf-8-sig", newline="")
        assert [list(row.cells) for row in read_table(path, ONE_ROW).rows] == filled


def test_digits_of_every_script_of_india_are_digits() -> None:
    """CLDR numbering systems beng, deva, gujr, guru, orya, tamldec, telu, knda, mlym, arabext."""
    for zero in "০०૦੦୦௦౦೦൦۰":
        assert ascii_digits("".join(chr(ord(zero) + value) for value in range(10))) == "0123456789"


def test_vowel_signs_belong_to_the_word() -> None:
    """Unicode general category Mc and Mn: without them रोगी and रंग would be the same two letters."""
    assert heading_key(" रोगी का नाम: ") == "रोगी का नाम"
    assert heading_key("রোগীর নাম") == "রোগীর নাম"
