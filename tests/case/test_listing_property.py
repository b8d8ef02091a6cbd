"""Whatever case is written to an operating list is read back as the same facts; whatever is read never breaks."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from consent.case import Case, Patient
from consent.case.listing import ListOptions, list_csv, preview_lines, read_list, set_aside_csv
from consent.case.listing.rules import columns, list_rules
from consent.case.part import shows_something
from consent.case.table import FORMULA_STARTS
from consent.errors import CaseError
from tests.case.lists import GOOD, NOT_ON_A_LIST, facts, listing
from tests.property.random_cases import random_cases

NAMES = st.text(st.characters(categories=["L", "Mn", "Mc", "Nd", "Zs", "Po", "Pd"]), min_size=1, max_size=30)
"""Letters, vowel signs, digits, blanks and punctuation of every script."""
_NOTHING = ("unknown", "not known", "not recorded")


def _can_stand(name: str) -> bool:
    return (
        name == name.strip()
        and shows_something(name)
        and any(map(str.isalnum, name))
        and not name.startswith((*FORMULA_STARTS, "'"))
        and not any(word in name.casefold() for word in _NOTHING)
    )


def _back(case: Case) -> Case:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "list.csv"
        path.write_text(list_csv([case]), encoding="utf-8-sig", newline="")
        found = read_list(path, ListOptions(invented=case.invented))
    assert not found.set_aside, found.set_aside[0].problems
    return found.cases[0]


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 1_000_000))
def test_a_random_case_comes_back_with_the_same_facts(seed: int) -> None:
    (case,) = random_cases(seed, 1)
    assume(len(case.plan.fallback_lenses) <= 2 and case.eye.side == case.plan.side)
    assert facts(_back(case)) == facts(case)


@settings(max_examples=60, deadline=None)
@given(NAMES.filter(_can_stand), st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 ./_-]{0,20}", fullmatch=True))
def test_a_name_of_any_script_comes_back(name: str, number: str) -> None:
    (case,) = random_cases(1, 1)
    number = number.strip()
    patient = Patient.model_validate(case.patient.model_dump() | {"name": name, "record_number": number})
    back = _back(case.model_copy(update={"patient": patient})).patient
    assert (back.name, back.record_number) == (name, number)


HEADINGS = st.sampled_from([column.heading for column in columns().values()])
CELLS = st.one_of(
    st.text(max_size=20),
    st.sampled_from([word for words in list_rules().words.values() for some in words.values() for word in some]),
    st.from_regex(r"[0-9০-৯]{1,4}[-/.,: ][0-9]{1,2}([-/.,:][0-9]{1,4})?", fullmatch=True),
    st.floats().map(str),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.dictionaries(HEADINGS, CELLS, max_size=8), min_size=1, max_size=4))
def test_any_cells_give_cases_or_reasons_and_never_a_fault(rows: list[dict[str, str]]) -> None:
    found = listing(*({**GOOD, "Record number": f"D-{place}", **row} for place, row in enumerate(rows)))
    assert len(found.rows) == len(rows)
    assert all(row.problems for row in found.set_aside)
    assert len(preview_lines(found)) > len(rows)
    assert len(set_aside_csv(found).splitlines()) > len(found.set_aside)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300), st.sampled_from([".csv", ".tsv", ".txt", ".xlsx", ".ods", ".xlsm"]))
def test_any_bytes_are_a_list_or_are_refused(content: bytes, kind: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"list{kind}"
        path.write_bytes(content)
        try:
            assert read_list(path).rows
        except CaseError as failure:
            assert failure.problems[0].what


def test_what_stays_off_a_list_is_left_unsaid() -> None:
    (case,) = random_cases(7, 1)
    back = _back(case)
    unsaid = Case.model_validate(
        {"schema": 1, "patient": back.patient, "eye": back.eye, "plan": back.plan}, by_alias=True
    )
    assert all(getattr(back, name) == getattr(unsaid, name) for name in NOT_ON_A_LIST)
