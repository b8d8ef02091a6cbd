"""One invented patient from opening to closing: sent back, signed, withdrawn, another lens, operated, drops changed."""

from __future__ import annotations

import dataclasses
import datetime as dt
import subprocess
from collections.abc import Iterator
from pathlib import Path
from unittest.mock import patch

import pytest

from consent.clinic import Clinic
from consent.errors import AccessError, ConsentError, MoveError
from consent.print import to_pdf
from consent.record.canonical import digest
from consent.record.cases import read_case_state
from consent.record.certificate import Certificate
from consent.record.checking import check_record
from consent.record.inspection import inspect
from consent.record.keeping_certificate import keep_local_certificate, read_own_certificate
from consent.record.moves import State
from consent.record.papers import read_paper
from consent.record.place import Place, Record, make_record
from consent.record.sheet import record_sheet
from consent.record.standing import anchored, look_up
from consent.record.state import AFTERCARE, CONSENT
from consent.record.telling import as_data, as_text
from consent.review import differences
from tests.record.clock import TestClock
from tests.record.conftest import STORES
from tests.record.servers import Server
from tests.record.story import IST, PASSWORDS, Story, make_staff

FIRST_DAY, SECOND_DAY, SURGERY, LATER, LAST = (
    dt.datetime(2027, 2, 22, 11, 0, tzinfo=IST),
    dt.datetime(2027, 2, 23, 9, 0, tzinfo=IST),
    dt.datetime(2027, 2, 24, 9, 0, tzinfo=IST),
    dt.datetime(2027, 3, 3, 10, 0, tzinfo=IST),
    dt.datetime(2027, 4, 8, 10, 0, tzinfo=IST),
)


@dataclasses.dataclass
class Told:
    """The story as it was entered: what each step showed."""

    story: Story
    record: Record
    certificate: Certificate
    states: list[tuple[str, State, int]]
    refused: list[ConsentError]
    changes: dict[str, list[str]]


@pytest.fixture(scope="module", params=STORES)
def told(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, clinic: Clinic, server: Server
) -> Iterator[Told]:
    """The whole story, entered once in each store: with every paper in the file, with two a time on the server."""
    folder = tmp_path_factory.mktemp("story") / "record"
    clock = TestClock(FIRST_DAY)
    if request.param == "sqlite":
        yield from _told(Place(folder), clinic, clock)
        return
    name = server.lend_database()
    with patch("consent.record.making.sheets_of", _few_sheets):
        yield from _told(Place(folder, server.address(name)), clinic, clock)
    server.take_back(name)


def _few_sheets(stage: str) -> tuple[str, ...]:
    return ("separate-choices", "day-of-surgery") if stage == CONSENT else ("lens-card", "surgeon-review")


def _told(place: Place, clinic: Clinic, clock: TestClock) -> Iterator[Told]:
    record = make_record(place, clinic, clock)
    keep_local_certificate(record)
    yield tell(record, clock)
    record.close()


def tell(record: Record, clock: TestClock) -> Told:
    """Enter the story in ``record``, a step at a time, as five people would."""
    story = Story(record, make_staff(record))
    told = Told(story, record, read_own_certificate(record).certificate, [], [], {})
    _first_consent(told, clock)
    _another_lens(told, clock)
    _surgery(told, clock)
    _other_drops(told, clock)
    clock.now = LAST
    _note(told, "closed", story.enter(story.staff.surgeon, "closed").entry.body)
    return told


def _note(told: Told, step: str, body: object) -> None:
    now = told.story.now
    told.states.append((step, now.state, now.version))
    if isinstance(body, dict) and "changes" in body:
        told.changes[step] = body["changes"]


