"""The one door: every kind of entry, in every state, by everybody; refusals are kept, and who signs proves it again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

import pytest

from consent.clinic import Clinic
from consent.errors import AccessError, ConflictError, ConsentError, MoveError
from consent.record import entering
from consent.record.accounts import Account, change_account, close_account, make_account, set_password
from consent.record.act import Act
from consent.record.checking import check_record
from consent.record.entering import REFUSALS, enter, open_new
from consent.record.ledger import Entry, entries
from consent.record.login import identify
from consent.record.moves import Role, State
from consent.record.place import Place, Record, make_record
from tests.editing import case_maker, edited
from tests.record.acts import WHY, fake_papers, said_with, without_printing
from tests.record.clock import TestClock
from tests.record.expected_moves import EXPECTED, PASSWORD
from tests.record.story import IST, PASSWORDS, Staff, Story, make_staff

NOW = dt.datetime(2027, 2, 24, 12, 0, tzinfo=IST)
"""The day on which the ordinary case is operated on."""
LOGINS = {"lead": "lila", "surgeon": "asha", "counsellor": "meera", "theatre": "tara", "auditor": "noor"}
WAYS = {
    "draft": [],
    "explained": ["explained"],
    "sent back": ["explained", "sent-back"],
    "signed off": ["explained", "signed-off"],
    "consented": ["explained", "signed-off", "consented"],
    "confirmed": ["explained", "signed-off", "consented", "confirmed"],
    "done": ["explained", "signed-off", "consented", "confirmed", "done"],
    "closed": ["declined", "closed"],
    "withdrawn": ["explained", "signed-off", "consented", "withdrawn"],
    "declined": ["declined"],
    "wants time": ["wants-time"],
}
"""How a case comes to each state."""


class Undone(Exception):
    """Raised when all of an entry has been done but keeping it, so that the next try finds the case as it was."""


@contextmanager
def undoing() -> Iterator[None]:
    """Whatever would be kept is thrown away at the last moment."""

    def undo(*_: object) -> None:
        raise Undone

    with patch("consent.record.signing.keep_paper", undo):
        yield


@pytest.fixture(scope="module")
def clinic_at_work(clinic: Clinic, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Record, Staff]]:
    clock = TestClock(NOW)
    with without_printing():
        record = make_record(Place(tmp_path_factory.mktemp("door") / "record"), clinic, clock)
        yield record, make_staff(record)
        record.close()


@pytest.fixture(scope="module", params=WAYS)
def story(request: pytest.FixtureRequest, clinic_at_work: tuple[Record, Staff]) -> Story:
    """A case in each state."""
    return _brought_to(Story(*clinic_at_work), request.param)


def _brought_to(story: Story, state: str) -> Story:
    story.open()
    for kind in WAYS[state]:
        who = story.staff.theatre if kind == "confirmed" else story.staff.surgeon
        _enter(story, who, kind)
    assert story.now.state == state
    return story


def _enter(story: Story, who: Account, kind: str, password: str | None = PASSWORDS["asha"]) -> None:
    changes, reason, details = said_with(kind, story, story.now, story.record.clock())
    story.enter(who, kind, changes, reason, details, password if kind in PASSWORD else None)


def _refusals(record: Record) -> list[Entry]:
    with record.store.reading() as connection:
        return list(entries(connection, REFUSALS))


@pytest.mark.parametrize("kind", sorted(EXPECTED))
def test_everybody_tries_everything(story: Story, kind: str) -> None:
    """Whatever may not be done is refused, to the right person in the wrong state and to the wrong person in any."""
    origins, _, roles = EXPECTED[kind]
    before = story.now
    for role, login in LOGINS.items():
        refused = len(_refusals(story.record))
        found = _tried(story, kind, getattr(story.staff, role), PASSWORDS[login])
        if role not in roles:
            assert found == "person"
            assert len(_refusals(story.record)) == refused + 1
        else:
            assert found == ("undone" if before.state.value in origins else "state"), role
            assert len(_refusals(story.record)) == refused
    assert story.now.sequence == before.sequence


def _tried(story: Story, kind: str, who: Account, password: str) -> str:
    """What became of it: the person was refused, the state was wrong, or all went well and was undone."""
    now = story.now
    changes, reason, details = said_with(kind, story, now, story.record.clock())
    open_ = {"destroyed": ["identity"]} if kind == "erased" else {}
    act = Act(kind, now.sequence, None if changes is None else edited(dict(now.data), changes), reason, details, open_)

    def undo(*_: object) -> None:
        raise Undone

    try:
        with undoing():
            enter(story.record, who, story.subject, act, password, undo)
    except AccessError:
        return "person"
    except MoveError as refusal:
        assert 'the case is "' in str(refusal), refusal
        return "state"
    except Undone:
        return "undone"
    return "kept"


def test_after_all_of_it_the_record_holds_together(clinic_at_work: tuple[Record, Staff]) -> None:
    assert check_record(clinic_at_work[0]).problems == ()


@pytest.fixture
def told(sqlite_record: Record, clock: TestClock) -> Iterator[Story]:
    """A case that was explained and waits for a signature."""
    clock.now = NOW
    with without_printing():
        yield _brought_to(Story(sqlite_record, make_staff(sqlite_record)), "explained")


def _kinds(story: Story) -> list[str]:
    with story.record.store.reading() as connection:
        return [entry.kind for entry in entries(connection)]


@contextmanager
def _refused(story: Story, error: type[ConsentError], said: str, *kept: str) -> Iterator[None]:
    """What is done is refused with these words; only entries of these kinds are kept of it."""
    before, kinds = story.now.sequence, _kinds(story)
    with pytest.raises(error, match=said):
        yield
    assert story.now.sequence == before
    assert _kinds(story)[len(kinds) :] == list(kept)


def test_a_signature_needs_the_password_again(told: Story) -> None:
    """21 CFR 11.200(a)(1): each signature is executed with both parts, however long ago the login was."""
    with _refused(told, AccessError, "password is needed again"):
        _enter(told, told.staff.surgeon, "signed-off", None)
    with _refused(told, AccessError, "do not belong together", "signature-refused"):
        _enter(told, told.staff.surgeon, "signed-off", PASSWORDS["meera"])
    _enter(told, told.staff.surgeon, "signed-off")
    assert _kinds(told)[-2:] == ["signature", "signed-off"]


def test_wrong_passwords_of_signatures_are_counted_apart_from_logins(told: Story, clock: TestClock) -> None:
    """OWASP ASVS 4.0, 2.2.1: guessing waits; CWE-645: whoever guesses at the login keeps nobody from signing."""
    for _ in range(7):
        with pytest.raises(AccessError):
            identify(told.record, "asha", "not the words she chose")
    for _ in range(5):
        with _refused(told, AccessError, "do not belong together", "signature-refused"):
            _enter(told, told.staff.surgeon, "signed-off", "not the words she chose")
    with _refused(told, AccessError, "too many wrong", "signature-too-soon"):
        _enter(told, told.staff.surgeon, "signed-off")
    clock.advance(minutes=1)
    _enter(told, told.staff.surgeon, "signed-off")


def test_a_password_that_the_lead_gave_does_not_sign(told: Story) -> None:
    """Information Technology Act 2000 (India), s. 3A(2): known to the signatory alone; 21 CFR 11.300(a)."""
    set_password(told.record, told.staff.lead.person, "asha", "words the lead has chosen")
    with _refused(told, AccessError, "somebody else has chosen", "refused"):
        _enter(told, told.staff.surgeon, "signed-off", "words the lead has chosen")
    set_password(told.record, told.staff.surgeon.person, "asha", "words of her own again")
    _enter(told, told.staff.surgeon, "signed-off", "words of her own again")


def test_a_lead_does_not_sign_for_a_surgeon(told: Story) -> None:
    with _refused(told, AccessError, "may not do this", "refused"):
        _enter(told, told.staff.lead, "signed-off", PASSWORDS["lila"])


def test_an_account_closed_since_the_login_enters_nothing(told: Story) -> None:
    close_account(told.record, told.staff.lead.person, "meera")
    with _refused(told, AccessError, "was closed", "refused"):
        _enter(told, told.staff.counsellor, "changed")
    with _refused(told, AccessError, "was closed", "refused"):
        open_new(told.record, told.staff.counsellor, case_maker()())


def test_a_role_lost_since_the_login_is_lost(told: Story) -> None:
    surgeon, lead = told.staff.surgeon, told.staff.lead.person
    make_account(told.record, lead, "ravi", "Dr Ravi Example", (Role.SURGEON,), "a first word of it", "INVENTED-9")
    change_account(told.record, lead, "asha", surgeon.name, (Role.COUNSELLOR,), None)
    with _refused(told, AccessError, "may not do this as counsellor", "refused"):
        _enter(told, surgeon, "signed-off")
    _enter(told, surgeon, "said-back")
    assert told.entries()[-1].role == "counsellor"


def test_a_refusal_says_who_wanted_what_and_nothing_of_the_patient(told: Story) -> None:
    with pytest.raises(AccessError):
        told.enter(told.staff.auditor, "noted", reason="Shanti Example telephoned.")
    kept = _refusals(told.record)[-1]
    assert (kept.person, kept.role, kept.body) == ("N. Example", "auditor", {"kind": "noted", "case": told.subject})
    with pytest.raises(AccessError):
        enter(told.record, told.staff.theatre, "Shanti Example 0001", Act("explained", 5))
    assert _refusals(told.record)[-1].body == {"kind": "explained", "case": ""}


def test_nothing_is_slipped_in_with_a_signature(told: Story) -> None:
    """What is signed is what stands in the record, not what the signer's screen still holds."""
    other = edited(dict(told.now.data), {"plan.lens.power_d": 25.0})
    act = Act("signed-off", told.now.sequence, other)
    with _refused(told, MoveError, r"does not change plan\.lens\.power_d", "signature"):
        enter(told.record, told.staff.surgeon, told.subject, act, PASSWORDS["asha"])


