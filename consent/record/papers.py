"""Signed files, kept once and never made again; found by their digest or by the code on a page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from consent.errors import Problem, RecordError
from consent.record.canonical import digest
from consent.record.cases import read_case_state, read_keys
from consent.record.keys import Purpose, decrypt, encrypt
from consent.record.place import Record
from consent.record.schema import PAPERS
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
    """The signed file with the SHA-256 ``name``. Raises ``RecordError`` where it is not kept, or was erased."""
    with record.store.reading() as connection:
        row = connection.execute(PAPERS.select().where(PAPERS.c.digest == name)).one_or_none()
        keys = {} if row is None else read_keys(connection, record, row.subject)
    if row is None or Purpose.IDENTITY not in keys:
        raise RecordError(Problem("this paper is not kept here", name, remedy="consent record show lists the papers"))
    return decrypt(keys[Purpose.IDENTITY], row.sealed, f"{row.subject} paper {name}", compressed=False)


def find_file(record: Record, name: str) -> Found | None:
    """The papers among which the file with the SHA-256 ``name`` is, or None where no such file is kept."""
    with record.store.reading() as connection:
        row = connection.execute(PAPERS.select().where(PAPERS.c.digest == name)).one_or_none()
    if row is None:
        return None
    case = read_case_state(record, row.subject)
    sealed = next(one for one in case.sets if one.code == row.code)
    return Found(case, sealed, next(paper for paper in sealed.papers if paper.digest == name))


def find_code(record: Record, code: str) -> Found | None:
    """The papers whose code, hexadecimal, is ``code`` or begins with it; None where there are none.

    Raises ``RecordError`` where several begin with it.
    """
    with record.store.reading() as connection:
        wanted = PAPERS.select().with_only_columns(PAPERS.c.subject, PAPERS.c.code)
        rows = connection.execute(wanted.where(PAPERS.c.code.like(f"{code}%")).distinct()).all()
    if not rows:
        return None
    if len(rows) > 1:
        raise RecordError(Problem("several papers begin with this code", code, remedy="read the whole code"))
    case = read_case_state(record, rows[0].subject)
    return Found(case, next(one for one in case.sets if one.code == rows[0].code))
