"""The clinic's settings as they were at any time: each change is an entry, with its whole text."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from consent.errors import ConflictError, Problem
from consent.record.accounts import Account, read_accounts, refuse_not_lead
from consent.record.canonical import digest
from consent.record.ledger import append, entries
from consent.record.moves import Role
from consent.record.place import Record
from consent.wording import remark

SETTINGS = "settings"
"""Subject of the entries that say what the settings were."""


@dataclass(frozen=True)
class Kept:
    """The settings after one change: the entry, who made it and when, the whole text, and why."""

    sequence: int
    at: dt.datetime
    person: str
    text: str
    why: str


def history(record: Record) -> tuple[Kept, ...]:
    """Every version that was kept, the last one first."""
    with record.store.reading() as connection:
        found = [
            Kept(entry.sequence, entry.at, entry.person, entry.body["text"], entry.body["why"])
            for entry in entries(connection, SETTINGS)
        ]
    return tuple(reversed(found))


def keep_settings(
    record: Record, account: Account, before: str, after: str, why: str, write: Callable[[], None]
) -> int:
    """Keep ``after`` as the settings from now on, and return the sequence of the entry; ``write`` puts it in its file.

    ``before``, what it was made from, is kept first where it is not the last that is known: somebody changed the file
    by hand. Raises ``ConflictError`` where another lead changed the settings since, ``AccessError`` for anybody but a
    lead as accounts are now. Where ``write`` fails nothing is kept.
    """
    with record.store.writing() as connection:
        refuse_not_lead(read_accounts(connection, record.key), account.person)
        known = [entry.body["text"] for entry in entries(connection, SETTINGS)]
        if before in known and known[-1] != before:
            words = remark("problem.settings-meanwhile")
            raise ConflictError(
                Problem("the settings were changed meanwhile", SETTINGS, "", "look at them again", words)
            )
        for text, said in ((before, "as found"), (after, why)):
            if text is after or not known or known[-1] != before:
                body = {"text": text, "digest": digest(text.encode()), "why": said}
                entry = append(
                    connection, record.key, account.person, Role.LEAD, "settings-kept", SETTINGS, body, record.clock()
                )
        write()
    return entry.sequence
