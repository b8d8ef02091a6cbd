"""The ledger: entries that are only ever added, each holding the hash of the one before."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Generator, Iterator, Mapping
from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING, Any

from consent.errors import Problem, RecordError
from consent.record.canonical import canonical, digest
from consent.record.keys import MasterKey
from consent.record.schema import HEAD, LEDGER

if TYPE_CHECKING:
    from sqlalchemy import Connection, Select

FIRST_PREVIOUS = "0" * 64
"""What the first entry names as the one before it."""
ACCOUNTS_SUBJECT = "accounts"
"""Subject of the entries that make, change and close accounts; the head stands for all of them."""
CLOCK_SUBJECT = "clock"
"""Subject of the entries that say that a clock was put right."""
CLOCK_SLACK = dt.timedelta(seconds=2)
"""By how much a clock may go back between two entries: two machines of one clinic are never quite alike."""


@dataclass(frozen=True)
class Person:
    """Who made an entry: account, name as printed, registration if licensed, and the roles held."""

    account: str
    name: str
    roles: tuple[str, ...] = ()
    registration: str | None = None


@dataclass(frozen=True)
class Entry:
    """One entry as it was recorded. ``at``: UTC; ``role``: in which of their roles the person did it."""

    sequence: int
    at: dt.datetime
    subject: str
    kind: str
    account: str
    person: str
    role: str
    body: Mapping[str, Any]
    previous: str
    hash: str


@dataclass(frozen=True)
class Head:
    """The last entry: its sequence, 0 where there is none, its hash and its time.

    ``accounts``: what ``chained`` makes of all entries of accounts.
    """

    sequence: int = 0
    hash: str = FIRST_PREVIOUS
    at: dt.datetime | None = None
    accounts: str = FIRST_PREVIOUS


def append(
    connection: Connection,
    key: MasterKey,
    person: Person,
    role: str,
    kind: str,
    subject: str,
    body: Mapping[str, Any],
    now: dt.datetime,
    clock_was_set: bool = False,
) -> Entry:
    """Add an entry after the last and return it. Call within ``Store.writing``: it is kept once that has ended.

    Raises ``RecordError`` where the end of the ledger is not the one that was stamped, or where the clock stands
    before the last entry; ``clock_was_set`` lets an entry say that the clock was put right.
    """
    head = read_head(connection, key)
    if not clock_was_set:
        _refuse_an_earlier_clock(head, now)
    content = {
        "sequence": head.sequence + 1,
        "at": _written(now),
        "subject": subject,
        "kind": kind,
        "account": person.account,
        "person": person.name,
        "role": role,
        "body": dict(body),
        "previous": head.hash,
    }
    written = canonical(content).decode()
    entry = entry_of(written)
    row = {"sequence": entry.sequence, "subject": subject, "kind": kind, "hash": entry.hash}
    connection.execute(LEDGER.insert().values(content=written, **row))
    accounts = chained(head.accounts, entry.hash) if subject == ACCOUNTS_SUBJECT else head.accounts
    connection.execute(HEAD.update().values(**stamped_head(key, entry.sequence, entry.hash, accounts)))
    return entry


def make_head(connection: Connection, key: MasterKey) -> None:
    """The head of an empty ledger."""
    connection.execute(HEAD.insert().values(only=1, **stamped_head(key, 0, FIRST_PREVIOUS, FIRST_PREVIOUS)))


def stamped_head(key: MasterKey, sequence: int, hash_: str, accounts: str) -> dict[str, Any]:
    """The columns of the head with their stamp."""
    stamp = key.stamp("head", str(sequence), hash_, accounts)
    return {"sequence": sequence, "hash": hash_, "accounts": accounts, "stamp": stamp}


def chained(before: str, hash_: str) -> str:
    """One digest for the entry with ``hash_`` and all those of which ``before`` was made in the same way."""
    return digest(f"{before}{hash_}".encode())


def account_contents(connection: Connection, key: MasterKey) -> tuple[str, ...]:
    """The entries of accounts in order, as they are kept, each proven by the stamp of the head: who may do what is
    decided by them alone.

    Raises ``RecordError`` where one was altered, put in, filed elsewhere or taken out, the last ones too.
    """
    found = tuple(content for _, content, _ in stored(connection, ACCOUNTS_SUBJECT))
    hashes = (digest(content.encode(errors="surrogatepass")) for content in found)
    if reduce(chained, hashes, FIRST_PREVIOUS) != read_head(connection, key).accounts:
        raise broken("the entries of accounts are not those that were stamped", ACCOUNTS_SUBJECT)
    return found


def read_head(connection: Connection, key: MasterKey) -> Head:
    """The last entry. Raises ``RecordError`` where head and ledger differ, or the stamp was made without the key."""
    heads = connection.execute(HEAD.select()).all()
    head = heads[0] if len(heads) == 1 else None
    last = connection.execute(LEDGER.select().order_by(LEDGER.c.sequence.desc()).limit(1)).one_or_none()
    if head is None or not key.stamped(str(head.stamp), "head", str(head.sequence), str(head.hash), str(head.accounts)):
        raise broken("the stamp of the last entry is not this record's", "head")
    if last is None:
        if head.sequence:
            raise broken(f"{head.sequence} entries were taken out of the ledger", "ledger")
        return Head()
    entry = entry_of(last.content)
    if (last.sequence, entry.hash) != (head.sequence, head.hash):
        raise broken("the last entry is not the one that was stamped", f"entry {last.sequence}")
    return Head(entry.sequence, entry.hash, entry.at, head.accounts)


def entries(connection: Connection, subject: str | None = None, after: int = 0) -> Iterator[Entry]:
    """Entries in order, of one ``subject`` or of all, with a sequence above ``after``."""
    for _, content, _ in stored(connection, subject, after):
        yield entry_of(content)


def stored(connection: Connection, subject: str | None = None, after: int = 0) -> Generator[tuple[int, str, str]]:
    """Sequence, content and hash of each row, as they are kept."""
    rows: Select[Any] = LEDGER.select().with_only_columns(LEDGER.c.sequence, LEDGER.c.content, LEDGER.c.hash)
    if subject is not None:
        rows = rows.where(LEDGER.c.subject == subject)
    rows = rows.where(LEDGER.c.sequence > after).order_by(LEDGER.c.sequence)
    with connection.execute(rows.execution_options(yield_per=1000)) as found:
        for row in found:
            yield row.sequence, row.content, row.hash


def stored_hash(connection: Connection, sequence: int) -> str | None:
    """The hash of the entry ``sequence`` as it is kept, or None where there is no such entry."""
    found: str | None = connection.execute(
        LEDGER.select().with_only_columns(LEDGER.c.hash).where(LEDGER.c.sequence == sequence)
    ).scalar_one_or_none()
    return found


def entry_of(content: str) -> Entry:
    """The entry that ``content`` holds. Raises ``RecordError`` where it holds none."""
    try:
        read = json.loads(content)
        return Entry(**{**read, "at": dt.datetime.fromisoformat(read["at"]), "hash": digest(content.encode())})
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as failure:
        raise broken("an entry cannot be read", content[:40]) from failure


def broken(what: str, where: str) -> RecordError:
    """The error for a ledger that does not hold together."""
    return RecordError(
        Problem(
            what,
            where,
            "somebody altered the record past this program, or the disk did",
            "stop writing, keep a copy of the record as it is, run consent record check, and compare with a backup",
        )
    )


def _refuse_an_earlier_clock(head: Head, now: dt.datetime) -> None:
    if head.at is None or now >= head.at - CLOCK_SLACK:
        return
    raise RecordError(
        Problem(
            f"the clock of this machine says {_written(now)}, but the last entry was made at {_written(head.at)}",
            "clock",
            "entries would seem to have been made before those they rest on",
            "set the clock right; if the earlier entries were made with a wrong clock, the clinic lead says so with "
            "consent record clock",
        )
    )


def _written(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).isoformat(timespec="microseconds")
