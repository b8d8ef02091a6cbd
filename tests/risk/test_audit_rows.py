"""Rows of an audit: columns by many names in any order, words that are understood, and rows kept with reasons."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from consent.case import Answer
from consent.case.plain import heading_key
from consent.case.table import Row, Table
from consent.errors import CaseError
from consent.evidence import OddsModel, library
from consent.risk.audit.columns import Column, audit_rules, recognised
from consent.risk.audit.file import read_table
from consent.risk.audit.rejects import rejects_csv
from consent.risk.audit.rows import Cases, read_cases
from consent.risk.audit.values import value_of


def table(headings: str, *rows: str) -> Table:
    """A table with cells separated by "|"."""
    read = [Row(number, tuple(row.split("|"))) for number, row in enumerate(rows, start=2)]
    return Table(tuple(headings.split("|")), tuple(read))


def cases(headings: str, *rows: str) -> Cases:
    model = library().one("narendran-2009").model
    assert model is not None
    return read_cases(table(headings, *rows), model, "cases.csv")


def ratio(heading: str, cell: str) -> tuple[float, float]:
    """Composite odds ratio of a man-or-woman of 50 with one more fact, unknown factors absent and present."""
    (eye,) = cases(f"age|pcr or vl|{heading}", f"50|no|{cell}").eyes
    return eye.composite, eye.highest


def reasons(headings: str, row: str) -> tuple[str, ...]:
    (entry,) = cases(headings, row).set_aside
    return entry.reasons


# Odds ratios: Narendran 2009, Eye 23:31-37, as the library holds them.
FACTS = [
    ("Sex", "M", 1.28),
    ("GENDER", "female", 1.00),
    ("Glaucoma", "POAG", 1.30),
    ("glaucoma", "No", 1.00),
    ("Diabetic Retinopathy", "NPDR", 1.63),
    ("DR", "none", 1.00),
    ("Cataract type", "Brunescent", 2.99),
    ("Nucleus", "BLACK", 2.99),
    ("Type of cataract", "white", 2.99),
    ("White cataract", "Y", 2.99),
    ("brunescent / white / mature", "yes", 2.99),
    ("Brunescent", "1", 2.99),
    ("Fundus seen", "no", 2.46),
    ("No fundal view", "yes", 2.46),
    ("No fundal view", "no", 1.00),
    ("PXF", "+", 2.92),
    ("Pseudo-exfoliation", "present", 2.92),
    ("phacodonesis", "Yes", 2.92),
    ("PXF/phacodonesis", "yes", 2.92),
    ("Pupil grade", "Small", 1.45),
    ("pupil", "medium", 1.14),
    ("Axial length (mm)", "26.0", 1.47),
    ("AL", "25.99 mm", 1.00),
    ("Doxazosin", "yes", 1.51),
    ("Can lie flat", "no", 1.27),
    ("Cannot lie flat", "yes", 1.27),
    ("unable to lie flat", "no", 1.00),
]


@pytest.mark.parametrize(("heading", "cell", "expected"), FACTS)
def test_a_fact_is_found_under_its_common_names(heading: str, cell: str, expected: float) -> None:
    assert ratio(heading, cell)[0] == pytest.approx(expected)


@pytest.mark.parametrize(("heading", "cell"), [("Nucleus", "hard"), ("nucleus", "NS 3"), ("white", "no")])
def test_only_brunescent_black_or_white_counts(heading: str, cell: str) -> None:
    assert ratio(heading, cell)[0] == 1.0


@pytest.mark.parametrize("word", ["", "unknown", "?", "n/a", "-", "Not recorded", "NK"])
@pytest.mark.parametrize(
    ("heading", "highest"), [("pupil", 1.45), ("glaucoma", 1.30), ("doxazosin", 1.51), ("axial length", 1.47)]
)
def test_unknown_is_absent_and_could_be_present(heading: str, highest: float, word: str) -> None:
    everything = ratio("remark", "")[1]  # no fact known at all: every factor of the model at its highest
    assert ratio(heading, word) == (1.0, pytest.approx(everything))
    known = {"pupil": "large", "glaucoma": "no", "doxazosin": "no", "axial length": "23"}[heading]
    assert ratio(heading, known) == (1.0, pytest.approx(everything / highest))


def test_columns_stand_in_any_order_and_in_any_case(model: OddsModel) -> None:
    forwards = cases("AGE|Sex|PCR|Vitreous Loss", "67|M|no|no", "81|F|no|yes")
    backwards = cases("vitreous_loss|pcr|SEX|age (yrs)", "no|no|m|67", "yes|no|f|81 years")
    assert forwards.eyes == backwards.eyes
    assert [eye.event for eye in forwards.eyes] == [False, True]


def test_unknown_columns_are_listed_and_ignored_and_absent_ones_named() -> None:
    found = cases("age|MRD|pcr or vl|Lens brand|sex", "67|A1|no|x|m")
    assert found.ignored == ("MRD", "Lens brand")
    assert found.read == {
        "age": "age in years on the day of surgery",
        "pcr or vl": "capsule rupture or vitreous loss",
        "sex": "sex",
    }
    assert "glaucoma" in found.absent
    assert "sex" not in found.absent
    assert "surgeon" not in found.absent  # the model does not ask for it


def test_a_column_for_two_facts_counts_for_both() -> None:
    found = cases("age|pcr or vl|pxf or phacodonesis|brunescent or white", "67|no|no|no")
    assert not {"pseudoexfoliation", "phacodonesis", "white cataract"} & set(found.absent)
    assert found.eyes[0].unknown.count("brunescent or white") == 0


def test_types_that_name_white_tell_that_the_others_are_not() -> None:
    with_white = cases("age|pcr or vl|cataract type", "67|no|hard", "67|no|white")
    assert "brunescent or white" not in with_white.eyes[0].unknown
    assert "white cataract" not in with_white.absent
    without = cases("age|pcr or vl|cataract type", "67|no|hard", "67|no|soft")
    assert "brunescent or white" in without.eyes[0].unknown


def test_age_comes_from_two_dates_or_from_its_column() -> None:
    # Born 5 March 1955: 69 on 4 March 2025, 70 on 5 March 2025; odds ratios 1.14 and 1.42 (Narendran 2009).
    found = cases(
        "DOB|Date of surgery|age|pcr or vl",
        "05/03/1955|04/03/2025||no",
        "5-Mar-1955|2025-03-05 09:30||no",
        "|05.03.2025|70|no",
        "1955-03-05||69|no",
    )
    assert [eye.composite for eye in found.eyes] == [1.14, 1.42, 1.42, 1.14]
    assert [eye.year for eye in found.eyes] == [2025, 2025, 2025, None]


@pytest.mark.parametrize(
    ("row", "event"),
    [("no|no", False), ("yes|no", True), ("no|yes", True), ("yes|", True), ("|yes", True)],
)
def test_one_yes_is_an_event(row: str, event: bool) -> None:
    (eye,) = cases("age|pcr|vl", f"67|{row}").eyes
    assert eye.event is event


@pytest.mark.parametrize("row", ["|", "no|", "|no"])
def test_a_no_needs_both_halves_of_the_outcome(row: str) -> None:
    (reason,) = reasons("age|pcr|vl", f"67|{row}")
    empty = [name for name, cell in zip(("pcr", "vl"), row.split("|"), strict=True) if not cell]
    assert reason == f"{', '.join(empty)}: the outcome is not known; write yes or no"


def test_half_an_outcome_is_said() -> None:
    assert any("only capsule rupture" in text for text in cases("age|pcr", "67|no").remarks)
    assert cases("age|pcr or vl", "67|no").remarks == ()
    assert cases("age|pcr|vl", "67|no|no").remarks == ()


@pytest.mark.parametrize(
    ("headings", "row", "says"),
    [
        ("age|pcr or vl", "|no", "the age is not known"),
        ("age|pcr or vl", "17|no", "age 17 years"),
        ("age|pcr or vl", "121|no", "age 121 years"),
        ("age|pcr or vl", "old|no", 'age: "old" is not an age'),
        ("age|pcr or vl", "-67|no", '"-67" is not an age'),
        ("age|pcr or vl", "67|maybe", '"maybe" is not understood; write yes, no, or nothing'),
        ("age|pcr or vl|pupil", "67|no|5 mm", "write large, medium, small, or nothing"),
        ("age|pcr or vl|nucleus", "67|no|stone", "brunescent"),
        ("age|pcr or vl|operation", "67|no|", "the operation is not known"),
        ("age|pcr or vl|operation", "67|no|not phaco; SICS", "outside the model"),
        ("age|pcr or vl|date of surgery", "67|no|01/01/0205", "is not a date"),
        ("age|pcr or vl|date of surgery", "67|no|31/12/2999", "is not a date"),
        ("age|pcr or vl|AL", "67|no|235", "axial length 235 mm should be less than or equal to 38 mm"),
        ("age|pcr or vl|AL", "67|no|long", "is not a length"),
        ("age|pcr or vl|date of surgery", "67|no|03/31/2025", "with the day first"),
        ("pcr or vl|date of surgery|date of birth", "no|1/1/25|5/3/55", '"5/3/55" is not a date'),
        ("age|pcr or vl|date of surgery", "67|no|31-Foo-2025", "is not a date"),
        ("age|pcr or vl|operation", "67|no|SICS", "outside the model, which was made on phacoemulsification"),
        ("age|pcr or vl|operation", "67|no|Phaco-trabeculectomy", "outside the model"),
        ("age|pcr or vl|nucleus|white", "67|no|white|no", "another says it is not white"),
        ("age|pcr or vl|pcr", "67|no|yes", "contradict"),
        ("age|pcr or vl", "67|no|more", "more cells than there are headings"),
        ("age|sex|pcr or vl", "67|m", "the outcome is not known"),
    ],
)
def test_a_row_that_cannot_be_used_is_kept_with_its_reason(headings: str, row: str, says: str) -> None:
    found = cases(headings, row)
    assert found.eyes == ()
    (entry,) = found.set_aside
    assert entry.row.number == 2
    assert entry.row.cells == tuple(row.split("|"))
    assert any(says in reason for reason in entry.reasons), entry.reasons


def test_every_reason_of_a_row_is_given_and_its_event_is_known() -> None:
    (entry,) = cases("age|pcr or vl|pupil|sex", "67|yes|huge|x").set_aside
    assert len(entry.reasons) == 2
    assert entry.event is Answer.YES


def test_no_row_is_lost() -> None:
    rows = ["67|no", "x|no", "68|yes", "|", "69|perhaps"]
    found = cases("age|pcr or vl", *rows)
    assert len(found.eyes) + len(found.set_aside) == len(rows)
    assert sorted(number for numbers in found.reasons.values() for number in set(numbers)) == [3, 5, 6]


def test_phaco_in_other_words_is_the_models_operation() -> None:
    assert len(cases("age|pcr or vl|procedure", "67|no|Phaco + PCIOL LE", "67|no|PHACOEMULSIFICATION").eyes) == 2


def test_a_surgeon_is_the_same_in_any_case() -> None:
    found = cases("age|pcr or vl|surgeon", "67|no|Dr  Rao", "67|no|DR RAO", "67|no|")
    assert [eye.surgeon for eye in found.eyes] == ["Dr Rao", "Dr Rao", ""]


def test_control_characters_of_a_file_do_not_reach_the_terminal() -> None:
    (reason,) = reasons("age|pcr or vl", "67|\x1b[31mred" + "x" * 100)
    assert "\x1b" not in reason
    assert len(reason) < 120


# Columns.


@pytest.mark.parametrize(
    ("headings", "says"),
    [
        ("age|sex", ("capsule rupture or vitreous loss", "pcr", "vl")),
        ("pcr or vl|sex", ("age at surgery", "date of birth", "date of surgery")),
        ("pcr or vl|dob", ("date of surgery",)),
        ("age|pcr or vl|sex|gender", ('"sex" and "gender" both say sex',)),
    ],
)
def test_a_column_missing_or_twice_is_an_error_that_names_the_spellings(headings: str, says: tuple[str, ...]) -> None:
    with pytest.raises(CaseError) as caught:
        cases(headings, "|".join("1" for _ in headings.split("|")))
    assert all(text in str(caught.value) for text in says)
    assert caught.value.exit_code == 3


def test_every_spelling_is_recognised_as_it_stands() -> None:
    for column in audit_rules().columns:
        for spelling in (*column.spellings, *column.opposite):
            assert heading_key(f"  {spelling.upper()} ") == spelling


@pytest.mark.parametrize(
    "column", [c for c in audit_rules().columns if c.kind in ("answer", "words")], ids=lambda c: c.id
)
def test_every_word_of_the_table_is_in_its_plain_form(column: Column) -> None:
    # A word in any other form could never match a cell.
    (mapped,) = recognised([column.spellings[0]])
    for word, meaning in mapped.meanings.items():
        assert value_of(f" {word.upper()} ", mapped) == meaning


# Rows set aside, written to be corrected and given back.


def again(text: str, folder: Path) -> Cases:
    model = library().one("narendran-2009").model
    assert model is not None
    path = folder / "rejects.csv"
    path.write_bytes(text.encode("utf-8-sig"))
    return read_cases(read_table(path), model, path.name)


def test_rejects_carry_every_cell_the_row_number_and_the_reason() -> None:
    text = rejects_csv(cases("age|MRD|pcr or vl", "67|A|no", "old|B|yes", "69|C|"))
    rows = list(csv.reader(io.StringIO(text)))
    assert rows[0] == ["age", "MRD", "pcr or vl", "row in the file", "why it was set aside"]
    assert [row[:4] for row in rows[1:]] == [["old", "B", "yes", "3"], ["69", "C", "", "4"]]
    assert all(row[4] for row in rows[1:])


def test_corrected_rejects_can_be_given_back(tmp_path: Path) -> None:
    text = rejects_csv(cases("age|surgeon|pcr or vl", "old|=Rao|yes", "69|Sen|?"))
    unchanged = again(text, tmp_path)
    assert len(unchanged.set_aside) == 2
    assert unchanged.ignored == ()
    corrected = again(text.replace("old", "70").replace("Sen,?", "Sen,no"), tmp_path)
    assert [(eye.surgeon, eye.event) for eye in corrected.eyes] == [("=Rao", True), ("Sen", False)]


def test_rejects_of_rejects_grow_no_columns(tmp_path: Path) -> None:
    once = rejects_csv(cases("age|pcr or vl", "old|yes"))
    twice = rejects_csv(again(once, tmp_path))
    assert next(csv.reader(io.StringIO(twice))) == next(csv.reader(io.StringIO(once)))


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\uff1d"])
def test_no_cell_of_the_rejects_is_a_formula(start: str) -> None:
    """OWASP, CSV Injection: a cell that begins with = + - @ tab or carriage return is worked out by spreadsheets."""
    bad = f'{start}cmd|" /C calc"!A0'.replace("|", "/")
    text = rejects_csv(cases(f"age|{bad}|pcr or vl", f"67|{bad}|{bad}"))
    for row in csv.reader(io.StringIO(text, newline="")):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r", "\uff1d")) for cell in row)
    assert f"'{start}" in text


def test_cells_beyond_the_headings_are_kept_in_the_rejects() -> None:
    rows = list(csv.reader(io.StringIO(rejects_csv(cases("age|pcr or vl", "67|no|spilled")))))
    assert "spilled" in rows[1]


# Signs. A register writes "PCR -" for no rupture; without the sign every eye of it would be an event.


@pytest.mark.parametrize("cell", ["PCR -", "PCR-", "PCR(-)", "-ve", "-VE", "No PCR", "no"])
def test_a_minus_is_a_no(cell: str) -> None:
    (eye,) = cases("age|pcr|vl", f"67|{cell}|no").eyes
    assert not eye.event


@pytest.mark.parametrize("cell", ["PCR +", "PCR+", "PCR (+)", "+ve", "+", "pcr", "PCR present"])
def test_a_plus_is_a_yes(cell: str) -> None:
    (eye,) = cases("age|pcr|vl", f"67|{cell}|no").eyes
    assert eye.event


@pytest.mark.parametrize(
    "cell", ["PCR \u2717", "PCR \u2013", "+/-", "-/+", "-1", "<1", "\u22601", "1%", "PCR --", "PCR = 0"]
)
def test_a_sign_that_is_not_understood_is_never_a_yes(cell: str) -> None:
    found = cases("age|pcr|vl", f"67|{cell}|no")
    assert found.eyes == ()
    assert found.set_aside[0].event is Answer.UNKNOWN


@pytest.mark.parametrize(
    ("cell", "event"),
    [("PCR- VL-", False), ("PCR+ VL-", True), ("PCR- VL+", True), ("PCR + VL", True), ("PCR,VL", True)],
)
def test_both_halves_in_one_cell(cell: str, event: bool) -> None:
    (eye,) = cases("age|pcr or vl", f"67|{cell}").eyes
    assert eye.event is event


@pytest.mark.parametrize("heading", ["Fundus not seen", "No fundal view", "Fundus seen"])
@pytest.mark.parametrize(("cell", "factor"), [("seen", 1.0), ("visible", 1.0), ("not seen", 2.46), ("no view", 2.46)])
def test_seen_means_seen_under_any_heading(heading: str, cell: str, factor: float) -> None:
    # Narendran 2009: no fundal view or vitreous opacities, odds ratio 2.46.
    assert ratio(heading, cell)[0] == pytest.approx(factor)


@pytest.mark.parametrize("cell", ["Phaco + Ant Vitrectomy + PCIOL", "phaco, anterior vitrectomy", "Phaco"])
def test_a_vitrectomy_for_vitreous_loss_stays_in_the_audit(cell: str) -> None:
    (eye,) = cases("age|pcr or vl|operation", f"67|yes|{cell}").eyes
    assert eye.event


def test_an_outcome_under_another_name_is_pointed_at() -> None:
    assert any('"PCR remarks" is ignored' in text for text in cases("age|vl|PCR remarks", "67|no|torn").remarks)
    assert cases("age|PCR (Y/N)|VL (yes/no)", "67|y|n").eyes[0].event


def test_rows_that_repeat_are_counted_and_said() -> None:
    found = cases("age|pcr or vl", "67|no", "68|no", "67|no")
    assert len(found.eyes) == 3
    assert any("1 rows repeat" in text and "row 4 does row 2" in text for text in found.remarks)


def test_initials_are_surgeons_and_a_full_stop_makes_no_second_one() -> None:
    eyes = cases("age|pcr or vl|surgeon", "67|no|NK", "67|no|Dr Sen", "67|no|Dr. Sen", "67|no|-").eyes
    assert [eye.surgeon for eye in eyes] == ["NK", "Dr Sen", "Dr Sen", ""]


def test_rows_outside_the_model_are_told_from_rows_that_could_not_be_read() -> None:
    found = cases("age|pcr or vl|operation", "67|yes|SICS", "old|yes|phaco", "67|maybe|phaco")
    assert [entry.outside for entry in found.set_aside] == [True, False, False]
    assert [entry.event for entry in found.unread] == [Answer.YES, Answer.UNKNOWN]


@pytest.mark.parametrize("cell", ["05/03/25", "5-Mar-25", "05/03/2025 10:30 AM", "2025-03-05T09:15", "5.3.2025"])
def test_the_day_of_an_operation_as_spreadsheets_write_it(cell: str) -> None:
    (eye,) = cases("age|pcr or vl|date of surgery", f"67|no|{cell}").eyes
    assert eye.year == 2025
