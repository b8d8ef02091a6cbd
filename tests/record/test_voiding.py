"""What makes signed papers void, and what leaves them, judged by the sheets themselves."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from consent.case import Case
from consent.clinic import read_clinic
from consent.pack import compose_pack
from consent.record.act import Act
from consent.record.ledger import Entry
from consent.record.moves import State
from consent.record.state import AFTERCARE, CONSENT, CaseState, SealedSet, Told, data_of
from consent.record.version import with_version
from consent.record.voiding import changed_words, sheets_of
from tests.conftest import shipped_case
from tests.editing import case_maker, edited

CLINIC = read_clinic()
CLOCK = dt.datetime(2027, 2, 22, 7, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    ("changes", "changed"),
    [
        ({"plan.lens.power_d": 22.0}, {"consent-form", "plan"}),
        ({"plan.operation": "manual small-incision"}, {"consent-form", "risk-sheet", "plan"}),
        ({"plan.anaesthesia": "topical"}, {"consent-form", "plan"}),
        ({"plan.surgeon.name": "Dr Ravi Example"}, {"consent-form", "plan"}),
        ({"plan.extra_steps": ["larger incision"]}, {"consent-form", "plan"}),
        ({"eye.pseudoexfoliation": "yes"}, {"consent-form", "risk-sheet", "figures"}),
        ({"patient.name": "Another Example"}, {"consent-form", "risk-sheet"}),
        ({"patient.reads": "no", "patient.sees_to_read": "no"}, {"consent-form"}),
        ({"patient.record_number": "DEMO-0099"}, {"consent-form", "risk-sheet", "separate-choices"}),
        ({"patient.birth_date": "1950-01-01"}, {"consent-form", "risk-sheet", "figures"}),
        ({"plan.surgeon.registration": "INVENTED-0099"}, {"consent-form", "plan"}),
        ({"plan.date": "2027-02-25"}, {"consent-form", "risk-sheet", "plan"}),
        ({"plan.cost": "5000 rupees"}, {"consent-form", "plan"}),
        ({"plan.tablets": ["acetazolamide"]}, {"plan"}),
        ({"patient.language": "hi"}, {"consent-form", "risk-sheet", "separate-choices"}),
        ({"visits": []}, {"consent-form", "risk-sheet"}),
    ],
)
def test_risk_plan_and_text_are_what_was_signed(changes: dict[str, Any], changed: set[str]) -> None:
    found = changed_words(case_maker()(), case_maker()(changes), CLINIC, CONSENT)
    assert changed <= set(found)


LEAVES: tuple[dict[str, Any], ...] = (
    {"patient.telephone": "00000 98765"},
    {"patient.telephone_shared": "yes"},
    {"patient.large_print": "yes"},
    {"patient.tells_clock_time": "no"},
    {"patient.hearing_impaired": "yes"},
    {"plan.time": "10:00"},
    {"eye.acuity_corrected": "6/60"},
    {"plan.place": "Theatre 2"},
    {"patient.drops_helper": "Her niece Example"},
    {"plan.regimen": "loteprednol-two-weeks"},
    {"caps_seen": [{"drug": "moxifloxacin", "colour": "brown", "on": "2027-02-24"}]},
)


@pytest.mark.parametrize("changes", LEAVES)
def test_what_nobody_signed_leaves_the_papers(changes: dict[str, Any]) -> None:
    assert changed_words(case_maker()(), case_maker()(changes), CLINIC, CONSENT) == ()


def _given_to_patients(case: Case) -> dict[str, object]:
    """Every word of every paper that is sealed before surgery and is not the staff's own."""
    pack = compose_pack(case, CLINIC, sheets=sheets_of(CONSENT))
    staff = {"counsellor-guide", "day-of-surgery", "surgeon-review"}
    return {one.sheet: one.texts_by_language() for one in pack.documents if one.sheet not in staff}


@pytest.mark.parametrize("changes", LEAVES)
def test_papers_that_hold_say_what_is_so(changes: dict[str, Any]) -> None:
    """Whatever leaves the papers leaves each word a patient was given with them: no sealed sheet names an old hour."""
    before = _given_to_patients(case_maker()())
    assert {"consent-form", "risk-sheet", "separate-choices"} <= before.keys()
    assert _given_to_patients(case_maker()(changes)) == before


