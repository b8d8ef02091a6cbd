"""Thirty counsellors at once, over real connections: nobody is refused; all that was acknowledged is in the ledger."""

from __future__ import annotations

from pathlib import Path

import pytest

from consent.case import read_case
from consent.clinic import Clinic
from consent.record.checking import check_record
from consent.record.place import Place, make_record
from consent.resources import package_data
from tests.desk.crowd import counsellors, not_kept, served, type_at_once
from tests.record.acts import without_printing
from tests.record.story import Story, make_staff

pytestmark = pytest.mark.slow
EXAMPLES = ("ordinary", "hard", "second-eye")


def test_thirty_type_at_once_and_nothing_is_lost(tmp_path: Path, clinic: Clinic) -> None:
    record = make_record(Place(tmp_path / "record"), clinic)
    with without_printing():
        staff = make_staff(record)
        subjects = []
        for name in EXAMPLES:
            story = Story(record, staff)
            story.open(read_case(package_data("case", "examples", f"{name}.toml")))
            subjects.append(story.subject)
        with served(record) as desk:
            people = counsellors(desk, subjects, 30, staff.lead)
            type_at_once(people, changes=10)
    assert [error for person in people for error in person.errors] == []
    assert sum(len(person.told) for person in people) == 300
    assert not_kept(record, people) == []
    assert check_record(record).problems == ()
