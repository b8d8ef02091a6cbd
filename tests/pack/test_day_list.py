"""The lists of an operating day, and the pack of a patient who has been operated."""

from __future__ import annotations

import datetime as dt

import pytest

from consent.case import Case
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.compose import Document
from consent.compose.document import Table
from consent.errors import CaseError, UsageError
from consent.pack import SHEETS, compose_list, compose_pack
from consent.pack.compose import BEFORE_SURGERY
from tests.blocks import blocks_of
from tests.conftest import shipped_case
from tests.editing import Changes, edited, shipped

DAY = dt.date(2026, 12, 28)
"""The day of surgery of two shipped examples: one still to be operated, one operated."""


def changed(name: str, changes: Changes | None = None) -> Case:
    """A shipped example with dotted keys replaced."""
    file = shipped("case", "examples", f"{name}.toml")
    return validate(edited(file, changes or {}), Case, CaseError, where="a changed example")


def texts(documents: tuple[Document, ...], sheet: str) -> str:
    return "\n".join(text for document in documents if document.sheet == sheet for text in document.texts())


def test_the_day_has_an_operating_list_and_a_list_of_missed_visits(clinic: Clinic) -> None:
    found = compose_list([shipped_case("hard"), shipped_case("ordinary")], clinic, DAY, "en")
    assert [document.sheet for document in found] == ["operating-list", "missed-visits"]
    assert all(document.languages == (("en", "ltr"),) for document in found)


def test_only_the_patients_of_that_day_are_on_the_list(clinic: Clinic) -> None:
    found = compose_list([shipped_case("hard"), shipped_case("ordinary")], clinic, DAY, "en")
    assert "DEMO-0002" in texts(found, "operating-list")
    assert "DEMO-0001" not in texts(found, "operating-list")


def test_who_has_been_operated_is_not_operated_again_but_may_have_missed_a_visit(clinic: Clinic) -> None:
    """A name on a list is what gets a patient to the table: common practice, no source."""
    found = compose_list([shipped_case("hard"), shipped_case("torn")], clinic, DAY, "en")
    assert "DEMO-0004" not in texts(found, "operating-list")
    later = compose_list([shipped_case("hard"), shipped_case("torn")], clinic, dt.date(2027, 1, 5), "en")
    assert "DEMO-0004" in texts(later, "missed-visits")


@pytest.mark.parametrize("name", ["torn", "ordinary"])
def test_without_anybody_to_operate_there_is_no_operating_list(name: str, clinic: Clinic) -> None:
    found = compose_list([shipped_case(name)], clinic, DAY, "en")
    assert [document.sheet for document in found] == ["missed-visits"]


def test_a_record_number_that_stands_twice_is_refused(clinic: Clinic) -> None:
    """The second lens would be picked for the first patient: common practice, no source."""
    twin = changed("ordinary", {"patient.record_number": "DEMO-0002"})
    with pytest.raises(UsageError) as refused:
        compose_list([shipped_case("hard"), twin], clinic, DAY, "en")
    assert refused.value.exit_code == 2
    assert "record number DEMO-0002 stands twice" in str(refused.value)
    assert "keep one file a patient" in str(refused.value)


@pytest.mark.parametrize("twin", ["demo-0002", "DEMO-0002 "])
def test_a_record_number_that_differs_in_letters_or_spaces_alone_is_the_same(twin: str, clinic: Clinic) -> None:
    """Nobody tells them apart on paper: common practice, no source."""
    with pytest.raises((UsageError, CaseError)):
        other = changed("ordinary", {"patient.record_number": twin})
        compose_list([shipped_case("hard"), other], clinic, DAY, "en")


@pytest.mark.parametrize("tag", ["bn", "hi", "en"])
def test_the_lists_come_in_the_language_asked_for(tag: str, clinic: Clinic) -> None:
    found = compose_list([shipped_case("hard")], clinic, DAY, tag)
    assert [[name for name, _ in document.languages] for document in found] == [[tag], [tag]]
    assert {"en": "Operating list", "bn": "অপারেশনের তালিকা", "hi": "ऑपरेशन सूची"}[tag] in found[0].title[0].plain


def test_every_page_of_a_list_says_that_it_is_for_staff(clinic: Clinic) -> None:
    """Names of several patients on one paper: common practice, no source."""
    for document in compose_list([shipped_case("hard")], clinic, DAY, "en"):
        assert document.marks[0][0].plain.startswith("FOR STAFF")


def test_a_list_of_real_patients_is_not_called_invented(clinic: Clinic) -> None:
    real = clinic.model_copy(update={"invented": False})
    for invented in (True, False):
        found = compose_list([changed("hard", {"invented": invented})], real, DAY, "en")
        assert any("Invented" in mark[0].plain for mark in found[0].marks) == invented