def test_a_change_while_papers_are_printed_throws_them_away(told: Story) -> None:
    def changed_meanwhile(*arguments: Any) -> Any:
        _enter(told, told.staff.counsellor, "changed")
        return fake_papers(*arguments)

    with patch("consent.record.signing.make_papers", changed_meanwhile), pytest.raises(ConflictError):
        _enter(told, told.staff.surgeon, "signed-off")
    assert told.now.state is State.EXPLAINED and not told.now.sets


def test_nobody_has_seen_what_is_yet_to_come(told: Story) -> None:
    """An act that says it has seen a later entry would put an old screen over what others entered."""
    old: Mapping[str, Any] = dict(told.now.data)
    told.enter(told.staff.counsellor, "changed", {"plan.lens.power_d": 22.0})
    act = Act("changed", 10**6, edited(old, {"patient.telephone": "00000 11111"}))
    with _refused(told, MoveError, "is not of this case"):
        enter(told.record, told.staff.counsellor, told.subject, act)
    assert told.now.case.plan.lens.power_d == 22.0


@pytest.mark.parametrize(
    "forged",
    [
        {"to": State.CONFIRMED},
        {"open_": {"state": "signed off", "touched": ["plan"]}},
        {"open_": {"sealed": {"stage": "consent", "version": 1, "code": "ab" * 32, "papers": []}}},
        {"open_": {"voids": "ab" * 32}},
        {"open_": {"destroyed": ["identity"]}},
    ],
)
def test_nobody_hands_in_what_the_record_works_out(told: Story, forged: dict[str, Any]) -> None:
    """The state, what is sealed, void or destroyed: 21 CFR 11.10(f), operational checks of permitted sequencing."""
    for who, kind in ((told.staff.theatre, "noted"), (told.staff.surgeon, "signed-off")):
        act = Act(kind, told.now.sequence, reason=WHY, **forged)
        with _refused(told, MoveError, "is not for the one who enters to say"):
            enter(told.record, who, told.subject, act, PASSWORDS["asha"])


