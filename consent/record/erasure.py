"""Erasing a patient's identity: the key is destroyed, the papers are taken out, the chain stays whole."""

from __future__ import annotations

import datetime as dt
import os
from typing import TYPE_CHECKING

from consent.errors import MoveError, Problem
from consent.record.accounts import Account
from consent.record.act import Act
from consent.record.cases import Recorded, read_case_state
from consent.record.entering import enter
from consent.record.keys import Purpose
from consent.record.place import Place, Record
from consent.record.schema import KEYS, PAPERS
from consent.record.state import CaseState

if TYPE_CHECKING:
    from sqlalchemy import Connection


def erase(
    record: Record,
    account: Account,
    subject: str,
    password: str,
    reason: str,
    everything: bool = False,
    before_retention: bool = False,
) -> Recorded:
    """Destroy the key to the identity of the closed case ``subject`` and its papers; with ``everything``, to what was
    found and done as well. What stays: who of the staff entered what kind of thing and when, states, digests.

    Not before the clinic's retention has ended since the last entry, unless ``before_retention``, and then ``reason``
    names the legal ground; it is kept in the clear. Raises ``MoveError`` or ``AccessError``.
    """
    case = read_case_state(record, subject)
    _refuse_too_early(record, case, before_retention)
    gone = [purpose.value for purpose in (Purpose if everything else (Purpose.IDENTITY,))]
    act = Act("erased", case.sequence, reason=reason, open_={"destroyed": gone, "ground": reason})

    def destroy(connection: Connection, recorded: Recorded) -> None:
        destroy_keys(connection, subject, gone)
        note_erasure(record.place, subject, recorded.entry.at, gone)

    recorded = enter(record, account, subject, act, password, destroy)
    forget_pages(record)
    return recorded


def destroy_keys(connection: Connection, subject: str, purposes: list[str]) -> None:
    """Take out the keys of ``subject`` for ``purposes``, and its papers, which only the identity's key opens."""
    connection.execute(KEYS.delete().where(KEYS.c.subject == subject, KEYS.c.purpose.in_(purposes)))
    connection.execute(PAPERS.delete().where(PAPERS.c.subject == subject))


def note_erasure(place: Place, subject: str, at: dt.datetime, purposes: list[str]) -> None:
    """Add the erasure to the list beside the key, which outlives a restore of an older backup."""
    with os.fdopen(os.open(place.erasures_file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "a") as file:
        file.write(f"{subject} {at.isoformat()} {','.join(purposes)}\n")
        file.flush()
        os.fsync(file.fileno())


def noted_erasures(text: str) -> dict[str, list[str]]:
    """What a list of erasures says was destroyed, by case."""
    rows = (line.split() for line in text.splitlines() if line.strip())
    return {subject: purposes.split(",") for subject, _, purposes in rows}


def forget_pages(record: Record) -> None:
    """Write the emptied pages over those in the SQLite file now, and empty its log, where old pages would linger.

    On PostgreSQL old rows go with the server's own VACUUM and log files: whoever keeps the server sees to that.
    """
    if record.store.is_sqlite:
        with record.store.engine.connect() as connection:
            driver = connection.connection.driver_connection
            if driver is not None:
                driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _refuse_too_early(record: Record, case: CaseState, before_retention: bool) -> None:
    years = record.clinic.retention_years
    if before_retention:
        return
    if years is None:
        raise MoveError(
            Problem(
                "the clinic has not set for how long records are kept",
                "clinic: retention_years",
                "law and local protocol say for how long; this program does not know them",
                "set it, or name the legal ground and say that it is before the end of retention",
            )
        )
    last = case.history[-1].entry.at
    end = last + dt.timedelta(days=round(365.25 * years))
    if record.clock() < end:
        raise MoveError(
            Problem(
                f"the record is to be kept until {end:%Y-%m-%d}",
                case.subject,
                f"the clinic keeps records for {years} years after the last entry",
                "wait, or name the legal ground and say that it is before the end of retention",
            )
        )