def test_missed_visits_of_a_list_count_every_case_given(clinic: Clinic) -> None:
    """By hand: before 1 February 2027 hard.toml has three visits, torn.toml four and a referral, ordinary.toml none."""
    cases = [shipped_case(name) for name in ("hard", "torn", "ordinary")]
    (table,) = blocks_of(compose_list(cases, clinic, dt.date(2027, 2, 1), "en")[-1], Table)
    assert len(table.rows) == 8


AFTER = ["going-home", "drop-calendar", "not-to-plan", "referral-letter", "lens-card", "surgeon-review"]
"""In the order in which they are used: what goes home, what happened, the letter, the card, the surgeon's own sheet."""


def test_after_surgery_the_sheets_of_the_plan_are_not_made(clinic: Clinic) -> None:
    """A form printed after the operation cannot have been signed before it: common practice, no source."""
    found = compose_pack(shipped_case("torn"), clinic, ("en",))
    assert [document.sheet for document in found.documents] == AFTER


def test_before_surgery_the_sheets_of_aftercare_that_need_a_fact_are_not_made(clinic: Clinic) -> None:
    found = [document.sheet for document in compose_pack(changed("torn", {"done": None}), clinic, ("en",)).documents]
    assert not {"not-to-plan", "referral-letter", "lens-card"} & set(found)
    assert {"before-day", "day-of-surgery", "consent-form", "risk-sheet"} <= set(found)


def test_which_sheets_belong_to_the_plan() -> None:
    """The form, its parts, the talk, a no, the day before and the day itself: common practice, no source."""
    assert set(BEFORE_SURGERY) == {
        "consent-form",
        "risk-sheet",
        "separate-choices",
        "counsellor-guide",
        "decision",
        "before-day",
        "day-of-surgery",
    }
    assert set(SHEETS) == {*BEFORE_SURGERY, *AFTER}


@pytest.mark.parametrize("sheet", BEFORE_SURGERY)
def test_asking_for_a_sheet_of_the_plan_alone_is_refused(sheet: str, clinic: Clinic) -> None:
    with pytest.raises(UsageError) as refused:
        compose_pack(shipped_case("torn"), clinic, ("en",), (sheet,))
    assert refused.value.exit_code == 2
    assert sheet in str(refused.value)
    assert "the operation is done" in str(refused.value)


def test_asking_for_several_sheets_of_the_plan_is_refused_and_with_one_of_aftercare_is_not(clinic: Clinic) -> None:
    torn = shipped_case("torn")
    with pytest.raises(UsageError, match="consent-form, risk-sheet"):
        compose_pack(torn, clinic, ("en",), ("consent-form", "risk-sheet"))
    found = compose_pack(torn, clinic, ("en",), ("consent-form", "lens-card"))
    assert [document.sheet for document in found.documents] == ["lens-card"]


def test_before_surgery_the_same_sheets_are_not_refused(clinic: Clinic) -> None:
    found = compose_pack(shipped_case("hard"), clinic, ("en",), ("before-day", "day-of-surgery"))
    assert [document.sheet for document in found.documents] == ["before-day", "day-of-surgery"]


@pytest.mark.parametrize("name", ["ordinary", "hard", "torn", "second-eye"])
def test_sheets_stand_in_the_order_in_which_they_are_used(name: str, clinic: Clinic) -> None:
    used = ["consent-form", "risk-sheet", "separate-choices", "counsellor-guide", "decision", "before-day"]
    used += ["day-of-surgery", *AFTER]
    found = [document.sheet for document in compose_pack(shipped_case(name), clinic, ("bn", "en")).documents]
    assert found == sorted(found, key=used.index)
    assert len(found) > len(set(found))


INCOMPLETE = {"plan.lens": None, "plan.fallback_lenses": [], "plan.anaesthesia": None, "plan.reasons": []}


def test_the_stop_for_a_form_that_lacks_something_is_gone_once_the_operation_is_done(clinic: Clinic) -> None:
    """The form that was signed is on record; a stop for one that is not made could never be answered."""
    strict = clinic.model_copy(update={"profile_approved": None, "personal_data": None, "address": "x"})
    before, after = (
        compose_pack(changed("torn", {**INCOMPLETE, **done}), strict, ("en",)) for done in ({"done": None}, {})
    )
    assert any(point.id.startswith("completeness") for point in before.points)
    assert not any(point.id.startswith("completeness") for point in after.points)
    assert after.lacking == ()


def test_a_second_language_brings_a_second_going_home_sheet_and_one_card(clinic: Clinic) -> None:
    found = [document.sheet for document in compose_pack(shipped_case("torn"), clinic, ("bn", "en")).documents]
    assert found.count("going-home") == 2
    assert found.count("not-to-plan") == 2
    assert found.count("lens-card") == 1