@pytest.mark.parametrize("destroyed", [[], ["identity"], ["identity", "content"]])
def test_nothing_is_erased_by_an_entry_that_says_so(told: Story, destroyed: list[str]) -> None:
    for kind in ("declined", "closed"):
        _enter(told, told.staff.surgeon, kind)
    act = Act("erased", told.now.sequence, reason=WHY, open_={"destroyed": destroyed, "ground": WHY})
    with _refused(told, MoveError, "an entry alone erases nothing", "signature"):
        enter(told.record, told.staff.lead, told.subject, act, PASSWORDS["lila"])
    assert check_record(told.record).problems == ()


@pytest.mark.parametrize("meanwhile", ["closed", "demoted", "registered", "renamed"])
def test_who_may_no_longer_sign_when_the_papers_are_printed_has_not_signed(told: Story, meanwhile: str) -> None:
    """21 CFR 11.10(g): authority is checked where the record is signed; printing takes seconds, and a lead may act."""
    surgeon, lead = told.staff.surgeon, told.staff.lead.person
    make_account(told.record, lead, "ravi", "Dr Ravi Example", (Role.SURGEON,), "a first word of it", "INVENTED-9")

    def printed(*arguments: Any) -> Any:
        if meanwhile == "closed":
            close_account(told.record, lead, "asha")
        else:
            name = "Dr Asha Renamed" if meanwhile == "renamed" else surgeon.name
            number = "INVENTED-77" if meanwhile == "registered" else surgeon.registration
            role = Role.COUNSELLOR if meanwhile == "demoted" else Role.SURGEON
            change_account(told.record, lead, "asha", name, (role,), number)
        return fake_papers(*arguments)

    change = "account-closed" if meanwhile == "closed" else "account-changed"
    said = "was closed" if meanwhile == "closed" else "was changed meanwhile"
    with (
        patch("consent.record.signing.make_papers", printed),
        _refused(told, AccessError, said, "signature", change, "refused"),
    ):
        _enter(told, surgeon, "signed-off")
    assert not told.now.sets and check_record(told.record).problems == ()


