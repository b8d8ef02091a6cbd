"""The columns of an operating list against the model of the case: all of it, nothing else; no word means two things."""

from __future__ import annotations

import datetime as dt
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from consent.case import Answer, Case, Side
from consent.case.listing import template_csv
from consent.case.listing.headings import mapped
from consent.case.listing.keys import choices, kind_at
from consent.case.listing.rules import columns, list_rules, word, words_of
from tests.case.lists import NOT_ON_A_LIST, case_of, good, listing

KINDS: dict[Any, set[str]] = {
    Answer: {"answer"},
    Side: {"side"},
    int: {"integer", "age"},
    float: {"number"},
    dt.date: {"date", "birth date"},
    dt.time: {"time"},
    str: {"text", "texts", "acuity", "language", "record number"},
}
ONLY_IN_A_CASE_FILE = {*NOT_ON_A_LIST, "schema", "invented", "plan.others"}


def keys(model: type[BaseModel] = Case, before: str = "") -> set[str]:
    """Every key of the model that a list can hold, with 0 and 1 for two fallback lenses."""
    found: set[str] = set()
    for name, entry in model.model_fields.items():
        key = f"{before}.{entry.alias or name}" if before else entry.alias or name
        if key in ONLY_IN_A_CASE_FILE:
            continue
        kind = kind_at(key)
        is_model = isinstance(kind, type) and issubclass(kind, BaseModel)
        if not is_model or key == "health.allergies":
            found.add(key)
        elif getattr(entry.annotation, "__origin__", None) is tuple:
            found |= keys(kind, f"{key}.0") | keys(kind, f"{key}.1")
        else:
            found |= keys(kind, key)
    return found


def test_every_fact_of_the_case_that_is_known_before_the_talk_has_a_column() -> None:
    assert {name for name, column in columns().items() if not column.fills} == keys()


@pytest.mark.parametrize("column", [one for one in columns().values() if not one.fills], ids=lambda one: one.id)
def test_a_column_is_read_as_the_model_has_it(column: Any) -> None:
    if column.kind == "allergies":
        return
    if column.kind in ("word", "word list"):
        assert choices(column.id)
        is_list = "tuple" in str(_annotation(column.id))
        assert is_list == (column.kind == "word list")
    else:
        assert column.kind in KINDS[kind_at(column.id)]


def _annotation(key: str) -> Any:
    parent, _, name = key.rpartition(".")
    return kind_at(parent).model_fields[name].annotation


@pytest.mark.parametrize("name", [name for name in list_rules().words if name in columns()])
def test_every_meaning_of_a_word_is_an_answer_of_the_case(name: str) -> None:
    if name != "patient.language":
        assert set(list_rules().words[name]) <= set(choices(name))


@pytest.mark.parametrize("name", list(list_rules().words))
def test_no_word_means_two_things(name: str) -> None:
    spelled = [word(text) for words in list_rules().words[name].values() for text in words]
    assert len(set(spelled)) == len(spelled)
    if name in columns():
        for meaning, words in list_rules().words[name].items():
            assert all(words_of(name).meanings[word(text)] == meaning for text in (meaning, *words))


def test_no_word_of_the_eye_says_both() -> None:
    """A word for the wrong eye is the worst mistake a list can make: each is looked at here by its first letters."""
    sides = list_rules().words["side"]
    assert {text[0] for text in sides["right"]} == {"r", "o", "ড", "द"}
    assert {text[0] for text in sides["left"]} == {"l", "o", "ব", "ब"}
    assert [text for text in sides["right"] if text[0] == "o"] == ["od", "o d"]
    assert [text for text in sides["left"] if text[0] == "o"] == ["os", "o s"]


def test_units_may_stand_in_the_heading_or_not() -> None:
    for heading in ("Axial length (mm)", "AXIAL LENGTH", "axial_length mm", "AL", "AL (মিমি)"):
        assert case_of(good(**{heading: "23.5"})).eye.axial_length_mm == 23.5
    for heading in ("IOP", "IOP (mmHg)", "Eye pressure [mm Hg]"):
        assert case_of(good(**{heading: "17"})).eye.pressure_mmhg == 17.0
    for heading in ("IOL Power", "IOL power (D)", "IOL POWER (Dioptres)"):
        row = good(**{heading: "21.5", "IOL design": "three-piece", "IOL material": "acrylic"})
        lens = case_of(row).plan.lens
        assert lens is not None
        assert lens.power_d == 21.5


def test_a_heading_with_another_unit_is_not_read_and_named() -> None:
    """Random blood sugar in mmol/L is a number eighteen times smaller: 1 mmol/L is 18.016 mg/dL (glucose 180.16)."""
    found = listing(good(**{"Blood sugar (mmol/L)": "7.8", "AL (cm)": "2.3"}))
    assert any("Blood sugar (mmol/L), AL (cm)" in remark for remark in found.remarks)
    assert found.cases[0].fitness.sugar_mg_dl is None


@pytest.mark.parametrize(
    "headings",
    [
        ("রোগীর নাম", "রেজি নং", "বয়স", "চোখ", "অপারেশন", "তারিখ", "সার্জন", "ভাষা"),
        ("रोगी का नाम", "पंजीकरण संख्या", "आयु", "आँख", "ऑपरेशन", "दिनांक", "सर्जन", "भाषा"),
        (
            "PATIENT NAME",
            "MRD No.",
            "age (yrs)",
            "Laterality",
            "Procedure:",
            "OT Date",
            "Operating Surgeon",
            "language",
        ),
    ],
    ids=["Bengali", "Hindi", "English"],
)
def test_headings_in_three_languages_and_any_order(headings: tuple[str, ...]) -> None:
    row = dict(zip(headings, good().values(), strict=True))
    assert case_of(row) == case_of(dict(reversed(row.items()))) == case_of(good())


def test_the_needed_columns_come_first_in_the_template() -> None:
    headings = template_csv().rstrip("\r\n").split(",")
    needed = [column.heading for column in columns().values() if column.needed]
    assert set(needed) < set(template_csv()[: template_csv().index("Time")].replace('"', "").split(","))
    assert headings[0] == "Name"


def test_every_heading_and_spelling_finds_its_column() -> None:
    for name, column in columns().items():
        for heading in (column.heading, *list_rules().also.get(name, ())):
            assert [entry.column.id for entry in mapped([heading.upper()])] == [name]


def test_kinds_of_columns_are_all_in_use() -> None:
    kinds = {column.kind for column in columns().values()}
    assert kinds == set(get_args(type(next(iter(columns().values()))).model_fields["kind"].annotation))
