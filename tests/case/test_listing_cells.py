"""Cells of an operating list: what they may say, what becomes of it, and what is refused in words, never guessed."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from consent.case.listing.keys import found_at
from tests.case.lists import case_of, good, listing, said

RIGHT = ["R", "r.", "RE", "R/E", "OD", "O.D.", "Right", "RIGHT EYE", "rt", "ডান", "ডান চোখ", "दाहिनी", "दाईं आँख"]
LEFT = ["L", "LE", "l.e.", "OS", "left", "Left eye", "Lt", "বাম", "বাঁ চোখ", "बाईं आंख", "बायां"]
NEITHER = ["B", "BE", "OU", "both", "R/L", "RL", "1", "yes", "ডান বাম", "right left", "eye", "দুই", "rleft", "R?"]


@pytest.mark.parametrize(("cell", "side"), [(c, "right") for c in RIGHT] + [(c, "left") for c in LEFT])
def test_an_eye_is_always_a_whole_word_in_the_case(cell: str, side: str) -> None:
    """OD: oculus dexter, the right eye; OS: oculus sinister, the left. Accepted to read, never written."""
    case = case_of(good(Eye=cell))
    assert (case.eye.side, case.plan.side) == (side, side)


@pytest.mark.parametrize("cell", ["\uff2c\uff25", "left\u200e", "\u200fLE", "\u200bOS"])
def test_full_width_letters_and_hidden_marks_make_no_difference(cell: str) -> None:
    """Unicode UAX 15, NFKC: full-width letters are compatibility twins. Marks of direction come along when pasting."""
    assert case_of(good(Eye=cell)).eye.side == "left"


def test_composed_and_decomposed_letters_are_the_same() -> None:
    """Unicode composition exclusions: U+09DF is the same letter as U+09AF U+09BC."""
    for heading in ("ব\u09dfস", "ব\u09af\u09bcস", "ব\u09af\u09bc\u200cস"):
        row = {name: text for name, text in good().items() if name != "Age"} | {heading: "67"}
        assert case_of(row).patient.age_years == 67


@pytest.mark.parametrize("cell", NEITHER)
def test_any_other_word_for_the_eye_is_refused(cell: str) -> None:
    assert "write right, left; one row for each eye" in said(good(Eye=cell))


@pytest.mark.parametrize("cell", ["", "?", "NA"])
def test_no_eye_is_no_case(cell: str) -> None:
    assert "nothing is written here" in said(good(Eye=cell))


FACTS: list[tuple[str, str, str, Any]] = [
    ("DOB", "1961-04-12", "patient.birth_date", dt.date(1961, 4, 12)),  # ISO 8601
    ("DOB", "12/04/1961", "patient.birth_date", dt.date(1961, 4, 12)),
    ("DOB", "12.4.1961", "patient.birth_date", dt.date(1961, 4, 12)),
    ("DOB", "12 Apr 1961", "patient.birth_date", dt.date(1961, 4, 12)),
    ("DOB", "12-April-1961", "patient.birth_date", dt.date(1961, 4, 12)),
    ("DOB", "১২/০৪/১৯৬১", "patient.birth_date", dt.date(1961, 4, 12)),
    ("DOB", "१२-०४-१९६१", "patient.birth_date", dt.date(1961, 4, 12)),
    ("OT date", "3/4/27", "plan.date", dt.date(2027, 4, 3)),
    ("OT date", "2027-04-03 00:00:00", "plan.date", dt.date(2027, 4, 3)),
    ("Age", "67 yrs", "patient.age_years", 67),
    ("Age", "৬৭", "patient.age_years", 67),
    ("Age", "६७ वर्ष", "patient.age_years", 67),
    ("Age", "67.0", "patient.age_years", 67),
    ("Sex", "F", "patient.sex", "female"),
    ("Sex", "পুরুষ", "patient.sex", "male"),
    ("Sex", "महिला", "patient.sex", "female"),
    ("Language", "বাংলা", "patient.language", "bn"),
    ("Language", "HINDI", "patient.language", "hi"),
    ("Language", "en-IN", "patient.language", "en-IN"),
    ("Record number", "MRD-০০৭", "patient.record_number", "MRD-007"),
    ("Telephone", "+91 00000 33333", "patient.telephone", "+91 00000 33333"),
    ("Operation", "Phaco + PCIOL", "plan.operation", "phacoemulsification"),
    ("Operation", "SICS with PCIOL", "plan.operation", "manual small-incision"),
    ("Operation", "phaco + trab", "plan.operation", "phacoemulsification with trabeculectomy"),
    ("Time", "8:45", "plan.time", dt.time(8, 45)),
    ("Time", "08.45", "plan.time", dt.time(8, 45)),
    ("Time", "08:45:00", "plan.time", dt.time(8, 45)),
    ("Time", "2:30 PM", "plan.time", dt.time(14, 30)),
    ("Time", "12:05 am", "plan.time", dt.time(0, 5)),
    ("Time", "०८:४५", "plan.time", dt.time(8, 45)),
    ("AL", "23,45", "eye.axial_length_mm", 23.45),
    ("AL", "২৩.৪৫ mm", "eye.axial_length_mm", 23.45),
    ("Target", "-0.5 D", "measurement.target_d", -0.5),
    ("Target", "\u22120,5", "measurement.target_d", -0.5),
    ("ECD", "2150", "eye.endothelial_cells_per_mm2", 2150),
    ("BP", "148/86", "fitness.systolic_mmhg", 148),
    ("BP", "১৪৮/৮৬ mmHg", "fitness.diastolic_mmhg", 86),
    ("BCVA", "6/60", "eye.acuity_corrected", "6/60"),
    ("BCVA", "৬/৬০", "eye.acuity_corrected", "6/60"),
    ("BCVA", "PL+", "eye.acuity_corrected", "PL"),
    ("BCVA", "PL \u2212", "eye.acuity_corrected", "NPL"),
    ("BCVA", "finger counting", "eye.acuity_corrected", "CF"),
    ("Diabetes", "Yes", "health.diabetes", "yes"),
    ("Diabetes", "না", "health.diabetes", "no"),
    ("Diabetes", "हाँ", "health.diabetes", "yes"),
    ("Diabetes", "NA", "health.diabetes", "unknown"),
    ("Diabetes", "", "health.diabetes", "unknown"),
    ("Tear sac", "Blocked, clear fluid", "fitness.tear_sac", "blocked, clear fluid"),
    ("Nucleus", "NS III", "eye.nucleus.grade", "hard"),
    ("Glaucoma", "POAG", "eye.glaucoma", "open angle"),
    ("Medicines", "aspirin 75 mg; metformin", "health.medicines", ("aspirin 75 mg", "metformin")),
    ("Medicines", "nil", "health.medicines", ()),
    ("Medicines", "\u200b; -", "health.medicines", ()),
    ("What matters", "reading; prayer, cattle", "patient.what_matters", ("reading", "prayer", "cattle")),
    ("Allergies", "none", "health.allergies.asked", "none"),
    ("Allergies", "NKDA", "health.allergies.asked", "none"),
    ("Allergies", "", "health.allergies.asked", "not asked"),
    ("Allergies", "penicillin (rash); sulfa", "health.allergies.known.1.substance", "sulfa"),
    ("Allergies", "penicillin (severe: swelling)", "health.allergies.known.0.severe", "yes"),
    ("Name", "  Shanti\nExample ", "patient.name", "Shanti Example"),
    ("Name", "শান্তি উদাহরণ", "patient.name", "শান্তি উদাহরণ"),
    ("Second lens design", "rigid", "plan.fallback_lenses.0.design", "rigid"),
]


@pytest.mark.parametrize(("heading", "cell", "key", "value"), FACTS)
def test_what_a_cell_says_is_a_fact_of_the_case(heading: str, cell: str, key: str, value: object) -> None:
    row = good()
    replaced = {"Language": "Language", "OT date": "Date of surgery", "DOB": "Age"}.get(heading, heading)
    row = {name: text for name, text in row.items() if name != replaced} | {heading: cell}
    if heading.startswith("Second lens"):
        row |= {"Second lens material": "PMMA"}
    assert found_at(case_of(row), key) == value


def test_age_and_sex_in_one_cell() -> None:
    row = {name: text for name, text in good().items() if name != "Age"}
    for cell in ("65/F", "65 / f", "65F", "65 yrs/F", "৬৫/মহিলা", "65 y, Female"):
        patient = case_of(row | {"Age/Sex": cell}).patient
        assert (patient.age_years, patient.sex) == (65, "female")
    assert "write 65/F" in said(row | {"Age/Sex": "F"})
    assert "is not understood" in said(row | {"Age/Sex": "65/X"})


REFUSED = [
    ("DOB", "12/04/61", "four digits"),
    ("DOB", "12 Apr 61", "four digits"),
    ("DOB", "1961", "not a birth date"),
    ("DOB", "04/25/1961", "day first"),
    ("DOB", "31/02/1961", "not a birth date"),
    ("Date of surgery", "02/24/2027", "day first"),
    ("Date of surgery", "tomorrow", "not a date"),
    ("Date of surgery", "2127-02-31", "not a date"),
    ("Age", "8 months", "whole years"),
    ("Age", "67.5", "whole years"),
    ("Age", "12", "greater than or equal to 18"),
    ("Age", "sixty", "whole years"),
    ("Time", "8", "08:45"),
    ("Time", "25:00", "08:45"),
    ("Time", "13:00 pm", "08:45"),
    ("AL", "23.5 cm", "a number in mm"),
    ("AL", "2.35", "axial length, mm"),
    ("AL", "1.234.5", "a number"),
    ("AL", "1e1", "a number"),
    ("Injections into the eye", "1,000", "without a point or comma"),
    ("ECD", "2,150", "without a point or comma"),
    ("RBS", "7.8 mmol/L", "a number in mg/dL"),
    ("BP", "148", "132/82"),
    ("BP", "900/86", "systolic"),
    ("BCVA", "0.1", "decimal 0.1"),
    ("BCVA", "2026-12-06", "a spreadsheet has made a date of it"),
    ("BCVA", "06/12/2026", "a spreadsheet has made a date of it"),
    ("Operation", "MICS", "is not understood"),
    ("Operation", "phaco / SICS", "is not understood"),
    ("Retinopathy", "yes", "is not understood"),
    ("Glaucoma", "yes", "is not understood"),
    ("Diabetes", "PCR-", "is not understood"),
    ("Tear sac", "blocked", "is not understood"),
    ("Language", "Klingon language", "tag such as bn"),
    ("Language", "tlh-xx-zz", "not a language tag"),
    ("Allergies", "yes", "write to what"),
    ("Allergies", "no history of allergy", "write none"),
    ("Allergies", "penicillin; none", "write none"),
    ("Medicines", "Not taking any", "write none"),
    ("Allergies", "penicillin (rash", "brackets"),
    ("Record number", "?!", "nothing is written"),
    ("Record number", "ক-১", "is not allowed"),
    ("Name", "...", "nothing is written here"),
    ("Name", "=HYPERLINK(1)", "begins as a formula"),
    ("Name", "@SUM(A1)", "begins as a formula"),
    ("Telephone", "+cmd|'/c calc'!A0", "begins as a formula"),
    ("Medicines", "aspirin; -2+3", "begins as a formula"),
    ("Name", "A\x1b[31mB", "printed"),
    ("Name", "A\u202eB", "hidden signs"),
    ("Name", "x" * 201, "200"),
    ("What matters in own words", "x" * 5000, "at most 2000"),
]


@pytest.mark.parametrize(("heading", "cell", "says"), REFUSED, ids=[f"{h}-{c[:12]!r}" for h, c, _ in REFUSED])
def test_what_is_not_understood_sets_the_row_aside_with_its_column(heading: str, cell: str, says: str) -> None:
    told = said(good() | {heading: cell})
    assert says in told
    assert f'row 2, column "{heading}"' in told
    assert len(told) < 1500
    assert "\x1b" not in told


def test_a_date_that_could_be_month_first_is_said_once_for_the_list() -> None:
    """ISO 8601 exists because 03/04 is April in one country and March in another."""
    rows = [good(Record_number=f"D-{day}", Date_of_surgery=f"0{day}/04/2027") for day in (3, 5)]
    remarks = [remark for remark in listing(*rows).remarks if "day first" in remark]
    assert remarks == ["dates such as 03/04 are read with the day first"]
    for plain in ("2027-04-03", "13/04/2027", "04/04/2027", "3 Apr 2027"):
        assert not any("day first" in remark for remark in listing(good(Date_of_surgery=plain)).remarks)


def test_a_list_with_commas_alone_is_read_as_one_and_flagged() -> None:
    (row,) = listing(good(Medicines="metformin, amlodipine")).good
    assert row.case.health.medicines == ("metformin, amlodipine",)
    assert "use ; between several" in row.flags[0]
