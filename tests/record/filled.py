"""Invented people, and what they put into a record: notes, cases with signed papers, accounts, logins, a session."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from consent.case import Case
from consent.record.accounts import THIS_MACHINE, Account, make_account
from consent.record.act import Act
from consent.record.canonical import digest
from consent.record.cases import Recorded, act_on, open_case, read_keys
from consent.record.ledger import Entry, Person, append
from consent.record.login import start_session
from consent.record.moves import Role, move
from consent.record.papers import keep_paper
from consent.record.place import Record
from consent.record.state import case_of, data_of
from tests.conftest import shipped_case

if TYPE_CHECKING:
    from sqlalchemy import Connection

SURGEON = Person("account-surgeon", "Dr Imaginary Surgeon", ("surgeon",), "INVENTED-1")
COUNSELLOR = Person("account-counsellor", "Imaginary Counsellor", ("counsellor",))
LEAD = Person("account-lead", "Imaginary Lead", ("lead",))
PASSWORDS = {"lead": "three invented words", "surgeon": "another invented phrase"}


def note(record: Record, said: Any = "seen", subject: str = "day") -> Entry:
    """One entry that is of no case, kept."""
    with record.store.writing() as connection:
        return append(connection, record.key, LEAD, "lead", "noted", subject, {"said": said}, record.clock())


def notes(record: Record, how_many: int) -> list[Entry]:
    """So many entries, each kept by itself."""
    return [note(record, number) for number in range(how_many)]


def opened_case(name: str = "ordinary") -> Case:
    """An invented case with what may stand in it on the day it is opened."""
    data = data_of(shipped_case(name))
    return case_of({part: value for part, value in data.items() if part in move("opened").parts})


def open_one(record: Record, name: str = "ordinary", person: Person = COUNSELLOR) -> Recorded:
    """An invented case, opened in the record."""
    return open_case(record, person, opened_case(name))


def fake_papers(seed: object, how_many: int = 2) -> list[bytes]:
    """Small files that only begin like signed papers."""
    return [f"%PDF-1.7\n%invented paper {seed} {number}\n%%EOF\n".encode() * 8 for number in range(how_many)]


def sealing(record: Record, seen: Recorded, files: Iterable[bytes]) -> Recorded:
    """``seen`` signed off with ``files`` as its papers, kept in the same step."""
    files = tuple(files)
    subject, code = seen.case.subject, digest(b"".join(files))
    papers = [{"sheet": "form", "languages": ["bn", "en"], "pages": 1, "digest": digest(file)} for file in files]
    described = {"stage": "consent", "version": seen.case.version, "code": code, "papers": papers}

    def keep(connection: Connection, recorded: Recorded) -> None:
        keys = read_keys(connection, record, subject)
        for file in files:
            keep_paper(connection, keys, subject, code, recorded.entry.sequence, file)

    act = Act("signed-off", seen.case.sequence, open_={"sealed": described})
    return act_on(record, SURGEON, subject, act, keep)


def explain(record: Record, seen: Recorded) -> Recorded:
    """``seen`` with the talk recorded, held when the file says, or just now where that is yet to come."""
    talk = seen.case.data["talk"]
    held = min(dt.datetime.fromisoformat(talk["at"]), record.clock())
    data = {**seen.case.data, "talk": {**talk, "at": held.isoformat()}}
    return act_on(record, COUNSELLOR, seen.case.subject, Act("explained", seen.case.sequence, data))


def signed_case(record: Record, name: str = "ordinary", how_many: int = 2) -> Recorded:
    """An invented case that was opened, told and signed off, with so many papers."""
    told = explain(record, open_one(record, name))
    return sealing(record, told, fake_papers(told.case.subject, how_many))


def people(record: Record) -> tuple[Account, Account]:
    """Two accounts: a clinic lead's and a surgeon's."""
    roles = (Role.LEAD,)
    lead = make_account(record, THIS_MACHINE, "lead", "Imaginary Lead", roles, PASSWORDS["lead"])
    surgeon = make_account(
        record, lead.person, "surgeon", SURGEON.name, (Role.SURGEON,), PASSWORDS["surgeon"], "INVENTED-1"
    )
    return lead, surgeon


def fill(record: Record) -> None:
    """About forty entries that touch every table."""
    people(record)
    for login, password in PASSWORDS.items():
        start_session(record, login, password)
    for _ in _three_cases(record):
        notes(record, 6)


def _three_cases(record: Record) -> Iterator[Recorded]:
    for name in ("ordinary", "hard", "second-eye"):
        seen = signed_case(record, name)
        yield seen
        for number in range(2):
            act_on(record, LEAD, seen.case.subject, Act("noted", seen.case.sequence, reason=f"note {number}"))
