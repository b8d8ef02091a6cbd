"""What a patient is handed: all of it, readable, whole, of nobody else, and known to the record."""

from __future__ import annotations

import errno
import json
import re
from collections.abc import Iterator, Mapping
from functools import cache
from hashlib import sha256
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher

from consent.case import read_case
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.compose import Voice
from consent.errors import AccessError, CaseError, ConsentError, MachineError, UsageError
from consent.record import accounts
from consent.record import export as exporting
from consent.record.accounts import Account, named, read_accounts, set_password
from consent.record.act import Act
from consent.record.cases import Recorded, act_on, open_case, read_case_state
from consent.record.checking import check_record
from consent.record.entering import REFUSALS
from consent.record.erasure import erase
from consent.record.export import export
from consent.record.export_page import parts_of
from consent.record.ledger import Entry, entries
from consent.record.place import Record
from consent.record.state import case_of, data_of
from tests.editing import edited
from tests.record.clock import TestClock
from tests.record.filled import COUNSELLOR, LEAD, fake_papers, open_one, opened_case, people, sealing, signed_case

WHY = "She asked for a copy on 20 February 2027."


class Page(HTMLParser):
    """The words of a page and what it points to, as a reader without our templates sees them."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.links: list[str] = []
        self._words: list[str] = []
        self.feed(html)
        self.words = re.sub(r"\s+", " ", " ".join(self._words))

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.links += [value or "" for name, value in attributes if name in ("href", "src")]

    def handle_data(self, data: str) -> None:
        self._words.append(data)


def leaves(tree: Any) -> Iterator[Any]:
    if isinstance(tree, Mapping):
        for value in tree.values():
            yield from leaves(value)
    elif isinstance(tree, list):
        for value in tree:
            yield from leaves(value)
    else:
        yield tree


def of_subject(record: Record, subject: str) -> list[Entry]:
    with record.store.reading() as connection:
        return list(entries(connection, subject))


def handed(record: Record, account: Account, case: Recorded, folder: Path) -> Page:
    export(record, account, case.case.subject, folder, WHY)
    return Page((folder / "index.html").read_text(encoding="utf-8"))


@pytest.fixture(autouse=True)
def _quick_passwords(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a password costs to try is tested where its parameters are."""
    monkeypatch.setattr(accounts, "hasher", cache(lambda: PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)))


@pytest.fixture
def lead(record: Record) -> Account:
    return people(record)[0]


def test_every_entry_and_every_fact_of_the_case_is_handed_out(record: Record, lead: Account, tmp_path: Path) -> None:
    case = signed_case(record)
    act_on(record, LEAD, case.case.subject, Act("noted", case.case.sequence, reason="Her son telephoned."))
    page = handed(record, lead, case, tmp_path / "out")
    (told,) = json.loads((tmp_path / "out" / "record.json").read_text(encoding="utf-8"))
    wanted = [(e.sequence, e.kind, e.person, e.hash) for e in of_subject(record, case.case.subject)]
    assert [(e["sequence"], e["kind"], e["person"], e["hash"]) for e in told["entries"]] == wanted
    assert [kind for _, kind, _, _ in wanted] == ["opened", "explained", "signed-off", "noted", "exported"]
    words = {leaf for leaf in leaves(dict(case.case.data)) if isinstance(leaf, str) and not leaf[:4].isdigit()}
    lacking = {word for word in words - {"unknown", "not asked", "bn"} if word not in page.words}
    assert not lacking
    assert "12 April 1961" in page.words
    assert "Her son telephoned." in page.words
    assert WHY in page.words


def test_the_page_leaves_out_no_number_either(clinic: Clinic) -> None:
    data = data_of(opened_case("hard"))
    told = [said for part in parts_of(data, Voice(("en",), clinic.digits)) for _, said in part.facts]
    numbers = [leaf for leaf in leaves({**data, "schema": 0, "version": 0}) if isinstance(leaf, float) and leaf]
    assert len(numbers) > 10
    assert all(str(number) in told for number in numbers)


def test_the_case_file_is_one_that_the_program_reads_again(record: Record, lead: Account, tmp_path: Path) -> None:
    case = signed_case(record)
    handed(record, lead, case, tmp_path / "out")
    assert read_case(tmp_path / "out" / f"{case.case.subject}.json") == case.case.case


