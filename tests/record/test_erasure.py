"""What is erased cannot be read again, in no byte of the store; the chain, and what staff did, stays whole."""

from __future__ import annotations

import dataclasses
import datetime as dt
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from consent.clinic import Clinic
from consent.errors import AccessError, ConflictError, ConsentError, MoveError, Problem, RecordError
from consent.record import erasure
from consent.record.accounts import Account
from consent.record.act import Act
from consent.record.backup import back_up
from consent.record.cases import Recorded, act_on, all_cases, read_case_state
from consent.record.checking import check_record
from consent.record.entering import enter
from consent.record.erasure import Gone, erase
from consent.record.erasure_list import Erased, read_list, whole
from consent.record.keys import Purpose
from consent.record.papers import read_paper
from consent.record.place import Place, Record
from consent.record.restore import restore
from consent.record.schema import KEYS
from consent.record.state import CaseState
from consent.record.store import Store
from consent.record.telling import as_data, as_text
from tests.editing import edited
from tests.record.acts import without_printing
from tests.record.clock import START, TestClock
from tests.record.filled import LEAD, PASSWORDS, SURGEON, explain, fake_papers, note, open_one, people, sealing
from tests.record.kept import PASSPHRASE, rows_of, without_scrypt
from tests.record.servers import Server

REASON = "Section 12 of the Act, request of 4 March."
OTHERS = 40
"""Cases besides the one that is erased: enough that rows of the keys have moved from page to page."""


@pytest.fixture(autouse=True)
def _cheaply() -> Iterator[None]:
    with without_printing():
        yield


def closed_case(record: Record) -> CaseState:
    """A case with signed papers that was declined after all, and closed."""
    told = explain(record, open_one(record))
    subject = told.case.subject
    seen = sealing(record, told, fake_papers(subject))
    data = edited(dict(seen.case.data), {"talk.outcome": "refuses"})
    declined = act_on(record, SURGEON, subject, Act("declined", seen.case.sequence, data))
    return act_on(record, LEAD, subject, Act("closed", declined.case.sequence)).case


def later(record: Record, years: float) -> None:
    clock = record.clock
    assert isinstance(clock, TestClock)
    clock.advance(days=365.25 * years + 1)


def erased(record: Record, lead: Account, subject: str, **how: bool) -> Gone:
    return erase(record, lead, subject, PASSWORDS["lead"], REASON, **how)


def bytes_of(record: Record, server: Server) -> bytes:
    """Every byte of the store: database, log and index of the log; of a server, every file of the database, without the
    server's own log."""
    if record.store.is_sqlite:
        files = sorted(record.place.folder.glob("record.sqlite3*"))
        return b"".join(path.read_bytes() for path in files)
    server.run("CHECKPOINT")
    ((folder,),) = server.run(
        "SELECT oid FROM pg_database WHERE datname = current_database()", record.store.engine.url.database or ""
    )
    return b"".join(path.read_bytes() for path in sorted((server.data / "base" / str(folder)).iterdir()))


def pieces(whole: bytes, size: int = 16) -> list[bytes]:
    return [whole[start : start + size] for start in range(len(whole) - size + 1)]