def test_the_paper_for_a_no_is_held_against_changes_too() -> None:
    no = {"talk.outcome": "wants time"}
    late = {**no, "talk.decide_by": "2027-02-28"}
    assert "decision" in _given_to_patients(case_maker()(no))
    assert changed_words(case_maker()(no), case_maker()(late), CLINIC, CONSENT)[:1] == ("decision",)


@pytest.mark.parametrize(
    ("changes", "changed"),
    [
        ({"patient.interpreter_needed": "yes"}, ("points",)),
        ({"health.medicines": ["warfarin"]}, ("points",)),
        ({"health.allergies": {"asked": "known", "known": [{"substance": "povidone iodine"}]}}, None),
    ],
)
def test_a_new_point_ends_what_was_signed_without_it(changes: dict[str, Any], changed: tuple[str, ...] | None) -> None:
    """Nobody answers a point once the form is signed off; what the surgeon never saw was not reviewed."""
    found = changed_words(case_maker()(), case_maker()(changes), CLINIC, CONSENT)
    assert "points" in found
    assert changed in (None, found)


def test_a_point_that_is_settled_leaves_the_papers() -> None:
    waiting = case_maker()({"patient.interpreter_needed": "yes"})
    assert changed_words(waiting, case_maker()(), CLINIC, CONSENT) == ()


def test_what_came_later_does_not_alter_the_form() -> None:
    """The operation and the first morning are no part of what was agreed before them."""
    torn = shipped_case("torn")
    before = torn.model_copy(update={"done": None, "day1": None})
    assert changed_words(before, torn, CLINIC, CONSENT) == ()


def test_aftercare_says_what_was_ordered() -> None:
    torn = shipped_case("torn")
    other = torn.model_copy(update={"done": torn.done.model_copy(update={"regimen": "two-hourly-start"})})  # type: ignore[union-attr]
    assert "drop-calendar" in changed_words(torn, other, CLINIC, AFTERCARE)


def _signed(state: State, stage: str = CONSENT) -> CaseState:
    data = data_of(case_maker()())
    entry = Entry(7, CLOCK, "case-1", "signed-off", "a", "Dr A", "surgeon", {"state": state.value}, "0" * 64, "1" * 64)
    held = SealedSet(7, stage, 1, "ab" * 32, "Dr A", CLOCK, ())
    return CaseState("case-1", state, data, (Told(entry, data, {}),), (held,))


@pytest.mark.parametrize("state", [State.SIGNED_OFF, State.CONSENTED, State.CONFIRMED])
def test_a_change_takes_the_case_back_to_a_draft(state: State) -> None:
    before = _signed(state)
    act = with_version(before, Act("changed", 7, edited(dict(before.data), {"plan.lens.power_d": 22.0})), CLINIC)
    assert act.to is State.DRAFT
    assert act.data is not None
    assert act.data["version"] == 2
    assert act.open_["voids"] == "ab" * 32
    assert "consent-form" in act.open_["changes"]


def test_a_change_that_touches_nothing_keeps_them() -> None:
    before = _signed(State.CONSENTED)
    act = with_version(before, Act("changed", 7, edited(dict(before.data), {"plan.place": "Theatre 2"})), CLINIC)
    assert act.to is None
    assert "voids" not in act.open_
    assert act.data is not None
    assert act.data["version"] == 1


@pytest.mark.parametrize("kind", ["sent-back", "withdrawn", "voided", "not-confirmed", "declined", "wants-time"])
def test_some_entries_always_end_them(kind: str) -> None:
    act = with_version(_signed(State.CONSENTED), Act(kind, 7), CLINIC)
    assert act.open_["voids"] == "ab" * 32
    assert act.data is not None
    assert act.data["version"] == 2


def test_looking_ends_nothing() -> None:
    assert with_version(_signed(State.CONSENTED), Act("looked-at", 7), CLINIC) == Act("looked-at", 7)