def test_the_signed_files_are_those_that_the_ledger_names(record: Record, lead: Account, tmp_path: Path) -> None:
    case = signed_case(record, how_many=1)
    page = handed(record, lead, case, tmp_path / "out")
    (sealed,) = (e.body["sealed"] for e in of_subject(record, case.case.subject) if "sealed" in e.body)
    found = {sha256(path.read_bytes()).hexdigest() for path in (tmp_path / "out" / "papers").iterdir()}  # FIPS 180-4
    assert found == {paper["digest"] for paper in sealed["papers"]}
    assert [path.read_bytes() for path in (tmp_path / "out" / "papers").iterdir()] == fake_papers(case.case.subject, 1)
    assert sum(link.startswith("papers/") for link in page.links) == len(found)


def test_papers_that_are_void_are_handed_out_and_say_so(record: Record, lead: Account, tmp_path: Path) -> None:
    first = signed_case(record, how_many=1)
    subject = first.case.subject
    surgeon = people_surgeon(record)
    act_on(record, surgeon.person, subject, Act("sent-back", first.case.sequence, reason="The other lens."))
    told = act_on(record, COUNSELLOR, subject, Act("explained", read_case_state(record, subject).sequence))
    sealing(record, told, fake_papers("second", 1))
    page = handed(record, lead, first, tmp_path / "out")
    names = sorted(path.name for path in (tmp_path / "out" / "papers").iterdir())
    assert [name.rsplit(".", 2)[1] for name in names] == ["void", "holds"]
    assert "Signed papers that no longer hold" in page.words
    assert "void since 20 February 2027" in page.words


def people_surgeon(record: Record) -> Account:
    with record.store.reading() as connection:
        return named(read_accounts(connection, record.key), "surgeon")


def test_all_cases_of_the_patient_and_of_nobody_else(record: Record, lead: Account, tmp_path: Path) -> None:
    one, other, stranger = open_one(record), open_one(record), open_one(record, "hard")
    page = handed(record, lead, one, tmp_path / "out")
    assert {path.name for path in (tmp_path / "out").glob("case-*.json")} == {
        f"{one.case.subject}.json",
        f"{other.case.subject}.json",
    }
    handed_out = b"".join(path.read_bytes() for path in (tmp_path / "out").rglob("*") if path.is_file())
    patient = stranger.case.case.patient
    assert one.case.case.patient.name.encode() in handed_out
    assert patient.name.encode() not in handed_out
    assert patient.record_number.encode() not in handed_out
    assert stranger.case.subject not in page.words
    kinds = {name: [e.kind for e in of_subject(record, name)] for name in (one.case.subject, other.case.subject)}
    assert all(kind == ["opened", "exported"] for kind in kinds.values())
    assert [e.kind for e in of_subject(record, stranger.case.subject)] == ["opened"]


def test_each_handing_out_is_an_entry_with_its_reason(record: Record, lead: Account, tmp_path: Path) -> None:
    case = open_one(record)
    handed(record, lead, case, tmp_path / "out")
    told = read_case_state(record, case.case.subject).history[-1]
    assert (told.entry.kind, told.entry.account, told.details["reason"]) == ("exported", lead.id, WHY)
    assert WHY not in json.dumps(dict(told.entry.body))
    assert check_record(record).problems == ()


def test_only_a_lead_hands_out_and_a_refusal_leaves_nothing_but_its_entry(
    record: Record, lead: Account, tmp_path: Path
) -> None:
    case = open_one(record)
    with pytest.raises(AccessError):
        export(record, people_surgeon(record), case.case.subject, tmp_path / "out", WHY)
    assert not (tmp_path / "out").exists()
    assert [e.kind for e in of_subject(record, case.case.subject)] == ["opened"]
    assert [e.body["kind"] for e in of_subject(record, REFUSALS)] == ["exported"]


@pytest.mark.parametrize("there", ["a file in it", "a file"])
def test_nothing_is_handed_out_into_a_folder_that_holds_something(
    sqlite_record: Record, tmp_path: Path, there: str
) -> None:
    lead, _ = people(sqlite_record)
    case = open_one(sqlite_record)
    folder = tmp_path / "out"
    other = folder / "another.pdf" if there == "a file in it" else folder
    other.parent.mkdir(exist_ok=True)
    other.write_text("of another patient")
    with pytest.raises(UsageError):
        export(sqlite_record, lead, case.case.subject, folder, WHY)
    assert [path for path in tmp_path.rglob("*") if path.is_file() and "record" not in path.parts] == [other]
    assert [e.kind for e in of_subject(sqlite_record, case.case.subject)] == ["opened"]


def test_an_empty_folder_is_used_and_becomes_its_owners_alone(sqlite_record: Record, tmp_path: Path) -> None:
    lead, _ = people(sqlite_record)
    folder = tmp_path / "out"
    folder.mkdir(mode=0o755)
    handed(sqlite_record, lead, open_one(sqlite_record), folder)
    assert folder.stat().st_mode & 0o777 == 0o700


