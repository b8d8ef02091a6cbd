"""The drop calendar as a file for a telephone (RFC 5545)."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from consent.drops.plan import DropPlan
from consent.drops.schedule import Phase, Row
from consent.errors import DropsError, Problem

if TYPE_CHECKING:
    from icalendar import Alarm, Calendar, Event

_EVENT_LENGTH = dt.timedelta(minutes=5)
_VISIT_REMINDER = dt.timedelta(hours=-12)


@dataclass(frozen=True)
class VisitEntry:
    """A visit as the calendar shows it: the day and the words for it, without a diagnosis."""

    date: dt.date
    text: str


@dataclass(frozen=True)
class Series:
    """One drop at one clock time on days in a row."""

    row: Row
    phase: Phase
    first: dt.datetime
    last: dt.datetime


def drops_calendar(
    plan: DropPlan,
    say: Callable[[Row, Phase], str],
    *,
    visits: Iterable[VisitEntry] = (),
    name: str,
    key: str,
    now: dt.datetime,
    version: int = 1,
    timezone: str = "Asia/Kolkata",
) -> bytes:
    """Return the drops and ``visits`` as an iCalendar file (RFC 5545), the same bytes for the same arguments.

    Every drop with a clock time is an event at its own minute, repeated daily for as long as row, phase and minute
    stay the same; UNTIL is in UTC because DTSTART carries a time zone (RFC 5545 section 3.3.10). ``say`` gives the
    text of an event; ``name`` is the calendar's title; ``key`` tells patients apart in the UIDs
    (hashed; give a random one, a record number can be guessed back); ``version`` becomes SEQUENCE (section 3.8.7.4).
    Drops of the day of surgery without a clock time are left out.

    Raises ``DropsError`` for an empty ``key``, a ``now`` without a time zone, an unknown ``timezone`` or a calendar
    without an event.
    """
    zone = _zone(timezone)
    if now.tzinfo is None:
        raise DropsError(Problem("the moment has no time zone", "now", remedy="give one, such as UTC"))
    if not key:
        raise DropsError(Problem("the key is empty", "key", "two patients' calendars would overwrite each other"))
    stamp = now.astimezone(dt.UTC).replace(microsecond=0)
    events = [_drop_event(series, say, key, zone) for series in make_series(plan)]
    events += [_visit_event(visit, key) for visit in dict.fromkeys(visits)]
    if not events:
        raise DropsError(Problem("there is neither a drop nor a visit to put into the calendar file", "visits"))
    for event in events:
        event.add("dtstamp", stamp)
        event.add("sequence", version - 1)
        event.add("class", "PRIVATE")
        event.add("transp", "TRANSPARENT")
    return bytes(_calendar(events, name, plan, timezone).to_ical(sorted=False))


def make_series(plan: DropPlan) -> Iterator[Series]:
    """Yield every drop at every clock time, days in a row drawn together; times are local, without a zone."""
    drops = sorted(
        (
            (number, session.at, offset, day.number)
            for day in plan.sessions
            for session in day.sessions
            for number, offset in session.drops
        ),
        key=lambda drop: (drop[0], _minutes(drop), drop[3]),
    )
    for (number, _), same_minute in groupby(drops, key=lambda drop: (drop[0], _minutes(drop))):
        row = plan.row(number)
        for phase, run in _runs(row, list(same_minute)):
            yield Series(row, phase, _moment(plan, run[0]), _moment(plan, run[-1]))


_Drop = tuple[int, dt.time, int, int]


def _minutes(drop: _Drop) -> int:
    return drop[1].hour * 60 + drop[1].minute + drop[2]


def _moment(plan: DropPlan, drop: _Drop) -> dt.datetime:
    midnight = dt.datetime.combine(plan.surgery, dt.time()) + dt.timedelta(days=drop[3])
    return midnight + dt.timedelta(minutes=_minutes(drop))


def _runs(row: Row, drops: list[_Drop]) -> Iterator[tuple[Phase, list[_Drop]]]:
    """Split drops at one minute, in order of days, where a day is left out or the phase changes."""
    run: list[_Drop] = []
    for drop in drops:
        if run and (drop[3] != run[-1][3] + 1 or row.phase_on(drop[3]) != row.phase_on(run[-1][3])):
            yield _phase(row, run), run
            run = []
        run.append(drop)
    if run:
        yield _phase(row, run), run


def _phase(row: Row, run: list[_Drop]) -> Phase:
    phase = row.phase_on(run[0][3])
    assert phase is not None  # noqa: S101 - a drop with a clock time belongs to a phase
    return phase


def _zone(timezone: str) -> dt.tzinfo:
    from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

    try:
        return ZoneInfo(timezone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise DropsError(
            Problem(f'"{timezone}" is not a time zone', "timezone", remedy='write one such as "Asia/Kolkata"')
        ) from error


def _drop_event(series: Series, say: Callable[[Row, Phase], str], key: str, zone: dt.tzinfo) -> Event:
    from icalendar import Event

    text = say(series.row, series.phase)
    event = Event()
    event.add("uid", _uid(key, str(series.row.number), series.row.drug.id, series.row.side, series.first.isoformat()))
    event.add("summary", text)
    event.add("dtstart", series.first.replace(tzinfo=zone))
    event.add("duration", _EVENT_LENGTH)
    if series.last > series.first:
        event.add("rrule", {"freq": "DAILY", "until": series.last.replace(tzinfo=zone).astimezone(dt.UTC)})
    event.add_component(_alarm(text, dt.timedelta()))
    return event


def _visit_event(visit: VisitEntry, key: str) -> Event:
    from icalendar import Event

    event = Event()
    event.add("uid", _uid(key, "visit", visit.date.isoformat(), visit.text))
    event.add("summary", visit.text)
    event.add("dtstart", visit.date)
    event.add_component(_alarm(visit.text, _VISIT_REMINDER))
    return event


def _alarm(text: str, before: dt.timedelta) -> Alarm:
    from icalendar import Alarm

    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", text)
    alarm.add("trigger", before)
    return alarm


def _uid(key: str, *parts: str) -> str:
    digest = hashlib.sha256("\x1f".join((key, *parts)).encode()).hexdigest()
    return f"{digest[:32]}@drops.invalid"


def _calendar(events: Iterable[Event], name: str, plan: DropPlan, timezone: str) -> Calendar:
    from icalendar import Calendar, Timezone

    calendar = Calendar()
    calendar.add("prodid", "-//drop calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    if plan.days:
        day = dt.timedelta(days=1)
        first, last = plan.days[0].date - day, plan.days[-1].date + day
        zone = Timezone.from_tzid(timezone, first_date=first, last_date=last)
        zone.pop("comment", None)
        calendar.add_component(zone)
    for event in events:
        calendar.add_component(event)
    return calendar
