"""A telephone that imports calendar files: of each UID the highest SEQUENCE stays, and what is cancelled is gone.

RFC 5546 section 2.1.5: of one UID, the greater SEQUENCE is the newer; if both are equal, the later DTSTAMP.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any

import recurring_ical_events
from icalendar import Calendar

from consent.drops import DropPlan
from consent.drops.calendar_file import Entry
from consent.drops.events import Run

Sittings = Counter[tuple[dt.datetime, str]]


def say(run: Run) -> Entry:
    """Words that give every drop of a sitting away, so that no two sittings look alike by chance."""
    drops = " ".join(f"{row.number}+{offset}" for row, offset in run.drops)
    return Entry(drops, f"In this order: {drops}")


def sittings_of(plan: DropPlan) -> Sittings:
    """Every sitting straight from the days of the plan."""
    return Counter(
        (
            dt.datetime.combine(day.date, session.at),
            " ".join(f"{number}+{offset}" for number, offset in session.drops),
        )
        for day in plan.sessions
        for session in day.sessions
    )


def since(sittings: Sittings, first: dt.date) -> Sittings:
    """Those on and after ``first``."""
    return Counter({sitting: count for sitting, count in sittings.items() if sitting[0].date() >= first})


def until(sittings: Sittings, end: dt.date) -> Sittings:
    """Those before ``end``."""
    return Counter({sitting: count for sitting, count in sittings.items() if sitting[0].date() < end})


class Telephone:
    """What one telephone holds after importing files one after the other."""

    def __init__(self) -> None:
        self.events: dict[str, Any] = {}

    def take(self, file: bytes) -> Telephone:
        """Import a file."""
        for event in Calendar.from_ical(file).walk("VEVENT"):
            held = self.events.get(str(event["UID"]))
            if held is None or self._revision(event) >= self._revision(held):
                self.events[str(event["UID"])] = event
        return self

    def take_if(self, file: bytes | None) -> Telephone:
        """Import a file, if there is one."""
        return self if file is None else self.take(file)

    def sittings(self) -> Sittings:
        """Every occurrence of a timed event, in local time, as recurring_ical_events expands it."""
        calendar = Calendar()
        for event in self.events.values():
            if event.get("STATUS") != "CANCELLED":
                calendar.add_component(event)
        return expanded(calendar)

    def visits(self) -> list[dt.date]:
        """Dates of the all-day events."""
        alive = (event for event in self.events.values() if event.get("STATUS") != "CANCELLED")
        return sorted(event.DTSTART for event in alive if not isinstance(event.DTSTART, dt.datetime))

    @staticmethod
    def _revision(event: Any) -> tuple[int, dt.datetime]:
        return int(event["SEQUENCE"]), event["DTSTAMP"].dt


def expanded(calendar: Any) -> Sittings:
    """Every occurrence of a timed event of ``calendar``, in local time."""
    events = recurring_ical_events.of(calendar).between(dt.date(2023, 1, 1), dt.date(2105, 12, 31))
    return Counter(
        (event.DTSTART.replace(tzinfo=None), str(event["SUMMARY"]))
        for event in events
        if isinstance(event.DTSTART, dt.datetime)
    )
