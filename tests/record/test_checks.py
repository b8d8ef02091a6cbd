"""What an entry must hold for its kind: each refusal once, beside the entry that is taken."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import pytest

from consent.compose.page_code import CodeParts, code_text, short_code
from consent.errors import AccessError, MoveError
from consent.record.accounts import close_account, make_account, set_password
from consent.record.act import Act
from consent.record.checks import _CHECKS, _NEED_DETAILS
from consent.record.entering import enter
from consent.record.moves import Role, State, moves
from consent.record.place import Record
from consent.record.state import CONSENT
from tests.editing import case_maker
from tests.record.acts import said_with, without_printing
from tests.record.clock import TestClock
from tests.record.story import IST, NOON, PASSWORDS, Story, make_staff


def _refused(story: Story, kind: str, changes: Mapping[str, Any] | None = None, **more: Any) -> str:
    who = more.pop("who", story.staff.surgeon)
    with pytest.raises(MoveError) as refusal:
        story.enter(who, kind, changes, **more)
    return str(refusal.value)


def test_every_check_is_of_a_kind_there_is() -> None:
    assert {*_CHECKS, *_NEED_DETAILS} <= moves().keys()


def test_a_reason_is_needed(story: Story) -> None:
    assert "a reason is needed" in _refused(story, "sent-back")
    assert "a reason is needed" in _refused(story, "sent-back", reason="  ")


def test_a_talk_needs_a_time_and_a_person(story: Story) -> None:
    talk = {key: value for key, value in story.now.data["talk"].items() if key != "by"}
    assert "nobody who held it" in _refused(story, "explained", {"talk": talk})


@pytest.mark.parametrize("kind", ["declined", "wants-time"])
def test_a_decision_stands_in_the_talk(story: Story, kind: str) -> None:
    assert 'talk.outcome says "agrees"' in _refused(story, kind)
    changes, _, _ = said_with(kind, story, story.now, NOON)
    assert story.enter(story.staff.counsellor, kind, changes)


def test_the_papers_signed_must_be_those_that_hold(story: Story) -> None:
    """Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1: consent is to what was told, not to something else."""
    story.sign_off()
    assert "not the one that holds now" in _consent_refused(story, code="0" * 64)
    assert "not the one that holds now" in _consent_refused(story, code="AAAA AAAA")
    assert "not the one that holds now" in _consent_refused(story, code="nonsense")


@pytest.mark.parametrize("form", ["whole", "short", "scanned"])
def test_the_code_is_taken_in_any_form(story: Story, form: str) -> None:
    story.sign_off()
    held = story.now.sealed(CONSENT)
    assert held is not None
    forms = {
        "whole": held.code,
        "short": " ".join(short_code(held.code)).lower(),
        "scanned": code_text(CodeParts("DEMO-0001", 1, held.code)),
    }
    assert story.consent(code=forms[form]).case.state is State.CONSENTED


def _consent_refused(story: Story, **details: str) -> str:
    with pytest.raises(MoveError) as refusal:
        story.consent(**details)
    return str(refusal.value)


def test_a_competent_adult_signs_in_person(story: Story) -> None:
    """Indian Medical Council regulations 2002, 7.16, and GMC 2020: a relative never replaces a competent adult."""
    story.sign_off()
    assert "never replace" in _consent_refused(story, by="Her Son Example")


def test_a_mark_needs_a_witness_who_does_not_treat(story: Story) -> None:
    """Medical Devices Rules 2017 (India): an impartial witness throughout, where somebody cannot read or write."""
    story.sign_off()
    with pytest.raises(MoveError, match="no witness is named"):
        story.enter(story.staff.counsellor, "consented", details=_details(story, witness=None))
    assert "cannot be the witness" in _consent_refused(story, witness="M. Example")
    assert "cannot be the witness" in _consent_refused(story, witness="Dr Asha Invented")
    assert "cannot be the witness" in _consent_refused(story, witness="dr asha  INVENTED")
    assert "cannot be the witness" in _consent_refused(story, witness="Shanti Example")
    assert "is not a way of signing" in _consent_refused(story, how="nodded")


def test_nobody_of_the_clinic_is_the_witness(story: Story) -> None:
    """Medical Devices Rules 2017 (India): an impartial witness, and so none of the staff."""
    helper = [{"name": "Dr Helper Example", "role": "anaesthetist", "task": "the block"}]
    story.enter(story.staff.counsellor, "changed", {"plan.others": helper})
    lead = story.staff.lead.person
    surgeon = make_account(
        story.record, lead, "bina", "Dr Bina Invented", (Role.SURGEON,), "words of a lead", "INVENTED-9"
    )
    set_password(story.record, surgeon.person, "bina", PASSWORDS["asha"])
    story.enter(surgeon, "signed-off", password=PASSWORDS["asha"])
    for witness in ("T.  example", "Lila Invented", "dr helper EXAMPLE", "Dr Bina Invented"):
        assert "cannot be the witness" in _consent_refused(story, witness=witness)
    close_account(story.record, lead, "bina")
    close_account(story.record, lead, "tara")
    assert "cannot be the witness" in _consent_refused(story, witness="Dr Bina Invented"), "who signed the form"
    assert story.consent(witness="T. Example").case.state is State.CONSENTED, "who no longer works here"


def test_who_reads_and_signs_needs_no_witness(sqlite_record: Record, clock: TestClock) -> None:
    clock.now = NOON
    with without_printing():
        story = Story(sqlite_record, make_staff(sqlite_record))
        story.open(case_maker()({"patient.reads": "yes", "patient.writes_name": "yes"}))
        story.explain(NOON - dt.timedelta(minutes=30))
        story.sign_off()
        with pytest.raises(MoveError, match="no witness is named"):
            story.enter(story.staff.counsellor, "consented", details=_details(story, witness=None))
        signed = _details(story, witness=None, how="signature")
        assert story.enter(story.staff.counsellor, "consented", details=signed).case.state is State.CONSENTED


def test_a_guardian_signs_where_one_decides_and_not_the_patient(sqlite_record: Record, clock: TestClock) -> None:
    """Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1: only where somebody cannot decide does another, who signs."""
    clock.now = NOON
    guardian = {"basis": "legal guardian", "name": "Her Son Example", "relation": "son", "can_decide": "no"}
    with without_printing():
        story = Story(sqlite_record, make_staff(sqlite_record))
        story.open(case_maker()({"patient.decision": guardian}))
        story.explain(NOON - dt.timedelta(minutes=30))
        story.sign_off()
        assert "Her Son Example decides" in _consent_refused(story)
        assert story.consent(by="Her Son Example").case.state is State.CONSENTED


def test_papers_that_were_replaced_are_not_those_that_hold(story: Story) -> None:
    story.sign_off()
    old = story.now.sealed(CONSENT)
    assert old is not None
    story.enter(story.staff.surgeon, "sent-back", reason="A word was wrong.")
    story.explain(NOON)
    story.sign_off()
    assert "not the one that holds now" in _consent_refused(story, code=old.code)
    assert story.consent().case.state is State.CONSENTED


def _details(story: Story, **changes: str | None) -> dict[str, str]:
    held = story.now.sealed(CONSENT)
    assert held is not None
    name = story.now.case.patient.name
    whole = {"by": name, "how": "thumb impression", "witness": "W. Neighbour", "code": held.code, **changes}
    return {key: value for key, value in whole.items() if value is not None}


def test_a_signature_names_what_is_missing(story: Story) -> None:
    story.sign_off()
    with pytest.raises(MoveError) as refusal:
        story.enter(story.staff.counsellor, "consented", details={"how": "signature"})
    assert {"signature: by", "signature: code"} <= {problem.where for problem in refusal.value.problems}


def test_the_second_look_comes_after_the_signature_and_without_a_change(story: Story, clock: TestClock) -> None:
    """GMC 2020, Reviewing decisions: any change calls for a new talk; stage two is not before stage one."""
    story.sign_off()
    story.consent()
    clock.advance(minutes=5)
    assert "before the patient's signature" in _confirm_refused(story, NOON - dt.timedelta(hours=1), {})
    later = NOON + dt.timedelta(minutes=1)
    assert "something has changed: plan" in _confirm_refused(story, later, {"plan_changed": "yes"})
    unasked = _confirm_refused(story, later, {"plan_changed": "unknown", "still_wishes": "unknown"})
    assert "not asked yet: the patient's wish, plan" in unasked and "has changed" not in unasked
    assert "something has changed: the patient's wish" in _confirm_refused(story, later, {"still_wishes": "no"})
    assert story.confirm(later).case.state is State.CONFIRMED


def _confirm_refused(story: Story, at: dt.datetime, change: Mapping[str, str]) -> str:
    changes, _, _ = said_with("confirmed", story, story.now, at)
    assert changes is not None
    return _refused(
        story, "confirmed", {"confirmation": {**changes["confirmation"], **change}}, who=story.staff.theatre
    )


@pytest.fixture
def signed(story: Story, clock: TestClock) -> Story:
    """A case whose form the patient signed five minutes ago."""
    story.sign_off()
    story.consent()
    clock.advance(minutes=5)
    return story


def test_the_second_look_is_on_the_day_that_was_agreed(signed: Story, clock: TestClock) -> None:
    """GMC 2020, Reviewing decisions: just before it is done; the day stands on the form. Midnight is the clinic's."""
    clock.now = dt.datetime(2027, 2, 25, 0, 10, tzinfo=IST)
    told = "agreed to for 2027-02-24, not for 2027-02-25"
    assert told in _confirm_refused(signed, clock.now, {})
    assert told in _confirm_refused(signed, dt.datetime(2027, 2, 24, 18, 35, tzinfo=dt.UTC), {})
    assert signed.confirm(dt.datetime(2027, 2, 24, 18, 25, tzinfo=dt.UTC)).case.state is State.CONFIRMED


