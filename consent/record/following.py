"""What was written since somebody last looked."""

from __future__ import annotations

from consent.record.ledger import read_head
from consent.record.place import Record
from consent.record.schema import LEDGER


def written_since(record: Record, sequence: int) -> tuple[int, tuple[str, ...]]:
    """Sequence of the last entry, and the cases written to after ``sequence``, by their first entry after it.

    Raises ``RecordError`` where the end of the ledger is not the one that was stamped.
    """
    with record.store.reading() as connection:
        last = read_head(connection, record.key).sequence
        if last == sequence:
            return last, ()
        is_case = LEDGER.c.subject.startswith("case-", autoescape=True)
        rows = LEDGER.select().with_only_columns(LEDGER.c.subject).where(is_case & (LEDGER.c.sequence > sequence))
        found = dict.fromkeys(row.subject for row in connection.execute(rows.order_by(LEDGER.c.sequence)))
    return last, tuple(found)
