"""The shipped examples, one key changed at a time, and the sheets composed from them in English."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from consent.compose import Document, Voice, consent_form, drop_calendar, risk_sheet, separate_choices
from consent.review import Assessment, assess
from tests.compose.calendars import FORMULARY, REGIMENS, Calendar
from tests.editing import Changes, MakeCase, MakeClinic, case_maker, clinic_maker

MakeSheet = Callable[..., Document]
MakeCalendar = Callable[..., Calendar]


@pytest.fixture(scope="session")
def make_case() -> MakeCase:
    """``make_case(changes, name="ordinary")``: a shipped example with the dotted keys of ``changes`` replaced."""
    return case_maker()


@pytest.fixture(scope="session")
def make_clinic() -> MakeClinic:
    """``make_clinic(changes)``: the shipped invented clinic with the dotted keys of ``changes`` replaced."""
    return clinic_maker()


def in_english(sheet: Callable[[Assessment, Voice], Document], make_case: MakeCase, make_clinic: MakeClinic):
    def compose(name: str = "ordinary", changes: Changes | None = None, clinic: Changes | None = None) -> Document:
        return sheet(assess(make_case(changes, name), make_clinic(clinic)), Voice(("en",), "latin"))

    return compose


@pytest.fixture(scope="session")
def english_form(make_case: MakeCase, make_clinic: MakeClinic) -> MakeSheet:
    """``english_form(name, changes, clinic_changes)``: the form of a changed example, composed in English."""
    return in_english(consent_form, make_case, make_clinic)


@pytest.fixture(scope="session")
def english_risk_sheet(make_case: MakeCase, make_clinic: MakeClinic) -> MakeSheet:
    """``english_risk_sheet(name, changes, clinic_changes)``: the risk sheet of a changed example, in English."""
    return in_english(risk_sheet, make_case, make_clinic)


@pytest.fixture(scope="session")
def english_choices(make_case: MakeCase, make_clinic: MakeClinic) -> MakeSheet:
    """``english_choices(name, changes, clinic_changes)``: the separate choices of a changed example, in English."""
    return in_english(separate_choices, make_case, make_clinic)


@pytest.fixture(scope="session")
def calendar(make_case: MakeCase, make_clinic: MakeClinic) -> MakeCalendar:
    """``calendar(name, regimen, clinic_changes)``: the drop calendar of an example on one of the regimens, English."""

    def compose(name: str = "ordinary", regimen: str | None = None, clinic: Changes | None = None) -> Calendar:
        settings = {"regimens": REGIMENS, "formulary": FORMULARY, **(clinic or {})}
        changes = {} if regimen is None else {"plan.regimen": regimen}
        assessment = assess(make_case(changes, name), make_clinic(settings))
        return Calendar(assessment, drop_calendar(assessment, Voice(("en",), "latin")))

    return compose
