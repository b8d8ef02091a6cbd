"""How risk is told on the consent form and on the risk sheet that is a part of it: rules on words, and the one table.

In English unless a test says otherwise; each rule is named by the publication it rests on.
"""

from __future__ import annotations

import re

import pytest

from consent.case import Case
from consent.compose import (
    Document,
    Voice,
    consent_form,
    day_of_surgery,
    drop_calendar,
    going_home,
    risk_sheet,
    separate_choices,
)
from consent.compose.document import Chances
from consent.language import load_catalogue
from consent.review import assess
from consent.risk import Estimate, assess_risks, risk_plan
from tests.compose.eyes import (
    EYES,
    NOT_APART,
    NOT_YET,
    every_eye,
    is_figure,
    outcome_name,
    pattern,
    read_figure,
    risks,
    rows,
    texts,
    whole_numbers,
    words,
)

PARTS = {"form": consent_form, "risk sheet": risk_sheet}


@pytest.fixture
def form(eye: str, english_form) -> Document:
    return english_form(*EYES[eye])


@pytest.fixture(params=PARTS)
def part(eye: str, request, english_form, english_risk_sheet) -> Document:
    """The form, then the risk sheet: the two papers that make up the consent form."""
    return {"form": english_form, "risk sheet": english_risk_sheet}[request.param](*EYES[eye])


# Trevena 2013, doi:10.1186/1472-6947-13-S2-S7: one denominator throughout


@every_eye
def test_one_denominator(part):
    """Every frequency is out of 1,000; 10,000 stands only in brackets behind "fewer than one of 1,000"."""
    found = [(number, text) for text in texts(part) for number in re.findall(r"\bof (\d[\d,]*)", text)]
    assert found
    assert {number for number, _ in found} <= {"1,000", "10,000"}
    for number, text in found:
        if number == "10,000":
            whole = re.search(r"fewer than one of 1,000 has this \((?:about \d|\d–\d) of 10,000\)", text)
            assert whole or UNDER_ONE.fullmatch(text)


@every_eye
def test_the_table_says_once_of_how_many(form):
    """The head of each table of chances says of how many people its figures count; none says another number, but what
    is under one of them, in brackets."""
    tables = [block for section in form.sections for block in section.blocks if isinstance(block, Chances)]
    assert [table.head[0][0].plain for table in tables] == ["Of 1,000 people"] * 2
    cells = [cell for row in rows(form) for cell in row[1:]]
    assert [cell for cell in cells if re.search(r"\bof\b|1,000", cell) and not UNDER_ONE.fullmatch(cell)] == []


UNDER_ONE = re.compile(r"under 1 \(\d(?:–\d)? of 10,000\)")


@every_eye
def test_two_figures_under_one_are_told_apart_in_brackets_and_otherwise_there_are_none(form):
    """Twice "under 1" would say the same of both eyes; a bracket without need is one more number to read. Common
    practice, no source."""
    for _, *cells in rows(form):
        under = [cell for cell in cells if cell.startswith("under 1")]
        bare = [cell for cell in under if cell == "under 1"]
        single = [cell for cell in under if UNDER_ONE.fullmatch(cell) and "–" not in cell]
        assert not (bare and len(under) > len(bare)), cells
        if single:
            assert len(set(under)) == len(under) == 2, cells


@every_eye
def test_nobody_is_told_nought_of_a_thousand(part):
    """A rate that was seen is not nil; "0 of 1,000" reads as never. Common practice, no source."""
    assert [text for text in texts(part) if re.search(r"(?<![\d,])0 of \d", text)] == []


@every_eye
def test_no_figure_of_the_table_is_nought(form):
    """Nought in a table of people of 1,000 reads as never. Common practice, no source."""
    numbers = [int(n.replace(",", "")) for row in rows(form) for cell in row[1:] for n in re.findall(r"[\d,]+", cell)]
    assert len(numbers) > 15
    assert min(numbers) >= 1


