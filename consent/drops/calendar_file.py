"""The drop calendar as a file for a telephone (RFC 5545): one event for each sitting."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from consent.drops.events import Run, make_runs
from consent.drops.held_before import (
    ORIGIN,
    Held,
    cancel,
    cut,
    held_of,
    merge,
    read_held,
    read_origin,
    tzid_of,
    uid_of,
    uid_prefix,
)
from consent.drops.plan import DropPlan
from consent.errors import DropsError, Problem

if TYPE_CHECKING:
    from icalendar import Alarm, Calendar, Event, Timezone

_SHORTEST_MINUTES = 5
_VISIT_REMINDER = dt.timedelta(hours=-12)
_DAY = dt.timedelta(days=1)
_ABOVE_EVERY_VERSION = 999
"""SEQUENCE that takes back events of the other eye's calendar, whose version is not known: ``Case.version`` ends so."""


@dataclass(frozen=True)
class VisitEntry:
    """A visit as the calendar shows it: the day and the words for it, without a diagnosis."""

    date: dt.date
    text: str


@dataclass(frozen=True)
class Entry:
    """A sitting as the calendar shows it: a short line that rings, and what to do in its order."""

    summary: str
    description: str


@dataclass(frozen=True)
class Before:
    """What telephones may already hold.

    ``file``: the calendar file that lies in the folder, named by ``where`` in errors. ``plans``: earlier versions of
    the plan, oldest first; with them no file is needed. ``other_eye``: key and plan of the calendar of the eye operated
    on first, which ends where this one begins.
    """

    file: bytes | None = None
    where: str = "drops.ics"
    plans: tuple[DropPlan, ...] = ()
    other_eye: tuple[str, DropPlan] | None = None


def drops_calendar(
    plan: DropPlan,
    say: Callable[[Run], Entry],
    *,
    visits: Iterable[VisitEntry] = (),
    name: str,
    key: str,
    now: dt.datetime,
    void: str,
    version: int = 1,
    timezone: str = "Asia/Kolkata",
    before: Before | None = None,
) -> bytes | None:
    """Return the sittings and ``visits`` as an iCalendar file (RFC 5545), the same bytes for the same arguments.

    ``None`` where there is no event: neither a drop nor a visit, and nothing on a telephone to take back.

    A sitting is one event, repeated daily for as long as clock time, drops and order stay the same; UNTIL is in UTC
    because DTSTART carries a time zone (section 3.3.10). ``say`` gives its words; ``name`` is the calendar's title;
    ``key`` tells patient and operation apart (hashed); ``version`` becomes SEQUENCE (section 3.8.7.4). A UID follows
    from ``key`` and the start of its run alone, so that a new version updates the event.

    Written are the days this print is about; runs of ``before`` that a change ended, with their new end; and, with
    STATUS CANCELLED and the words ``void``, events of ``before`` that no longer hold. From the day of the change on
    (or from ``now``, if that is earlier) a telephone then holds this plan, and before it what it was told.
    Drops without a clock time are left out. Events of another key are never touched.

    Raises ``DropsError`` for an empty ``key``, a ``now`` without a time zone, an unknown ``timezone``, a file that
    cannot be read, is of a later version or was ended by the other eye's.
    """
    zone = _zone(timezone)
    _check(key, now)
    maker = _Maker(plan, say, zone, uid_prefix(key), before or Before(), now.astimezone(zone).date(), void)
    changed, kept = maker.events(tuple(visits), version)
    if not changed and not kept:
        return None
    stamp = now.astimezone(dt.UTC).replace(microsecond=0)
    for event, sequence in changed:
        for field, value in (("dtstamp", stamp), ("sequence", sequence)):
            event.pop(field, None)
            event.add(field, value)
    events = sorted([*(event for event, _ in changed), *kept], key=lambda event: str(event["UID"]))
    return bytes(_calendar(events, name, f"{maker.prefix}{maker.origin:%Y%m%d}").to_ical(sorted=False))