def test_what_has_not_come_yet_is_not_recorded(signed: Story, clock: TestClock) -> None:
    """21 CFR 11.10(e): time is told independently of the one who enters."""
    ahead = clock.now + dt.timedelta(minutes=1)
    assert "has not come yet" in _confirm_refused(signed, ahead, {})
    assert signed.confirm(clock.now).case.state is State.CONFIRMED


@pytest.mark.parametrize("kind", ["explained", "declined", "wants-time"])
def test_a_talk_yet_to_come_was_not_held(story: Story, clock: TestClock, kind: str) -> None:
    """21 CFR 11.10(e), as above. Two seconds are the difference between two machines of one clinic."""
    changes, _, _ = said_with(kind, story, story.now, clock.now)
    assert changes is not None
    for ahead, held in ((dt.timedelta(minutes=1), False), (dt.timedelta(seconds=1), True)):
        talk = {**changes["talk"], "at": (clock.now + ahead).isoformat()}
        if held:
            assert story.enter(story.staff.surgeon, kind, {"talk": talk})
        else:
            assert "has not come yet" in _refused(story, kind, {"talk": talk})


def test_nothing_is_told_for_a_day_that_is_past(story: Story, clock: TestClock) -> None:
    """A form names the day of the operation: Samira Kohli (2008) 2 SCC 1, consent is to what was told."""
    clock.now = dt.datetime(2027, 2, 25, 0, 10, tzinfo=IST)
    with pytest.raises(MoveError, match="after the day of the operation, 2027-02-24"):
        story.explain(clock.now)
    assert story.explain(clock.now - dt.timedelta(minutes=20)).case.state is State.EXPLAINED


