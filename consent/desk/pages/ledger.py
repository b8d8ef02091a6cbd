"""The ledger: who did what when, without what it says of patients; and whether it holds together."""

from __future__ import annotations

from litestar.response import Redirect, Template

from consent.desk.here import Here, Visitor
from consent.desk.ledger_lines import ledger_lines
from consent.desk.routes import entered, shown
from consent.record.accounts import read_accounts
from consent.record.checking import Checked
from consent.record.ledger import Entry, entry_of, read_head
from consent.record.moves import Role
from consent.record.schema import LEDGER

READERS = (Role.LEAD, Role.AUDITOR)
A_PAGE = 50
SECONDS_A_CASE = 0.002
"""What a case takes in a check, measured; the bar follows it, nothing else does."""


@shown("/ledger", READERS)
def show_ledger(here: Here, until: int = 0) -> Template:
    """Fifty entries up to ``until``, the last first; nothing of them but kind, person, role and moment."""
    return _page(here, until)


@entered("/ledger", READERS)
def check(here: Here) -> Redirect:
    """Hold the whole record against its chain; the waiting page leads to what was found."""
    seconds = 1 + len(here.office.shelf.cases()) * SECONDS_A_CASE
    piece = here.office.work.begin("check", {}, here.me.id, "work.checking", seconds, "/ledger/checked")
    return here.go(f"/making/{piece.id}")


@shown("/ledger/checked/{name:str}", READERS)
def show_checked(here: Here, name: str) -> Template:
    """What the check found, above the ledger."""
    piece = here.office.work.piece(name, here.me.id)
    found = piece.outcome.told if piece is not None and piece.done else None
    return _page(here, 0, found if isinstance(found, Checked) else None)


def _page(here: Visitor, until: int, checked: Checked | None = None) -> Template:
    with here.office.record.store.reading() as connection:
        head = read_head(connection, here.office.record.key)
        last = min(until, head.sequence) if until > 0 else head.sequence
        wanted = (LEDGER.c.sequence <= last) & (LEDGER.c.sequence > last - A_PAGE)
        rows = connection.execute(LEDGER.select().where(wanted).order_by(LEDGER.c.sequence.desc()))
        found: list[Entry] = [entry_of(row.content) for row in rows]
        accounts = read_accounts(connection, here.office.record.key)
    before = last - A_PAGE if last > A_PAGE else 0
    after = min(last + A_PAGE, head.sequence) if last < head.sequence else 0
    lines = ledger_lines(here.words, found, accounts)
    return here.page("ledger.html", lines=lines, head=head, before=before, after=after, checked=checked)


HANDLERS = [show_ledger, check, show_checked]
