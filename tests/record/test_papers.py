"""Papers are found by their file and by their code, as long as there is a ledger: also after they were erased."""

from __future__ import annotations

from collections.abc import Callable
from hashlib import sha256

import pytest

from consent.errors import RecordError
from consent.record.act import Act
from consent.record.cases import act_on, all_cases, read_case_state
from consent.record.erasure import erase
from consent.record.papers import find_code, find_file, read_paper
from consent.record.place import Record
from consent.record.standing import look_up
from consent.record.state import CaseState
from tests.editing import edited
from tests.record.acts import without_printing
from tests.record.filled import PASSWORDS, SURGEON, explain, fake_papers, open_one, people, sealing


def signed(record: Record) -> tuple[CaseState, bytes]:
    """A signed case with one paper, and that paper."""
    told = explain(record, open_one(record))
    (paper,) = fake_papers(told.case.subject, 1)
    return sealing(record, told, (paper,)).case, paper


def erased(record: Record) -> tuple[CaseState, bytes]:
    """A signed case that was declined, closed and erased, and the paper that the patient still has."""
    lead, _ = people(record)
    case, paper = signed(record)
    data = edited(dict(case.data), {"talk.outcome": "refuses"})
    declined = act_on(record, SURGEON, case.subject, Act("declined", case.sequence, data))
    act_on(record, SURGEON, case.subject, Act("closed", declined.case.sequence))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("consent.record.entering.prove", lambda *_: None)
        erase(record, lead, case.subject, PASSWORDS["lead"], "An order of a court.", before_retention=True)
    return read_case_state(record, case.subject), paper


@pytest.mark.parametrize("make", [signed, erased])
def test_a_paper_is_found_by_file_and_code(record: Record, make: Callable[[Record], tuple[CaseState, bytes]]) -> None:
    with without_printing():
        case, paper = make(record)
        signed(record)
    name = sha256(paper).hexdigest()  # FIPS 180-4
    by_file = find_file(record, name)
    assert by_file is not None and by_file.paper is not None
    assert (by_file.case.subject, by_file.paper.digest) == (case.subject, name)
    for code in (case.sets[0].code, case.sets[0].code[:10]):
        by_code = find_code(record, code)
        assert by_code is not None
        assert (by_code.case.subject, by_code.sealed.code) == (case.subject, case.sets[0].code)


def test_of_an_erased_paper_it_is_still_said_by_whom_and_since_when_it_is_void(record: Record) -> None:
    with without_printing():
        case, paper = erased(record)
    found, reasons = look_up(record, sha256(paper).hexdigest(), case.sets[0].code)
    assert found is not None
    assert found.sealed.by == SURGEON.name
    assert len(reasons) == 1
    assert reasons[0].what.startswith("void since 2027-02-20")
    assert "declined" in reasons[0].what
    with pytest.raises(RecordError, match="not kept here"):
        read_paper(record, sha256(paper).hexdigest())


def test_what_no_entry_names_is_not_found(sqlite_record: Record) -> None:
    with without_printing():
        signed(sqlite_record)
    other = sha256(b"another").hexdigest()
    assert find_file(sqlite_record, other) is None
    assert find_code(sqlite_record, other) is None
    assert find_code(sqlite_record, "%") is None


def test_two_papers_that_begin_alike_are_not_mixed_up(sqlite_record: Record) -> None:
    with without_printing():
        for _ in range(17):  # more than there are first digits
            signed(sqlite_record)
    codes = [one.code for case in all_cases(sqlite_record) for one in case.sets]
    first = next(code[0] for code in codes if sum(other.startswith(code[0]) for other in codes) > 1)
    with pytest.raises(RecordError, match="several papers"):
        find_code(sqlite_record, first)