def test_the_first_day_leaves_what_was_done_and_says_something(signed: Story, clock: TestClock) -> None:
    """What was done is a fact; without it, nothing would be left to hold against what was agreed."""
    signed.confirm(clock.now)
    signed.operate()
    assert "nothing was entered of the first day" in _refused(signed, "first-day")
    assert "nothing was entered of the first day" in _refused(signed, "first-day", {})
    for kept, said in ((None, "what was done is missing"), ({"by": "Dr Asha Invented"}, "eye that was operated on")):
        data = {**signed.now.data, "day1": {"pressure_mmhg": 15.0}, "done": kept}
        act = Act("first-day", signed.now.sequence, {key: value for key, value in data.items() if value is not None})
        with pytest.raises(MoveError, match=said):
            enter(signed.record, signed.staff.surgeon, signed.subject, act)
    assert signed.enter(signed.staff.surgeon, "first-day", {"day1": {"pressure_mmhg": 15.0}})
    assert signed.enter(signed.staff.surgeon, "first-day", {"visits": []})


def test_what_was_done_names_the_eye(signed: Story, clock: TestClock) -> None:
    story = signed
    story.confirm(clock.now)
    assert "what was done is missing" in _refused(story, "done")
    assert "eye that was operated on" in _refused(story, "done", {"done": {"by": "Dr Asha Invented"}})