def test_a_case_is_opened_by_who_may_when_it_is_kept(told: Story) -> None:
    """The account is looked at once more in the transaction that writes."""
    lead, allowed = told.staff.lead.person, entering._allowed

    def closed_after(*arguments: Any) -> Account:
        found = allowed(*arguments)
        close_account(told.record, lead, "meera")
        return found

    with (
        patch("consent.record.entering._allowed", closed_after),
        _refused(told, AccessError, "was closed", "account-closed", "refused"),
    ):
        told.open()


@pytest.mark.parametrize(
    ("role", "kind", "emptied"),
    [
        ("auditor", "looked-at", "talk.said_back"),
        ("theatre", "noted", "answers"),
        ("counsellor", "changed", "answers"),
        ("counsellor", "asked", "talk.said_back"),
    ],
)
def test_nobody_empties_a_list_that_is_not_theirs(told: Story, role: str, kind: str, emptied: str) -> None:
    """21 CFR 11.10(e): what was recorded earlier is not obscured, least of all by who only looks."""
    for filled in ("said-back", "answered"):
        _enter(told, told.staff.surgeon, filled)
    before = told.now.data
    with _refused(told, MoveError, f"does not change {emptied}"):
        told.enter(getattr(told.staff, role), kind, {emptied: []}, WHY, {"what": "the review"})
    assert told.now.data == before


def test_a_step_that_was_not_agreed_is_not_agreed_afterwards(told: Story) -> None:
    """Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32: consent to an added step comes before it."""
    for kind in ("signed-off", "consented", "confirmed", "done"):
        _enter(told, told.staff.theatre if kind == "confirmed" else told.staff.surgeon, kind)
    for who in (told.staff.counsellor, told.staff.surgeon, told.staff.lead):
        with _refused(told, MoveError, r"does not change plan\.extra_steps, now that the operation is done"):
            told.enter(who, "changed", {"plan.extra_steps": ["capsular tension ring"]})
    told.enter(told.staff.counsellor, "changed", {"plan.date": "2027-02-23"})
    assert told.now.case.plan.date == dt.date(2027, 2, 23)
