"""What a telephone may hold of an earlier calendar file, and how a new one takes back what no longer holds."""

from __future__ import annotations

import copy
import datetime as dt
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from consent.drops.events import Run
from consent.errors import DropsError, Problem

if TYPE_CHECKING:
    from icalendar import Calendar, Event


@dataclass(frozen=True)
class Held:
    """An event as an earlier file put it on a telephone, or would: its first and last local dates.

    ``sequence``: the revision it belongs to (RFC 5545 section 3.8.7.4). ``in_file``: read from a file, so that it can
    be handed on as it is. ``void_from``: where a later version is known not to tell it, the day that one began.
    """

    event: Event
    first: dt.date
    last: dt.date
    sequence: int
    whole_day: bool
    in_file: bool
    void_from: dt.date = dt.date.max

    @property
    def is_cancelled(self) -> bool:
        """Whether it was taken back already (RFC 5545 section 3.8.1.11)."""
        return str(self.event.get("STATUS", "")) == "CANCELLED"


def uid_prefix(key: str) -> str:
    """Begin of every UID that belongs to ``key``, hashed; short, since the code on paper carries it with each event."""
    return hashlib.sha256(key.encode()).hexdigest()[:8] + "-"


def uid_of(run: Run, prefix: str) -> str:
    """UID of ``run`` (RFC 5545 section 3.8.4.7): it follows from its start alone, so that a new version updates it."""
    return f"{prefix}{run.first:%y%m%d%H%M}"


def read_held(content: bytes, prefix: str, zone: dt.tzinfo, where: str) -> dict[str, Held]:
    """Return the events of the calendar file ``content`` whose UIDs begin with ``prefix``, by UID.

    Telephones export times in UTC, without a zone or in one of their own: such events are put into ``zone``.
    Raises ``DropsError`` at ``where`` if the file, or an event of ours in it, cannot be read.
    """
    held: dict[str, Held] = {}
    try:
        for event in _parse(content).events:
            uid = str(event["UID"])
            if uid.startswith(prefix):
                held[uid] = held_of(_in_zone(event, zone), in_file=True)
    except (ValueError, KeyError, AttributeError, TypeError, IndexError) as error:
        raise DropsError(
            Problem(
                "the calendar file of an earlier version cannot be read",
                where,
                "drops it put on a telephone could not be taken back",
                "put an unharmed copy in its place; or move it away and have the old entries deleted by hand",
            )
        ) from error
    return held


ORIGIN = "X-DROPS-FROM"
"""Property of our own (RFC 5545 section 3.8.8.2): whose calendar it is, and the first date it is about."""


def read_origin(content: bytes, prefix: str) -> Iterator[dt.date]:
    """Yield the first date the file ``content`` says our calendar is about, if it says so.

    ``content`` must have been read before by ``read_held``.
    """
    said = str(_parse(content).get(ORIGIN, ""))
    if re.fullmatch(re.escape(prefix) + r"\d{8}", said):
        yield dt.date.fromisoformat(said.removeprefix(prefix))


def held_of(event: Event, in_file: bool) -> Held:
    """What ``event`` puts on a telephone. Raises ``KeyError`` or ``ValueError`` for an event that is not whole."""
    start, sequence = _start(event), int(event.get("SEQUENCE", 0))
    if not isinstance(start, dt.datetime):
        return Held(event, start, start, sequence, whole_day=True, in_file=in_file)
    rule: Any = event.get("RRULE")
    last = rule["UNTIL"][0].astimezone(start.tzinfo).date() if rule else start.date()
    return Held(event, start.date(), last, sequence, whole_day=False, in_file=in_file)


def tzid_of(event: Event) -> str | None:
    """TZID of the start of ``event``; ``None`` for a whole day, and for a time in UTC or without a zone."""
    tzid = event["DTSTART"].params.get("TZID")
    return None if tzid is None else str(tzid)


def _in_zone(event: Event, zone: dt.tzinfo) -> Event:
    """``event`` with its start in a zone that everyone knows, as this program writes it: its own, or else ``zone``."""
    start = _start(event)
    if not isinstance(start, dt.datetime) or _is_known(tzid_of(event)):
        return event
    moved = copy.deepcopy(event)
    at = _moment(start, zone).astimezone(zone)
    moved.pop("DTSTART")
    moved.add("dtstart", at)
    rule: Any = moved.pop("RRULE", None)
    if rule:
        moved.add("rrule", {"freq": "DAILY", "until": [_moment(_end(rule, at), zone).astimezone(dt.UTC)]})
    return moved


def _end(rule: Any, start: dt.datetime) -> dt.datetime:
    """UNTIL of ``rule``; where it is a date, the sitting of that day."""
    until = rule["UNTIL"][0]
    return until if isinstance(until, dt.datetime) else dt.datetime.combine(until, start.time())


def _moment(at: dt.datetime, zone: dt.tzinfo) -> dt.datetime:
    """``at``, in ``zone`` where it has none."""
    return at if at.tzinfo is not None else at.replace(tzinfo=zone)


def _is_known(tzid: str | None) -> bool:
    from zoneinfo import ZoneInfo

    try:
        return tzid is not None and bool(ZoneInfo(tzid))
    except (ValueError, OSError, KeyError):
        return False


def _start(event: Event) -> dt.date:
    start = event.DTSTART
    if not isinstance(start, dt.date):
        raise ValueError("an event without a start")
    return start


def merge(older: dict[str, Held], newer: dict[str, Held]) -> dict[str, Held]:
    """Both by UID. Of two, the one that reaches further: what must be taken back is what anyone was told."""
    merged = {**older, **newer}
    for uid in older.keys() & newer.keys():
        if not older[uid].is_cancelled and older[uid].last > newer[uid].last:
            merged[uid] = replace(older[uid], void_from=newer[uid].void_from)
    return merged


def cut(held: Held, last: dt.date) -> Event:
    """The event ended with the day ``last``: same UID, same first day, an earlier UNTIL."""
    event = copy.deepcopy(held.event)
    start = _start(event)
    event.pop("RRULE", None)
    if last > held.first and isinstance(start, dt.datetime):
        until = dt.datetime.combine(last, start.time(), start.tzinfo).astimezone(dt.UTC)
        event.add("rrule", {"freq": "DAILY", "until": [until]})
    return event


def cancel(held: Held, words: str) -> Event:
    """The event taken back, RFC 5545 section 3.8.1.11.

    It neither repeats nor rings, and reads ``words``, so that a telephone that knows no STATUS shows no dose.
    """
    event = copy.deepcopy(held.event)
    for name in ("RRULE", "DESCRIPTION", "SUMMARY", "STATUS"):
        event.pop(name, None)
    event.subcomponents.clear()
    event.add("summary", words)
    event.add("status", "CANCELLED")
    return event


def _parse(content: bytes) -> Calendar:
    from icalendar import Calendar

    calendar = Calendar.from_ical(content)
    if not isinstance(calendar, Calendar):
        raise ValueError("no calendar")
    return calendar