@pytest.mark.parametrize("kind", ["answered", "figures-accepted"])
def test_nobody_decides_in_the_name_of_another(story: Story, kind: str) -> None:
    """21 CFR 11.100(a) and 11.200(a)(2): a signature is its owner's alone."""
    changes, _, _ = said_with(kind, story, story.now, NOON)
    assert changes is not None
    ((key, value),) = changes.items()
    for other in ({"by": "Dr Ravi Example"}, {"registration": "INVENTED-0099"}):
        foreign = [{**value[0], **other}] if isinstance(value, list) else {**value, **other}
        assert "nobody decides in another's name" in _refused(story, kind, {key: foreign})
    assert story.enter(story.staff.surgeon, kind, changes)


def test_drops_are_changed_by_a_change(sqlite_record: Record, clock: TestClock) -> None:
    clock.now = NOON
    with without_printing():
        story = Story(sqlite_record, make_staff(sqlite_record))
        story.open()
        story.enter(
            story.staff.surgeon,
            "done-out-of-order",
            {"done": {"side": "left"}},
            "An emergency.",
            password=PASSWORDS["asha"],
        )
        assert "no drops were changed" in _refused(story, "drops-changed")
        assert story.change_drops(dt.date(2027, 3, 1), "loteprednol-two-weeks", "Pressure.").case.version == 2


def test_a_case_is_opened_without_what_others_decide(sqlite_record: Record) -> None:
    """Accepted figures, answers, a confirmation or an operation in a case file are nobody's entry yet."""
    from consent.record.entering import open_new

    with without_printing():
        staff = make_staff(sqlite_record)
        with pytest.raises(MoveError, match="does not change figures_accepted"):
            open_new(sqlite_record, staff.counsellor, case_maker()())
        with pytest.raises(AccessError, match="may not do this as auditor"):
            open_new(sqlite_record, staff.auditor, case_maker()())


def test_a_lead_s_first_password_does_not_sign(sqlite_record: Record, clock: TestClock) -> None:
    """Information Technology Act 2000 (India), s. 3A(2)(b): under the control of the signatory and of no other."""
    from consent.record.accounts import set_password

    clock.now = NOON
    with without_printing():
        story = Story(sqlite_record, make_staff(sqlite_record))
        story.open()
        story.explain(NOON)
        set_password(sqlite_record, story.staff.lead.person, "asha", "words the lead has chosen")
        with pytest.raises(AccessError, match="somebody else has chosen"):
            story.sign_off("words the lead has chosen")
        assert story.now.state is State.EXPLAINED