@dataclass(frozen=True)
class _Maker:
    """One file in the making."""

    plan: DropPlan
    say: Callable[[Run], Entry]
    zone: dt.tzinfo
    prefix: str
    before: Before
    today: dt.date
    void: str

    def events(self, visits: tuple[VisitEntry, ...], version: int) -> tuple[list[tuple[Event, int]], list[Event]]:
        """Events that are new or changed, each with its SEQUENCE, and events of the old file handed on as they are."""
        held = self._held(version)
        runs = {self._uid(run): run for run in make_runs(self.plan, self.origin)}
        mine = {uid: self._event(run) for uid, run in runs.items() if self._is_written(run, held.get(uid))}
        mine |= dict(_visit_events(visits, self.prefix))
        changed = [(event, version - 1) for event in mine.values()]
        kept: list[Event] = []
        for uid, entry in held.items():
            if uid in mine:
                continue
            bound = self.today if entry.whole_day else min(self._bound, entry.void_from)
            event = None if uid in runs else self._taken_back(entry, bound)
            if event is not None:
                changed.append((event, version - 1))
            elif entry.in_file:
                kept.append(entry.event)
        other_changed, other_kept = self._other_eye()
        return changed + other_changed, kept + other_kept

    @cached_property
    def origin(self) -> dt.date:
        """The first date any version of this calendar was about, or took over from the eye operated on first.

        A second eye put off begins later than the file tells; this plan holds what both eyes are given until then.
        """
        issued = (self.before.plans[0] if self.before.plans else self.plan).issued_on
        if self.before.other_eye is None:
            return issued
        begun = [entry.first for entry in self._mine.values() if not entry.whole_day and not entry.is_cancelled]
        ended = [entry for entry in self._others.values() if entry.sequence == _ABOVE_EVERY_VERSION]
        taken_over = (entry.first if entry.is_cancelled else entry.last + _DAY for entry in ended)
        return min([issued, *self._begins_in_file(), *begun, *taken_over])

    def _begins_in_file(self) -> Iterator[dt.date]:
        """The first date the file in the folder says it is about: its first sitting may come later."""
        if self.before.file is not None:
            yield from read_origin(self.before.file, self.prefix)

    @cached_property
    def _mine(self) -> dict[str, Held]:
        """What the file in the folder holds of this calendar."""
        return self._in_file(self.prefix)

    @cached_property
    def _others(self) -> dict[str, Held]:
        """What the file in the folder holds of the calendar of the eye operated on first."""
        return self._in_file(uid_prefix(self.before.other_eye[0])) if self.before.other_eye is not None else {}

    def _in_file(self, prefix: str) -> dict[str, Held]:
        """What the file in the folder holds of one calendar."""
        before = self.before
        return read_held(before.file, prefix, self.zone, before.where) if before.file is not None else {}

    @property
    def _bound(self) -> dt.date:
        """From this date on the plan holds and nothing else; days before it stay as they were told.

        A change issued in advance leaves today's drops to the plans before it; where those are not given, to the file.
        """
        issued = self.plan.issued_on
        return issued if self.plan.changed_on and not self.before.plans else min(issued, self.today)

    def _is_written(self, run: Run, held: Held | None) -> bool:
        """Whether the run, or what a telephone holds of it, reaches days on which this plan holds."""
        return max(run.last.date(), held.last if held else run.last.date()) >= self._bound

    def _held(self, version: int) -> dict[str, Held]:
        """What telephones may hold of this calendar: from the file, and from earlier plans the file does not know."""
        held = self._mine
        latest = max((entry.sequence for entry in held.values()), default=-1)
        if latest > version - 1:
            raise DropsError(_later(latest, version))
        if latest >= version - 2:
            return held
        for plan, following in pairwise((*self.before.plans, self.plan)):
            planned = self._held_by(plan, self.prefix, self.origin)
            void_from = following.issued_on
            held = merge(held, {uid: replace(entry, void_from=void_from) for uid, entry in planned.items()})
        return held

    def _held_by(self, plan: DropPlan, prefix: str, since: dt.date) -> dict[str, Held]:
        events = (self._event(run, prefix) for run in make_runs(plan, since))
        return {str(event["UID"]): held_of(event, in_file=False) for event in events}

    def _taken_back(self, held: Held, bound: dt.date) -> Event | None:
        """The event as it holds after ``bound`` is reached: cancelled, cut short, or ``None`` if nothing changes."""
        if held.is_cancelled or held.last < bound:
            return None
        return cancel(held, self.void) if held.first >= bound else cut(held, bound - _DAY)

    def _other_eye(self) -> tuple[list[tuple[Event, int]], list[Event]]:
        """The calendar of the eye operated on first, ended the day before this one begins."""
        if self.before.other_eye is None:
            return [], []
        key, plan = self.before.other_eye
        held = self._others or self._held_by(plan, uid_prefix(key), plan.issued_on)
        changed: list[tuple[Event, int]] = []
        kept: list[Event] = []
        for entry in held.values():
            event = None if entry.whole_day else self._taken_back(entry, self.origin)
            if event is not None:
                changed.append((event, _ABOVE_EVERY_VERSION))
            elif entry.in_file:
                kept.append(entry.event)
        return changed, kept

    def _uid(self, run: Run, prefix: str = "") -> str:
        return uid_of(run, prefix or self.prefix)

    def _event(self, run: Run, prefix: str = "") -> Event:
        from icalendar import Event

        entry = self.say(run)
        event = Event()
        event.add("uid", self._uid(run, prefix))
        event.add("summary", entry.summary)
        event.add("description", entry.description)
        event.add("dtstart", run.first.replace(tzinfo=self.zone))
        event.add("duration", dt.timedelta(minutes=max(run.minutes, _SHORTEST_MINUTES)))
        if run.last > run.first:
            event.add("rrule", {"freq": "DAILY", "until": [run.last.replace(tzinfo=self.zone).astimezone(dt.UTC)]})
        _finish(event, entry.summary, dt.timedelta())
        return event