def test_a_full_disk_leaves_no_half_of_it(
    sqlite_record: Record, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lead, _ = people(sqlite_record)
    case = signed_case(sqlite_record)
    whole = exporting.write_whole
    written: list[Path] = []

    def full(path: Path, content: bytes) -> None:
        if written:
            raise OSError(errno.ENOSPC, "No space left on device")
        written.append(path)
        whole(path, content)

    monkeypatch.setattr(exporting, "write_whole", full)
    with pytest.raises(MachineError, match="No space left"):
        export(sqlite_record, lead, case.case.subject, tmp_path / "out", WHY)
    assert written
    assert {path.name for path in tmp_path.iterdir()} == {"record"}


def test_markup_that_somebody_entered_stays_words(sqlite_record: Record, tmp_path: Path) -> None:
    lead, _ = people(sqlite_record)
    attack = '<script src="https://example.org/x.js">alert(1)</script><img src=x onerror=alert(1)>'
    changes = {"patient.name": f"Shanti {attack}"[:190], "patient.drops_helper": attack}
    whole = case_of(edited(data_of(opened_case()), changes))
    case = open_case(sqlite_record, COUNSELLOR, whole)
    act_on(sqlite_record, LEAD, case.case.subject, Act("noted", case.case.sequence, reason=attack))
    page = handed(sqlite_record, lead, case, tmp_path / "out")
    assert not page.tags & {"script", "img", "iframe", "object", "link"}
    assert page.words.count("alert(1)") >= 6, "the words themselves are not lost"


def test_the_page_is_complete_in_itself(sqlite_record: Record, tmp_path: Path) -> None:
    lead, _ = people(sqlite_record)
    page = handed(sqlite_record, lead, signed_case(sqlite_record), tmp_path / "out")
    assert page.links
    assert all((tmp_path / "out" / link).is_file() for link in page.links), "every link is a file of the folder"
    text = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert not re.search(r"https?:|url\(|@import", text)
    assert {"html", "title", "meta", "h1"} <= page.tags


def test_of_an_erased_patient_nothing_is_handed_out(sqlite_record: Record, tmp_path: Path, clock: TestClock) -> None:
    lead, surgeon = people(sqlite_record)
    set_password(sqlite_record, lead.person, "lead", "seven invented words more")
    case = open_one(sqlite_record)
    subject = case.case.subject
    data = edited(dict(case.case.data), {"talk": {"outcome": "refuses"}})
    declined = act_on(sqlite_record, surgeon.person, subject, Act("declined", case.case.sequence, data))
    act_on(sqlite_record, surgeon.person, subject, Act("closed", declined.case.sequence))
    clock.advance(days=366 * 8)
    erase(sqlite_record, lead, subject, "seven invented words more", "The time for which it is kept has ended.")
    before = len(of_subject(sqlite_record, subject))
    with pytest.raises(ConsentError, match="erased"):
        export(sqlite_record, lead, subject, tmp_path / "out", WHY)
    assert not (tmp_path / "out").exists()
    assert len(of_subject(sqlite_record, subject)) == before


def test_a_case_that_lacks_all_but_the_least_is_handed_out_too(sqlite_record: Record, tmp_path: Path) -> None:
    patient = {"name": "Ama Example", "record_number": "DEMO-0099", "language": "hi", "age_years": 70}
    plan = {"side": "left", "date": "2027-02-24", "surgeon": {"name": "Dr Asha Invented", "registration": "INVENTED-2"}}
    least = {"schema": 1, "patient": patient, "eye": {"side": "left"}, "plan": plan}
    case = validate(least, type(opened_case()), CaseError, where="least")
    lead, _ = people(sqlite_record)
    page = handed(sqlite_record, lead, open_case(sqlite_record, COUNSELLOR, case), tmp_path / "out")
    assert "Ama Example" in page.words


def test_two_papers_of_one_sheet_are_two_files(sqlite_record: Record, tmp_path: Path) -> None:
    """Whatever a sign-off calls its papers, none takes the place of another; SHA-256 (FIPS 180-4) by hashlib."""
    lead, _ = people(sqlite_record)
    case = signed_case(sqlite_record, how_many=3)
    handed(sqlite_record, lead, case, tmp_path / "out")
    found = {sha256(path.read_bytes()).hexdigest() for path in (tmp_path / "out" / "papers").iterdir()}
    assert found == {paper.digest for sealed in case.case.sets for paper in sealed.papers} and len(found) == 3