@every_eye
def test_no_percentages_beside_counts(part):
    assert [text for text in texts(part) if re.search(r"%|per ?cent\b|percent", text, re.IGNORECASE)] == []


# Sirota 2014, doi:10.1177/0272989X13514776: "1 in N" makes a risk look larger


@every_eye
def test_no_one_in_so_many(part):
    said = re.compile(r"\b(?:1|one|a) in (?:\d[\d,]*|a hundred|a thousand|ten|hundred|thousand|million)\b", re.I)
    assert [found for text in texts(part) for found in said.findall(text) if not found.endswith(" 1,000")] == []


def test_no_message_of_the_catalogue_says_one_in_so_many():
    said = re.compile(r"\b(?:1|one|\{count\}) in (?:\{|\d)", re.I)
    forms = [(m.id, form) for m in load_catalogue("en").messages.values() for form in m.forms]
    assert [name for name, form in forms if said.search(form)] == []


# Thefaut v Johnston [2017] EWHC 497 (QB): a risk is not talked down

MINIMISING = re.compile(r"\b(?:routine(?:ly)?|tiny|very small|at least|only a|minor operation)\b", re.IGNORECASE)
FOR_PATIENTS = (consent_form, risk_sheet, separate_choices, day_of_surgery, going_home, drop_calendar)


@every_eye
def test_no_minimising_words_on_any_patient_sheet(eye, make_case, make_clinic):
    name, changes, of_clinic = EYES[eye]
    assessment = assess(make_case(changes, name), make_clinic(of_clinic))
    sheets = [compose(assessment, Voice(("en",), "latin")) for compose in FOR_PATIENTS]
    assert [text for sheet in sheets for text in texts(sheet) if MINIMISING.search(text)] == []


def test_no_minimising_words_in_any_message_for_patients():
    """Also those no example prints. The surgeon's own messages may say "very small pupil"."""
    surgeons = ("point.", "finding.", "fact.", "assume.", "review.", "head.", "range.")
    forms = [
        (m.id, form)
        for m in load_catalogue("en").messages.values()
        if not m.id.startswith(surgeons) and not m.id.endswith(".short")
        for form in m.forms
    ]
    assert len(forms) > 300
    assert [name for name, form in forms if MINIMISING.search(form)] == []


# One table of every harm. Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32: the risks stand on the form


def test_every_outcome_of_the_plan_stands_on_the_form(english_form):
    """The benefit in a table of its own, then every harm."""
    named = [row[0] for row in rows(english_form())]
    assert sorted(named) == sorted(outcome_name(outcome.id) for outcome in risk_plan().outcomes)
    assert named[0] == outcome_name("good_vision")


@every_eye
def test_loss_of_the_eye_is_the_first_harm_and_not_known(form):
    """No published figure with a denominator was found; silence would read as never. Common practice, no source."""
    (table,) = [
        block
        for section in form.sections
        if section.id == "risks"
        for block in section.blocks
        if isinstance(block, Chances)
    ]
    assert [cell[0].plain for cell in table.rows[0]] == [outcome_name("loss_of_eye"), "not known"]


# The form and the risk sheet are one consent form: two papers that say two numbers are none. Common practice, no source