def _first_consent(told: Told, clock: TestClock) -> None:
    story, staff = told.story, told.story.staff
    _note(told, "opened", story.open().entry.body)
    _note(told, "explained", story.explain(FIRST_DAY - dt.timedelta(minutes=45)).entry.body)
    back = story.enter(staff.surgeon, "sent-back", reason="The power of the second lens is that of the other eye.")
    _note(told, "sent back", back.entry.body)
    second = [{**story.now.data["plan"]["fallback_lenses"][0], "power_d": 20.0}]
    story.enter(staff.counsellor, "changed", {"plan.fallback_lenses": second})
    clock.now = FIRST_DAY + dt.timedelta(hours=1)
    story.explain(FIRST_DAY + dt.timedelta(minutes=45))
    story.accept_figures()
    with pytest.raises(AccessError) as wrong:
        story.sign_off("some other words than hers")
    told.refused.append(wrong.value)
    with pytest.raises(AccessError) as counsellor:
        story.enter(staff.counsellor, "signed-off", password=PASSWORDS["meera"])
    told.refused.append(counsellor.value)
    _note(told, "signed off", story.sign_off().entry.body)
    _note(told, "consented", story.consent().entry.body)
    withdrawn = story.enter(staff.counsellor, "withdrawn", reason="She wants to ask her son first.")
    _note(told, "withdrawn", withdrawn.entry.body)


def _another_lens(told: Told, clock: TestClock) -> None:
    story, staff = told.story, told.story.staff
    clock.now = SECOND_DAY
    story.enter(staff.counsellor, "reopened", reason="She came back with her son and wants to hear it again.")
    story.explain(SECOND_DAY - dt.timedelta(minutes=15))
    story.sign_off()
    _note(told, "consented again", story.consent().entry.body)
    lens = {**story.now.data["plan"]["lens"], "power_d": 22.0, "a_constant": 119.0}
    _note(told, "another lens", story.enter(staff.counsellor, "changed", {"plan.lens": lens}).entry.body)
    clock.now = SECOND_DAY + dt.timedelta(hours=1)
    story.explain(SECOND_DAY + dt.timedelta(minutes=30))
    story.sign_off()
    _note(told, "consented to it", story.consent().entry.body)


def _surgery(told: Told, clock: TestClock) -> None:
    story, staff = told.story, told.story.staff
    clock.now = SURGERY
    _note(told, "confirmed", story.confirm(SURGERY - dt.timedelta(minutes=5)).entry.body)
    clock.now = SURGERY + dt.timedelta(hours=1)
    done = story.operate(as_planned="no", steps=["stitch", "capsular tension ring"], stitches=1)
    _note(told, "done", done.entry.body)
    with pytest.raises(MoveError) as unanswered:
        story.issue_aftercare()
    told.refused.append(unanswered.value)
    visits = [*story.now.data["visits"], {"kind": "stitch", "date": "2027-04-07"}]
    story.enter(staff.surgeon, "first-day", {"visits": visits})
    story.answer_all("The ring was needed when the threads gave way; told to her and her son at 10:40.")
    _note(told, "aftercare", story.issue_aftercare().entry.body)


def _other_drops(told: Told, clock: TestClock) -> None:
    clock.now = LATER
    story = told.story
    changed = story.change_drops(dt.date(2027, 3, 4), "loteprednol-two-weeks", "Pressure 27 on steroid drops.")
    _note(told, "other drops", changed.entry.body)
    story.answer_all("The weaker steroid is meant; the pressure is looked at again on 15 March.")
    _note(told, "aftercare again", story.issue_aftercare().entry.body)


def test_the_case_goes_through_every_state(told: Told) -> None:
    assert told.states == [
        ("opened", State.DRAFT, 1),
        ("explained", State.EXPLAINED, 1),
        ("sent back", State.SENT_BACK, 1),
        ("signed off", State.SIGNED_OFF, 1),
        ("consented", State.CONSENTED, 1),
        ("withdrawn", State.WITHDRAWN, 2),
        ("consented again", State.CONSENTED, 2),
        ("another lens", State.DRAFT, 3),
        ("consented to it", State.CONSENTED, 3),
        ("confirmed", State.CONFIRMED, 3),
        ("done", State.DONE, 3),
        ("aftercare", State.DONE, 3),
        ("other drops", State.DONE, 4),
        ("aftercare again", State.DONE, 4),
        ("closed", State.CLOSED, 4),
    ]


