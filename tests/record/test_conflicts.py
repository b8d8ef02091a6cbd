"""Two people on one case: what does not touch is merged and told, what does is refused with who and what."""

from __future__ import annotations

from dataclasses import replace

import pytest

from consent.errors import ConflictError
from consent.record.act import Act
from consent.record.cases import act_on, read_case_state
from consent.record.checking import check_record
from consent.record.place import Record
from tests.editing import edited
from tests.record.filled import COUNSELLOR, LEAD, SURGEON, explain, open_one


def changes(record: Record, subject: str, seen: int, facts: dict[str, object]) -> Act:
    """The act of somebody who saw the case as it was after ``seen`` and changed ``facts``."""
    return Act("changed", seen, edited(dict(read_case_state(record, subject, seen).data), facts))


def test_two_who_change_different_parts_are_merged_and_told(record: Record) -> None:
    opened = open_one(record)
    subject, seen = opened.case.subject, opened.case.sequence
    mine = changes(record, subject, seen, {"eye.pupil_mm": 4.5})
    other = act_on(record, COUNSELLOR, subject, changes(record, subject, seen, {"health.asthma": "yes"}))
    made = act_on(record, SURGEON, subject, mine)
    assert made.meanwhile == (other.entry,)
    case = read_case_state(record, subject).case
    assert (case.eye.pupil_mm, case.health.asthma) == (4.5, "yes")
    assert made.entry.body["touched"] == ["eye.pupil_mm"]
    assert check_record(record).problems == ()


@pytest.mark.parametrize(
    ("theirs", "ours"),
    [
        ({"eye.pupil_mm": 5.0}, {"eye.pupil_mm": 4.5}),
        ({"patient.telephone": "00000 11111"}, {"patient.telephone": "00000 22222", "eye.pupil_mm": 4.5}),
        ({"health.medicines": ["one"]}, {"health.medicines": ["two"]}),
    ],
)
def test_two_who_change_the_same_part_are_told(
    record: Record, theirs: dict[str, object], ours: dict[str, object]
) -> None:
    opened = open_one(record)
    subject, seen = opened.case.subject, opened.case.sequence
    mine = changes(record, subject, seen, ours)
    other = act_on(record, COUNSELLOR, subject, changes(record, subject, seen, theirs))
    before = read_case_state(record, subject)
    with pytest.raises(ConflictError) as clash:
        act_on(record, SURGEON, subject, mine)
    said = str(clash.value)
    for words in (COUNSELLOR.name, "counsellor", *theirs, "entry 2", "has not been recorded"):
        assert words in said
    assert clash.value.exit_code == 15
    after = read_case_state(record, subject)
    assert (after.data, after.sequence) == (before.data, other.entry.sequence)
    made = act_on(record, SURGEON, subject, replace(mine, seen=after.sequence, data=edited(dict(after.data), ours)))
    assert not made.meanwhile


def test_what_rests_on_the_whole_case_is_told_of_any_change(record: Record) -> None:
    opened = open_one(record)
    subject, seen = opened.case.subject, opened.case.sequence
    act_on(record, SURGEON, subject, changes(record, subject, seen, {"eye.pupil_mm": 4.5}))
    with pytest.raises(ConflictError, match=r"explained rests on the whole case"):
        act_on(record, COUNSELLOR, subject, Act("explained", seen, opened.case.data))


def test_a_state_that_changed_meanwhile_is_told(record: Record) -> None:
    opened = open_one(record)
    subject, seen = opened.case.subject, opened.case.sequence
    mine = changes(record, subject, seen, {"eye.pupil_mm": 4.5})
    explain(record, opened)
    with pytest.raises(ConflictError, match=f"{COUNSELLOR.name}.*recorded explained"):
        act_on(record, SURGEON, subject, mine)
    assert read_case_state(record, subject).sequence == seen + 1


def test_what_was_taken_away_meanwhile_does_not_come_back(record: Record) -> None:
    """A number that was taken out before is not taken for a change by whoever has seen it gone."""
    opened = open_one(record)
    subject = opened.case.subject
    data = dict(opened.case.data)
    data["patient"] = {name: value for name, value in data["patient"].items() if name != "telephone"}
    gone = act_on(record, COUNSELLOR, subject, Act("changed", opened.case.sequence, data))
    mine = changes(record, subject, gone.entry.sequence, {"eye.pupil_mm": 4.5})
    again = {"patient.telephone": "00000 11111"}
    act_on(record, COUNSELLOR, subject, changes(record, subject, gone.entry.sequence, again))
    act_on(record, SURGEON, subject, mine)
    case = read_case_state(record, subject).case
    assert (case.patient.telephone, case.eye.pupil_mm) == ("00000 11111", 4.5)


def test_a_note_takes_nothing_from_anybody(record: Record) -> None:
    opened = open_one(record)
    subject, seen = opened.case.subject, opened.case.sequence
    act_on(record, LEAD, subject, Act("noted", seen, reason="rang the ward"))
    made = act_on(record, SURGEON, subject, changes(record, subject, seen, {"eye.pupil_mm": 4.5}))
    assert not made.meanwhile