def test_no_byte_of_a_destroyed_key_is_left_in_the_store(record: Record, server: Server) -> None:
    """Neither the wrapped key nor any 16 bytes of it, nor a paper, nor the name; before, key and papers were."""
    lead, _ = people(record)
    for _ in range(OTHERS // 2):
        open_one(record)
    case = closed_case(record)
    for _ in range(OTHERS // 2):
        open_one(record)
    rows = rows_of(record.place)
    keys = {row[1]: row[2] for row in rows["keys"] if row[0] == case.subject}
    papers = [row[4] for row in rows["papers"] if row[1] == case.subject]
    name = case.case.patient.name.encode()
    before = bytes_of(record, server)
    assert keys["identity"] in before and all(paper[:16] in before for paper in papers)
    later(record, 7)
    assert erased(record, lead, case.subject).cleared
    after = bytes_of(record, server)
    assert keys["content"] in after, "what was not erased is gone as well"
    assert not [piece for piece in pieces(keys["identity"]) if piece in after]
    assert not [piece for paper in papers for piece in pieces(paper)[::16] if piece in after]
    assert name not in after
    assert not any(path.stat().st_size for path in record.place.folder.glob("*-wal"))
    erased(record, lead, case.subject, everything=True)
    assert not [piece for piece in pieces(keys["content"]) if piece in bytes_of(record, server)]


def test_structure_stays_and_nothing_personal(record: Record) -> None:
    """Who of the staff, when, which state, which digest; the other patient is untouched."""
    lead, _ = people(record)
    other = closed_case(record)
    case = closed_case(record)
    names = [name for sealed in case.sets for paper in sealed.papers for name in (paper.digest,)]
    chain = rows_of(record.place)["ledger"]
    later(record, 7)
    done = erased(record, lead, case.subject).recorded
    now = read_case_state(record, case.subject)
    assert check_record(record).problems == ()
    assert rows_of(record.place)["ledger"][: len(chain)] == chain
    kept = [(told.entry.person, told.entry.kind, told.entry.at, told.entry.body["state"]) for told in case.history]
    assert [(t.entry.person, t.entry.kind, t.entry.at, t.entry.body["state"]) for t in now.history][:-1] == kept
    assert [paper.digest for sealed in now.sets for paper in sealed.papers] == names and now.state == "closed"
    assert done.entry.body["destroyed"] == ["identity"] and done.entry.body["ground"] == REASON
    _nothing_personal(record, case, now)
    for name in names:
        with pytest.raises(ConsentError, match="not kept here"):
            read_paper(record, name)
    assert read_case_state(record, other.subject).case == other.case
    assert read_paper(record, other.sets[0].papers[0].digest).startswith(b"%PDF")


def _nothing_personal(record: Record, before: CaseState, now: CaseState) -> None:
    patient = before.case.patient
    told = str(as_data(now)) + "\n".join(as_text(now, record.clinic))
    for personal in (patient.name, patient.record_number, patient.telephone, str(patient.birth_date)):
        assert personal and personal not in told
    assert now.data["eye"] == before.data["eye"], "what was found is kept"
    with pytest.raises(ConsentError, match="identity was erased"):
        _ = now.case


def test_everything_goes_where_everything_is_asked_for(record: Record) -> None:
    lead, _ = people(record)
    subject = closed_case(record).subject
    later(record, 7)
    erased(record, lead, subject, everything=True)
    now = read_case_state(record, subject)
    assert now.data == {} and not any(told.patch or told.details for told in now.history)
    assert [row for row in rows_of(record.place)["keys"] if row[0] == subject] == []
    assert [case.subject for case in all_cases(record)] == [subject]
    assert check_record(record).problems == ()
    with pytest.raises(MoveError, match="erased already"):
        erased(record, lead, subject, everything=True)


def test_first_the_identity_then_the_rest(record: Record) -> None:
    lead, _ = people(record)
    subject = closed_case(record).subject
    later(record, 7)
    erased(record, lead, subject)
    with pytest.raises(MoveError, match="erased already"):
        erased(record, lead, subject)
    erased(record, lead, subject, everything=True)
    assert check_record(record).problems == ()
    (listed,) = whole(read_list(record.place.erasures_file))
    assert (listed.subject, listed.destroyed) == (subject, (Purpose.IDENTITY, Purpose.CONTENT))


def test_once_the_identity_is_gone_no_reason_is_kept(record: Record, server: Server) -> None:
    """There is nothing left to hold it against, and it would stay in the clear for ever."""
    lead, _ = people(record)
    case = closed_case(record)
    later(record, 7)
    erased(record, lead, case.subject)
    name = case.case.patient.name
    reason = f"{name} came again and asked for it."
    erase(record, lead, case.subject, PASSWORDS["lead"], reason, everything=True)
    ground = read_case_state(record, case.subject).history[-1].entry.body["ground"]
    assert ground == "the time for which the clinic keeps records has ended"
    assert name.encode() not in bytes_of(record, server)


def test_the_list_is_kept_with_the_erasure_or_neither(sqlite_record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    """The list cannot be written: nothing is erased. It was written, and the store fails after: the line is gone."""
    lead, _ = people(sqlite_record)
    subject = closed_case(sqlite_record).subject
    later(sqlite_record, 7)
    before = _keys_and_papers(sqlite_record)
    sqlite_record.place.erasures_file.mkdir()
    with pytest.raises(ConsentError):
        erased(sqlite_record, lead, subject)
    sqlite_record.place.erasures_file.rmdir()
    monkeypatch.setattr(erasure, "add_to_list", _fails_after(erasure.add_to_list))
    with pytest.raises(ConsentError, match="disk reports an error"):
        erased(sqlite_record, lead, subject)
    assert _keys_and_papers(sqlite_record) == before and check_record(sqlite_record).problems == ()
    assert sqlite_record.place.erasures_file.read_text() == ""


def test_a_line_stays_where_the_erasure_was_kept_whatever_came_after(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody presses Ctrl-C, or the connection drops, between the commit and the answer."""
    lead, _ = people(record)
    cases = [closed_case(record).subject for _ in range(2)]
    later(record, 7)
    entered = erasure.enter
    for subject, interruption in zip(cases, (KeyboardInterrupt(), ConnectionError()), strict=True):

        def cut(*given: object, now: BaseException = interruption, **more: object) -> Recorded:
            entered(*given, **more)  # type: ignore[arg-type]
            raise now

        monkeypatch.setattr(erasure, "enter", cut)
        with pytest.raises(type(interruption)):
            erased(record, lead, subject)
        assert read_case_state(record, subject).erased is not None
    assert [one.subject for one in read_list(record.place.erasures_file)] == cases


def test_a_line_stays_where_nobody_can_tell(sqlite_record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    """The erasure failed and the store does not answer any more: it may have been kept."""
    lead, _ = people(sqlite_record)
    subject = closed_case(sqlite_record).subject
    later(sqlite_record, 7)

    @contextmanager
    def no_answer(_: Store) -> Iterator[None]:
        raise RecordError(Problem("the server does not answer", "store"))
        yield

    def dropped(path: Path, one: Erased) -> None:
        add(path, one)
        monkeypatch.setattr(Store, "writing", no_answer)
        raise ConnectionError

    add = erasure.add_to_list
    monkeypatch.setattr(erasure, "add_to_list", dropped)
    with pytest.raises(RecordError):
        erased(sqlite_record, lead, subject)
    assert [one.subject for one in read_list(sqlite_record.place.erasures_file)] == [subject]


def test_nobody_else_writes_to_the_list_while_a_line_is_taken_out(
    sqlite_record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A line that somebody else adds meanwhile would be lost; both hold the lock of the store."""
    lead, _ = people(sqlite_record)
    subject = closed_case(sqlite_record).subject
    later(sqlite_record, 7)
    taken, locked = erasure.take_from_list, []

    def look(path: Path, one: Erased) -> None:
        with closing(sqlite3.connect(sqlite_record.place.file, timeout=0, isolation_level=None)) as other:
            try:
                other.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as refused:
                locked.append(str(refused))
        taken(path, one)

    monkeypatch.setattr(erasure, "take_from_list", look)
    monkeypatch.setattr(erasure, "destroy_keys", lambda *_: None)
    monkeypatch.setattr(erasure, "add_to_list", _fails_after(erasure.add_to_list))
    with pytest.raises(ConsentError, match="disk reports an error"):
        erased(sqlite_record, lead, subject)
    assert locked == ["database is locked"] and sqlite_record.place.erasures_file.read_text() == ""


def test_a_line_of_what_was_never_erased_is_harmless(
    record: Record, tmp_path: Path, clinic: Clinic, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed between the line and the commit. The chain of a later backup shows that nothing was erased; that of an
    earlier one cannot, and then what somebody had asked to erase is erased."""
    without_scrypt(monkeypatch)
    lead, _ = people(record)
    subject = closed_case(record).subject
    later(record, 7)
    earlier = back_up(record, tmp_path / "earlier", PASSPHRASE).path
    with monkeypatch.context() as killed:
        killed.setattr(erasure, "take_from_list", lambda *_: None)
        killed.setattr(erasure, "add_to_list", _fails_after(erasure.add_to_list))
        with pytest.raises(ConsentError, match="disk reports an error"):
            erased(record, lead, subject)
    (line,) = record.place.erasures_file.read_text().splitlines()
    note(record)
    at_once = back_up(record, tmp_path / "later", PASSPHRASE).path
    brought = tmp_path / "brought.txt"
    brought.write_text(f"{line}\n")
    for backup, again in ((earlier, (subject,)), (at_once, ())):
        place = Place(tmp_path / f"from {backup.name}")
        done = restore(backup, PASSPHRASE, place, clinic, brought, record.clock)
        with closing(done.record) as made:
            assert done.erased_again == again
            assert (read_case_state(made, subject).erased is None) == (again == ())


def _fails_after(written: Callable[[Path, Erased], None]) -> Callable[[Path, Erased], None]:
    def fails(path: Path, one: Erased) -> None:
        written(path, one)
        raise OSError(5, "Input/output error")

    return fails


def _keys_and_papers(record: Record) -> tuple[object, object]:
    rows = rows_of(record.place)
    return rows["keys"], rows["papers"]


def test_two_who_erase_at_once_leave_a_record_that_holds(record: Record, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody else erases everything after this one looked: this one is told, and erases nothing."""
    lead, _ = people(record)
    subject = closed_case(record).subject
    later(record, 7)
    entered = erasure.enter

    def late(*given: object, **more: object) -> Recorded:
        monkeypatch.setattr(erasure, "enter", entered)
        erased(record, lead, subject, everything=True)
        return entered(*given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(erasure, "enter", late)
    with pytest.raises(ConflictError):
        erased(record, lead, subject)
    assert check_record(record).problems == ()
    (listed,) = read_list(record.place.erasures_file)
    assert len(listed.destroyed) == 2


@pytest.fixture
def closed(sqlite_record: Record) -> tuple[Record, Account, Account, str]:
    lead, surgeon = people(sqlite_record)
    return sqlite_record, lead, surgeon, closed_case(sqlite_record).subject


def test_not_before_the_time_for_which_records_are_kept(closed: tuple[Record, Account, Account, str]) -> None:
    """Seven years after the last entry, by the calendar: the 20th of February 2027 and 2034."""
    record, lead, _, subject = closed
    clock = record.clock
    assert isinstance(clock, TestClock) and START.date() == dt.date(2027, 2, 20)
    clock.now = dt.datetime(2034, 2, 20, 4, 30, tzinfo=dt.UTC)
    with pytest.raises(MoveError, match="kept until 2034-02-20"):
        erased(record, lead, subject)
    clock.now = dt.datetime(2034, 2, 20, 4, 31, tzinfo=dt.UTC)
    erased(record, lead, subject)


def test_a_note_begins_the_time_again_and_a_look_does_not(closed: tuple[Record, Account, Account, str]) -> None:
    record, _, _, subject = closed
    end = erasure.kept_until(read_case_state(record, subject), 7)
    later(record, 1)
    enter_as(record, "looked-at", subject, {"why": "asked for"})
    assert erasure.kept_until(read_case_state(record, subject), 7) == end
    enter_as(record, "noted", subject, {})
    assert erasure.kept_until(read_case_state(record, subject), 7) > end + dt.timedelta(days=365)


def enter_as(record: Record, kind: str, subject: str, details: dict[str, str]) -> None:
    seen = read_case_state(record, subject).sequence
    act_on(record, LEAD, subject, Act(kind, seen, reason="She rang again.", details=details))


def test_a_leap_day_ends_on_the_first_of_march(closed: tuple[Record, Account, Account, str]) -> None:
    record, _, _, subject = closed
    clock = record.clock
    assert isinstance(clock, TestClock)
    clock.now = dt.datetime(2028, 2, 29, 10, 0, tzinfo=dt.UTC)
    enter_as(record, "noted", subject, {})
    assert erasure.kept_until(read_case_state(record, subject), 7).date() == dt.date(2035, 3, 1)


def test_earlier_only_on_a_ground_that_is_said(closed: tuple[Record, Account, Account, str]) -> None:
    record, lead, _, subject = closed
    with pytest.raises(MoveError, match="a reason is needed"):
        erase(record, lead, subject, PASSWORDS["lead"], " ", before_retention=True)
    with pytest.raises(MoveError, match="to be kept until"):
        erased(record, lead, subject, everything=True, before_retention=True)
    erased(record, lead, subject, before_retention=True)
    body = read_case_state(record, subject).history[-1].entry.body
    assert body["before_retention"] is True and body["ground"] == REASON


def test_a_clinic_that_has_not_said_how_long_erases_nothing(
    closed: tuple[Record, Account, Account, str], clinic: Clinic
) -> None:
    record, lead, _, subject = closed
    unset = dataclasses.replace(record, clinic=clinic.model_copy(update={"retention_years": None}))
    later(record, 100)
    for early in (False, True):
        with pytest.raises(MoveError, match="law and local protocol"):
            erased(unset, lead, subject, before_retention=early)


def test_a_reason_that_names_the_patient_is_refused(closed: tuple[Record, Account, Account, str]) -> None:
    """It stays in the clear. A word that only holds the letters of a name is none."""
    record, lead, _, subject = closed
    later(record, 7)
    patient = read_case_state(record, subject).case.patient
    first = patient.name.split()[0]
    spaced = " ".join(str(patient.telephone).replace(" ", ""))
    for named in (first.upper(), f"({first},", patient.record_number, str(patient.telephone), spaced):
        with pytest.raises(MoveError, match="names the patient"):
            erase(record, lead, subject, PASSWORDS["lead"], f"Asked for by {named} in person.")
    erase(record, lead, subject, PASSWORDS["lead"], f"Asked for by un{first.lower()}ly people, section 12.")


def test_only_the_lead_with_the_password_and_only_a_closed_case(closed: tuple[Record, Account, Account, str]) -> None:
    record, lead, surgeon, subject = closed
    later(record, 7)
    opened = open_one(record).case.subject
    before = _keys_and_papers(record)
    with pytest.raises(AccessError):
        erase(record, lead, subject, "some other words", REASON)
    with pytest.raises(AccessError):
        erase(record, surgeon, subject, PASSWORDS["surgeon"], REASON)
    with pytest.raises(MoveError, match="draft"):
        erased(record, lead, opened)
    with pytest.raises(ConsentError, match="an entry alone erases nothing"):
        enter(record, lead, subject, Act("erased", 10**6, reason=REASON), PASSWORDS["lead"])
    assert _keys_and_papers(record) == before
    assert not record.place.erasures_file.exists() and check_record(record).problems == ()


def test_old_bytes_that_somebody_still_reads_are_told_and_go_with_the_next(
    closed: tuple[Record, Account, Account, str],
) -> None:
    """A reader keeps SQLite from emptying its log: sqlite.org/wal.html, "Avoiding Excessively Large WAL Files"."""
    record, lead, _, subject = closed
    another = closed_case(record).subject
    later(record, 7)
    with record.store.engine.connect() as connection:
        (old,) = connection.execute(
            KEYS.select().where(KEYS.c.subject == subject, KEYS.c.purpose == Purpose.IDENTITY.value)
        )
    with closing(sqlite3.connect(record.place.file, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM ledger").fetchall()
        with pytest.MonkeyPatch.context() as quick:
            quick.setattr("consent.record.clearing.PATIENCE_MS", 50)
            assert not erased(record, lead, subject).cleared
    assert erased(record, lead, another).cleared
    left = b"".join(path.read_bytes() for path in record.place.folder.glob("record.sqlite3*"))
    assert not [piece for piece in pieces(bytes(old.wrapped)) if piece in left]