def test_what_was_refused_says_why(told: Told) -> None:
    """A wrong password, a counsellor who signs, an ask that stands open."""
    wrong, counsellor, unanswered = told.refused
    assert "do not belong together" in str(wrong)
    assert "may not do this as counsellor" in str(counsellor)
    assert "after.step-not-agreed" in str(unanswered)
    assert "after.stitch-without-visit" in str(unanswered)


def test_refusals_are_entries_too(told: Told) -> None:
    from consent.record.ledger import entries

    with told.record.store.reading() as connection:
        kinds = [entry.kind for entry in entries(connection)]
    assert kinds.count("signature-refused") == 1
    assert kinds.count("refused") == 1
    # Every paper was signed with a password entered again: three consents, two sets for home.
    assert kinds.count("signature") == 5 + 1  # and one for the aftercare that an open ask then held up


def test_the_changed_lens_is_named_as_what_voids_the_form(told: Told) -> None:
    assert "consent-form" in told.changes["another lens"]


def test_papers_hold_or_are_void(told: Told) -> None:
    sets = told.story.now.sets
    assert [(one.stage, one.version, one.current) for one in sets] == [
        (CONSENT, 1, False),
        (CONSENT, 2, False),
        (CONSENT, 3, True),
        (AFTERCARE, 3, False),
        (AFTERCARE, 4, True),
    ]
    assert [one.void.kind for one in sets if one.void] == ["withdrawn", "changed", "drops-changed"]


def test_the_step_that_was_not_agreed_is_flagged(told: Told) -> None:
    """Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32: an added procedure needs its own consent."""
    agreed = {str(one.told.slots["step"]): one.agreed for one in differences(told.story.now.case)}
    assert sorted(agreed.values()) == [False, True]
    (step,) = (name for name, was in agreed.items() if not was)
    assert "capsular tension ring" in step


def test_every_past_state_can_be_shown(told: Told) -> None:
    history = told.story.now.history
    powers = [
        read_case_state(told.record, told.story.subject, one.entry.sequence).data["plan"]["lens"]["power_d"]
        for one in history
    ]
    assert powers[0] == 21.5
    assert powers[-1] == 22.0
    assert powers == sorted(powers)


def test_every_paper_proves_itself(told: Told) -> None:
    """Unchanged, signed by the clinic, and its code is the digest of what it carries, current or not."""
    now = told.record.clock()
    for sealed in told.story.now.sets:
        for paper in sealed.papers:
            pdf = read_paper(told.record, paper.digest)
            assert digest(pdf) == paper.digest
            found = inspect(pdf, (told.certificate,), now)
            assert (found.problems, found.code) == ((), sealed.code)
            assert not anchored(told.record, found.data)
            kept, reasons = look_up(told.record, found.file, found.code)
            assert kept is not None
            assert bool(reasons) is not sealed.current


def test_the_record_holds_together(told: Told) -> None:
    found = check_record(told.record)
    assert found.problems == ()
    assert found.papers == sum(len(one.papers) for one in told.story.now.sets)


def test_the_record_is_printed(told: Told, tmp_path: Path) -> None:
    """Every entry with who and when, in each language of the clinic, read back by Poppler."""
    case = told.story.now
    for tag in ("en", "bn", "hi"):
        path = tmp_path / f"record.{tag}.pdf"
        path.write_bytes(to_pdf(record_sheet(told.record, case, tag)))
        done = subprocess.run(["pdftotext", "-raw", str(path), "-"], capture_output=True, check=True)
        text = done.stdout.decode()
        for person in ("M. Example", "Dr Asha Invented", "T. Example"):
            assert person in text
        assert case.history[-1].entry.hash in text.replace("\n", "")
        assert text.count("2027-") >= 5
    text = "\n".join(as_text(case, told.record.clinic))
    assert "She wants to ask her son first." in text
    assert "plan.lens.power_d: was 21.5, now 22.0" in text
    assert as_data(case)["entries"][-1]["kind"] == "closed"
