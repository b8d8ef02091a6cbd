"""An entry that nobody could have made is found, even where it was stamped with the key and stands in the chain."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from consent.record.accounts import Account, change_account, close_account, make_account
from consent.record.backup import back_up
from consent.record.cases import read_keys
from consent.record.checking import check_record
from consent.record.erasure import THE_RESTORE, destroy_keys
from consent.record.keys import Purpose
from consent.record.ledger import append
from consent.record.moves import Role
from consent.record.place import Place
from consent.record.restore import restore
from consent.record.state import CONSENT, sealed_part
from tests.record.acts import WHY
from tests.record.kept import PASSPHRASE, without_scrypt
from tests.record.story import NOON, Story

CODE = "ab" * 32
SEALED = {"stage": "consent", "version": 1, "code": CODE, "papers": []}
AFTERCARE_SEALED = {**SEALED, "stage": "aftercare"}


@pytest.fixture
def story(story: Story) -> Story:
    """The explained case, of which the record holds together."""
    assert check_record(story.record).problems == ()
    return story


def _forged(story: Story, who: Account, kind: str, role: Role, **body: Any) -> str:
    """What the check says of an entry that was put at the end with the key, past every rule."""
    whole = {"state": story.now.state.value, "touched": [], **body}
    with story.record.store.writing() as connection:
        append(connection, story.record.key, who.person, role, kind, story.subject, whole, story.record.clock())
    return "\n".join(problem.what for problem in check_record(story.record).problems)


def _patched(story: Story, patch: Mapping[str, Any], purpose: Purpose) -> str:
    with story.record.store.reading() as connection:
        keys = read_keys(connection, story.record, story.subject)
    return sealed_part(keys, story.subject, purpose, {"patch": patch})


@pytest.mark.parametrize(
    ("who", "kind", "body", "said"),
    [
        ("theatre", "noted", {"state": "confirmed"}, 'it led from "explained" to "confirmed"'),
        ("surgeon", "sent-back", {"state": "explained"}, 'it led from "explained" to "explained"'),
        ("counsellor", "noted", {"sealed": SEALED}, "it seals papers"),
        ("surgeon", "signed-off", {"state": "signed off"}, "it seals no papers"),
        ("surgeon", "signed-off", {"state": "signed off", "sealed": AFTERCARE_SEALED}, "those of another stage"),
        ("counsellor", "noted", {"voids": CODE}, "it ends papers that it cannot end"),
        ("surgeon", "sent-back", {"state": "sent back", "voids": CODE}, "it ends papers that it cannot end"),
        ("counsellor", "noted", {"destroyed": []}, "it says destroyed"),
        ("counsellor", "consented", {"state": "consented"}, 'the case is "explained"'),
        ("lead", "erased", {"destroyed": []}, 'the case is "explained"'),
        ("counsellor", "opened", {"state": "draft"}, 'the case is "explained"'),
        ("counsellor", "invented", {}, "there is no such entry"),
    ],
)
def test_what_moves_toml_would_not_have_taken_is_found(
    story: Story, who: str, kind: str, body: Mapping[str, Any], said: str
) -> None:
    """21 CFR 11.10(a): altered records are discerned."""
    assert said in _forged(story, getattr(story.staff, who), kind, Role(who), **body)


def test_papers_that_should_have_ended_and_did_not_are_found(story: Story) -> None:
    story.sign_off()
    assert "it leaves papers that it ends" in _forged(
        story, story.staff.surgeon, "sent-back", Role.SURGEON, state="sent back"
    )


def test_papers_that_ended_take_the_case_back(story: Story) -> None:
    story.sign_off()
    held = story.now.sealed(CONSENT)
    assert held is not None
    said = _forged(story, story.staff.counsellor, "changed", Role.COUNSELLOR, voids=held.code, changes=["plan"])
    assert 'it led from "signed off" to "signed off"' in said


def test_another_s_part_of_the_case_is_found(story: Story) -> None:
    emptied = _patched(story, {"talk": {"said_back": []}}, Purpose.IDENTITY)
    said = _forged(story, story.staff.auditor, "looked-at", Role.AUDITOR, identity=emptied)
    assert "this entry does not change talk.said_back" in said


@pytest.mark.parametrize(
    ("who", "role", "kind", "body"),
    [
        ("counsellor", Role.COUNSELLOR, "sent-back", {"state": "sent back"}),
        ("counsellor", Role.SURGEON, "sent-back", {"state": "sent back"}),
        ("auditor", Role.AUDITOR, "noted", {}),
        ("lead", Role.COUNSELLOR, "said-back", {}),
    ],
)
def test_who_had_not_that_role_is_found(story: Story, who: str, role: Role, kind: str, body: Mapping[str, Any]) -> None:
    """21 CFR 11.10(g): authority checks. A role that stands in the entry is held against the account."""
    assert "may not do this" in _forged(story, getattr(story.staff, who), kind, role, **body)


@pytest.mark.parametrize("how", ["closed", "renamed", "demoted"])
def test_the_account_as_it_was_then_decides(story: Story, how: str) -> None:
    """What was entered before holds; what is put in afterwards under what the account had been does not."""
    lead, before = story.staff.lead.person, story.staff.surgeon
    make_account(story.record, lead, "ravi", "Dr Ravi Example", (Role.SURGEON,), "a first word of it", "INVENTED-9")
    story.enter(before, "noted", reason=WHY)
    if how == "closed":
        close_account(story.record, lead, "asha")
    else:
        name = "Dr Asha Renamed" if how == "renamed" else before.name
        role = Role.COUNSELLOR if how == "demoted" else Role.SURGEON
        change_account(story.record, lead, "asha", name, (role,), before.registration)
    assert check_record(story.record).problems == ()
    assert "may not do this" in _forged(story, before, "sent-back", Role.SURGEON, state="sent back")


def test_a_restore_erases_again_and_does_nothing_else(story: Story) -> None:
    """The one entry from any state, by nobody's account: keys of an older backup are destroyed again."""
    restore = replace(story.staff.lead, id=THE_RESTORE.account, name=THE_RESTORE.name)
    purposes = [purpose.value for purpose in Purpose]
    with story.record.store.writing() as connection:
        destroy_keys(connection, story.subject, tuple(Purpose))
    body = {"destroyed": purposes, "ground": WHY, "erased_at": NOON.isoformat()}
    assert _forged(story, restore, "erased", Role.LEAD, **body) == ""
    assert 'to "closed"' in _forged(story, restore, "erased", Role.LEAD, **body, state="closed")


def test_rules_that_a_later_version_tightens_keep_nobody_from_a_backup(
    story: Story, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A record with an entry that today's table would not take is restored whole, and the check still tells of it."""
    without_scrypt(monkeypatch)
    told = _forged(story, story.staff.theatre, "noted", Role.THEATRE, state="confirmed")
    clinic, clock = story.record.clinic, story.record.clock
    made = back_up(story.record, tmp_path / "backup", PASSPHRASE)
    assert made.problems == ()
    restored = restore(made.path, PASSPHRASE, Place(tmp_path / "again"), clinic, clock=clock)
    with closing(restored.record) as again:
        assert restored.checked.problems == ()
        assert [problem.what for problem in check_record(again).problems] == [told]
