"""Signed files, kept once and never made again; found by their digest or by the code on a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from consent.errors import AbsentError, Problem, RecordError
from consent.record.canonical import digest
from consent.record.cases import read_case_state, read_keys
from consent.record.keys import Purpose, decrypt, encrypt
from consent.record.moves import moves
from consent.record.place import Record
from consent.record.schema import LEDGER, PAPERS
from consent.record.state import CaseState, Keys, SealedPaper, SealedSet

if TYPE_CHECKING:
    from sqlalchemy import Connection


@dataclass(frozen=True)
class Found:
    """Papers found in the record: the case, the sign-off they belong to, and the one paper where it is known."""

    case: CaseState
    sealed: SealedSet
    paper: SealedPaper | None = None


def keep_paper(connection: Connection, keys: Keys, subject: str, code: str, sequence: int, pdf: bytes) -> None:
    """Keep the signed file ``pdf`` with the entry ``sequence`` that made it."""
    name = digest(pdf)
    sealed = encrypt(keys[Purpose.IDENTITY], pdf, f"{subject} paper {name}", compress=False)
    row = {"digest": name, "subject": subject, "code": code, "sequence": sequence, "sealed": sealed}
    connection.execute(PAPERS.insert().values(**row))


def read_paper(record: Record, name: str) -> bytes:
    """The signed file with the SHA-256 ``name``. Raises ``AbsentError`` where it is not kept, or was erased."""
    with record.store.reading() as connection:
        row = connection.execute(PAPERS.select().where(PAPERS.c.digest == name)).one_or_none()
        keys = {} if row is None else read_keys(connection, record, row.subject)
    if row is None or Purpose.IDENTITY not in keys:
        raise AbsentError(Problem("this paper is not kept here", name, remedy="consent record show lists the papers"))
    return decrypt(keys[Purpose.IDENTITY], row.sealed, f"{row.subject} paper {name}", compressed=False)


def find_file(record: Record, name: str) -> Found | None:
    """The papers among which the file with the SHA-256 ``name`` is, kept or erased; None where no entry names it."""
    with record.store.reading() as connection:
        rows = connection.execute(PAPERS.select().where(PAPERS.c.digest == name)).all()
        subjects = {row.subject for row in rows} or _named_in_ledger(connection, f'"digest":"{name}')
    for subject in subjects:
        case = read_case_state(record, subject)
        for sealed in case.sets:
            for paper in sealed.papers:
                if paper.digest == name:
                    return Found(case, sealed, paper)
    return None


def find_code(record: Record, code: str) -> Found | None:
    """The papers, kept or erased, whose code, hexadecimal, is ``code`` or begins with it; None where there are none.

    Raises ``RecordError`` where several begin with it.
    """
    with record.store.reading() as connection:
        wanted = PAPERS.select().with_only_columns(PAPERS.c.subject)
        rows = connection.execute(wanted.where(PAPERS.c.code.startswith(code, autoescape=True))).all()
        subjects = {row.subject for row in rows} or _named_in_ledger(connection, f'"code":"{code}')
    cases = (read_case_state(record, subject) for subject in sorted(subjects))
    found = [Found(case, sealed) for case in cases for sealed in case.sets if sealed.code.startswith(code)]
    if len(found) > 1:
        raise RecordError(Problem("several papers begin with this code", code, remedy="read the whole code"))
    return found[0] if found else None


def _named_in_ledger(connection: Connection, named: str) -> set[str]:
    """Cases with an entry that sealed papers and says ``named`` of them: it stays when the papers are erased."""
    sealing = [kind for kind, wanted in moves().items() if wanted.seals]
    rows = LEDGER.select().with_only_columns(LEDGER.c.subject).where(LEDGER.c.kind.in_(sealing))
    return {row.subject for row in connection.execute(rows.where(LEDGER.c.content.contains(named, autoescape=True)))}
