"""The shipped examples, one key changed at a time."""

from __future__ import annotations

import pytest

from tests.editing import MakeCase, MakeClinic, case_maker, clinic_maker


@pytest.fixture(scope="session")
def make_case() -> MakeCase:
    """``make_case(changes, name="ordinary")``: a shipped example with the dotted keys of ``changes`` replaced."""
    return case_maker()


@pytest.fixture(scope="session")
def make_clinic() -> MakeClinic:
    """``make_clinic(changes)``: the shipped invented clinic with the dotted keys of ``changes`` replaced."""
    return clinic_maker()