@pytest.mark.parametrize("digits", ["latin", "locale"])
@pytest.mark.parametrize("tag", ["en", "bn", "hi"])
@every_eye
def test_every_figure_of_the_table_is_that_of_the_risk_sheet(eye, tag, digits, make_case, make_clinic):
    """Row by row and eye by eye: the same way of putting it, the same numbers in the same digits, or a reason."""
    name, changes, of_clinic = EYES[eye]
    assessment = assess(make_case(changes, name), make_clinic(of_clinic))
    table = rows(consent_form(assessment, Voice((tag,), digits)))
    blocks = risks(risk_sheet(assessment, Voice((tag,), digits)))
    assert [row[0] for row in table] == [block.name[0].plain for block in blocks]
    for row, block in zip(table, blocks, strict=True):
        usual, *own = (read_figure(line[0].plain, tag) for line in block.figures)
        assert same_figure(row[1], usual.how, usual.printed, tag), (row, usual)
        if usual.how == "unknown":
            assert (len(row), own) == (2, [])
        elif not own:
            assert row[2] in (words(NOT_APART, tag), words(NOT_YET, tag))
        elif own[0].how == "same":
            assert row[2] == row[1]
        else:
            assert same_figure(row[2], own[0].how, own[0].printed, tag), (row, own[0])


def same_figure(cell: str, how: str, printed: dict[str, str], tag: str) -> bool:
    """Whether a cell of the table puts a figure in the way ``how``, with the numbers printed on the risk sheet."""
    matches = [pattern(f"chance.{way}", tag).fullmatch(cell) for way in (how, *(["fewer-in-ten"] * (how == "fewer")))]
    return any(match is not None and match.groupdict().items() <= printed.items() for match in matches)


def test_every_way_to_put_a_figure_stands_in_some_table(english_form):
    """So that the rule above is not kept by silence. "spread up to" is met by no shipped series and none of these."""
    cells = {cell for eye in EYES.values() for row in rows(english_form(*eye)) for cell in row[1:]}
    for how in ("count", "spread", "range", "fewer", "up-to", "unknown"):
        assert any(pattern(f"chance.{how}").fullmatch(cell) for cell in cells), how
    assert {words(NOT_APART)} <= cells


# A personal figure reaches the patient only when accepted. Common practice, no source.


def accepted(found: Estimate, case: Case, series: set[str]) -> bool:
    """Whether the surgeon took the figures of the case, and the clinic each series nobody read in the original."""
    unread = {source.series for source in found.sources if not source.verified.is_primary}
    return case.figures_accepted is not None and unread <= series


@pytest.mark.parametrize("by", ["both", "no clinic", "no surgeon"])
@every_eye
def test_this_eye_has_a_figure_in_the_table_only_where_accepted(eye, by, english_form, make_case, make_clinic):
    """Not accepted yet is told apart from not counted apart: a dash says that eyes like this one were not counted."""
    name, changes, of_clinic = EYES[eye]
    changes = {**changes, "figures_accepted": None} if by == "no surgeon" else changes
    of_clinic = {**of_clinic, "accepted_series": []} if by == "no clinic" else of_clinic
    case, clinic = make_case(changes, name), make_clinic(of_clinic)
    series = {entry.series for entry in clinic.accepted_series}
    table = {row[0]: row[1:] for row in rows(english_form(name, changes, of_clinic))}
    for found in assess_risks(case, clinic):
        if not found.applies:
            assert outcome_name(found.outcome) not in table
            continue
        cells = table[outcome_name(found.outcome)]
        if not found.known:
            assert cells == ["not known"]
        elif not found.personal:
            assert cells[1:] == [words(NOT_APART)]
        elif not accepted(found, case, series):
            assert cells[1:] == [words(NOT_YET)]
        else:
            assert len(cells) == 2
            assert is_figure(cells[1])


def test_some_eye_has_a_figure_that_is_not_settled_yet(english_form):
    """So that the rule above is not kept by silence: the hard eye, where the surgeon took none and where the clinic did
    not take the series of capsule rupture."""
    name = outcome_name("capsule_rupture")
    for changes, of_clinic in (({"figures_accepted": None}, {}), ({}, {"accepted_series": []})):
        (row,) = [row for row in rows(english_form("hard", changes, of_clinic)) if row[0] == name]
        assert row[2] == words(NOT_YET)
    (row,) = [row for row in rows(english_form("hard")) if row[0] == name]
    assert [whole_numbers(cell) for cell in row[1:]] == [[14], [20, 161]]
