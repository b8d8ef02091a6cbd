"""A record of version 0001 carried over: its head is stamped anew, for the entries of accounts too."""

from __future__ import annotations

from contextlib import closing
from functools import reduce
from typing import TYPE_CHECKING

from consent.record.canonical import digest
from consent.record.keys import MasterKey
from consent.record.ledger import (
    ACCOUNTS_SUBJECT,
    FIRST_PREVIOUS,
    broken,
    chained,
    entries,
    entry_of,
    stamped_head,
    stored,
)
from consent.record.schema import HEAD

if TYPE_CHECKING:
    from sqlalchemy import Connection


def restamp(connection: Connection, key: MasterKey) -> None:
    """Stamp the head for the entries of accounts, where it was stamped without them.

    What is stamped now is believed from now on, so the whole chain is read first. Raises ``RecordError`` where it does
    not hold up to the head as it was stamped before.
    """
    head = connection.execute(HEAD.select()).one()
    if head.accounts:
        return
    if not key.stamped(head.stamp, "head", str(head.sequence), head.hash):
        raise broken("the stamp of the last entry is not this record's", "head")
    if _last(connection) != (head.sequence, head.hash):
        raise broken("the last entry is not the one that was stamped", "ledger")
    accounts = reduce(chained, (entry.hash for entry in entries(connection, ACCOUNTS_SUBJECT)), FIRST_PREVIOUS)
    connection.execute(HEAD.update().values(**stamped_head(key, head.sequence, head.hash, accounts)))


def _last(connection: Connection) -> tuple[int, str]:
    """Sequence and hash of the last entry of a chain that holds. Raises ``RecordError`` naming where it does not."""
    last = 0, FIRST_PREVIOUS
    with closing(stored(connection)) as rows:
        for sequence, content, kept in rows:
            entry = entry_of(content)
            if (entry.sequence, entry.previous, kept) != (last[0] + 1, last[1], digest(content.encode())):
                raise broken("the chain does not hold here", f"entry {sequence}")
            last = entry.sequence, entry.hash
    return last