def _visit_events(visits: tuple[VisitEntry, ...], prefix: str) -> Iterator[tuple[str, Event]]:
    from icalendar import Event

    seen: dict[dt.date, int] = {}
    for visit in sorted(dict.fromkeys(visits), key=lambda visit: visit.date):
        seen[visit.date] = seen.get(visit.date, 0) + 1
        uid = f"{prefix}{visit.date:%y%m%d}v{seen[visit.date]}"
        event = Event()
        event.add("uid", uid)
        event.add("summary", visit.text)
        event.add("dtstart", visit.date)
        _finish(event, visit.text, _VISIT_REMINDER)
        yield uid, event


def _finish(event: Event, text: str, reminder: dt.timedelta) -> None:
    event.add("status", "CONFIRMED")
    event.add("class", "PRIVATE")
    event.add("transp", "TRANSPARENT")
    event.add_component(_alarm(text, reminder))


def _alarm(text: str, before: dt.timedelta) -> Alarm:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", text)
    alarm.add("trigger", before)
    return alarm


def _zone(timezone: str) -> dt.tzinfo:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        return ZoneInfo(timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise DropsError(
            Problem(f'"{timezone}" is not a time zone', "timezone", remedy='write one such as "Asia/Kolkata"')
        ) from error


def _later(latest: int, version: int) -> Problem:
    """Why a case of ``version`` cannot follow a file whose newest event has the SEQUENCE ``latest``."""
    if latest == _ABOVE_EVERY_VERSION:
        return Problem(
            "the calendar of this eye was ended by that of the other eye, in the same folder",
            "version",
            "telephones would keep the drops of both calendars",
            "write the change into the case of the eye operated on last, or choose another folder",
        )
    return Problem(
        f"the calendar file in the folder is of version {latest + 1}, this case is version {version}",
        "version",
        "telephones would keep the drops of the later version",
        f"write version = {latest + 1} or more into the case",
    )


def _check(key: str, now: dt.datetime) -> None:
    if now.tzinfo is None:
        raise DropsError(Problem("the moment has no time zone", "now", remedy="give one, such as UTC"))
    if not key:
        raise DropsError(Problem("the key is empty", "key", "two patients' calendars would overwrite each other"))


def _calendar(events: list[Event], name: str, origin: str) -> Calendar:
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//drop calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add(ORIGIN, origin)
    for zone in _zones(events):
        calendar.add_component(zone)
    for event in events:
        calendar.add_component(event)
    return calendar


def _zones(events: Iterable[Event]) -> Iterator[Timezone]:
    """A VTIMEZONE for every TZID in use (RFC 5545 section 3.6.5), over the days of its events."""
    from icalendar import Timezone

    used: dict[str, list[dt.date]] = {}
    for entry in (held_of(event, in_file=False) for event in events):
        tzid = tzid_of(entry.event)
        if tzid is not None:
            used.setdefault(tzid, []).extend((entry.first, entry.last))
    for tzid, dates in sorted(used.items()):
        zone = Timezone.from_tzid(tzid, first_date=min(dates) - _DAY, last_date=max(dates) + _DAY)
        zone.pop("comment", None)
        yield zone
