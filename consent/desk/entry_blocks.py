"""The entries of a case as they are read one after another: what one person changed within one sitting is one block."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from markupsafe import Markup

from consent.desk.entry_lines import EntryLine, told_lines
from consent.desk.here import Visitor
from consent.desk.since import ONE_SITTING
from consent.language import Said
from consent.record.state import CaseState, Told

_CHANGED = "changed"
"""The kind of entry of which several are read as one; every other one stands for itself."""
LONG = 8
"""A block of more lines is folded."""


@dataclass(frozen=True)
class EntryBlock:
    """Entries of one person within one sitting under one heading, the newest first. ``when``: from when to when."""

    when: Markup
    who: Markup
    what: Markup
    entries: tuple[EntryLine, ...]

    @property
    def size(self) -> int:
        """How many lines say what was changed."""
        return sum(len(entry.changes) for entry in self.entries)

    @property
    def is_long(self) -> bool:
        """Whether it is folded."""
        return self.size > LONG


def entry_blocks(here: Visitor, case: CaseState) -> tuple[EntryBlock, ...]:
    """Every entry of ``case``, the newest first; what one person changed within one sitting stands together."""
    found = list(told_lines(here, case))
    sittings = _sittings([told for told, _ in found])
    together = groupby(reversed(found), key=lambda one: sittings[one[0].entry.sequence])
    return tuple(_block(here, list(group)) for _, group in together)


def _sittings(history: list[Told]) -> dict[int, int]:
    """For each entry, by its sequence, the first one of the block it belongs to."""
    found: dict[int, int] = {}
    before: Told | None = None
    for told in history:
        here = told.entry.sequence
        joined = before is not None and _in_one_sitting(before, told)
        found[here] = found[before.entry.sequence] if before is not None and joined else here
        before = told
    return found


def _in_one_sitting(before: Told, told: Told) -> bool:
    one, other = before.entry, told.entry
    alike = (one.kind, one.account, one.person, one.role) == (_CHANGED, other.account, other.person, other.role)
    return alike and other.kind == _CHANGED and other.at - one.at < ONE_SITTING


def _block(here: Visitor, found: list[tuple[Told, EntryLine]]) -> EntryBlock:
    (last, line), (first, _) = found[0], found[-1]
    zone = here.office.zone
    start, end = (told.entry.at.astimezone(zone).replace(second=0, microsecond=0) for told in (first, last))
    when = line.when
    if end.date() != start.date():
        when = here.words.say("entry.from-to", first=_moment(here, first), last=_moment(here, last))
    elif end != start:
        when = here.words.say("entry.between", date=start.date(), first=start.time(), last=end.time())
    return EntryBlock(when, line.who, line.what, tuple(one for _, one in found))


def _moment(here: Visitor, told: Told) -> Said:
    at = told.entry.at.astimezone(here.office.zone)
    return here.words.said("page.moment", date=at.date(), time=at.time().replace(second=0, microsecond=0))
