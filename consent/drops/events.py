"""Sittings drawn together over days: what a calendar on a telephone holds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from consent.drops.plan import DropPlan
from consent.drops.schedule import Row
from consent.drops.times import DaySessions, Session

_DAY = dt.timedelta(days=1)


@dataclass(frozen=True)
class Run:
    """The same sitting at one clock time on days in a row; times are local, without a zone.

    ``drops``: the rows in the order they are given, each with its minutes after the start.
    """

    drops: tuple[tuple[Row, int], ...]
    first: dt.datetime
    last: dt.datetime

    @property
    def minutes(self) -> int:
        """Minutes from the first drop to the last."""
        return max(offset for _, offset in self.drops)

    @property
    def days(self) -> int:
        """How many days."""
        return (self.last - self.first).days + 1


def make_runs(plan: DropPlan, since: dt.date) -> tuple[Run, ...]:
    """Return the sittings of ``plan`` on and after ``since``, drawn together, in the order of their first days.

    A run ends where the clock time or a drop changes, and before every date of ``plan.changed_on``: so runs of an
    earlier version keep their first day, and are at most shorter. Drops without a clock time are left out.
    """
    found: list[Run] = []
    running: dict[dt.time, tuple[Session, dt.datetime, dt.datetime]] = {}
    for day in (day for day in plan.sessions if day.date >= since):
        unchanged = {} if day.date in plan.changed_on else running
        following = dict(_continued(day, unchanged))
        found += [_run(plan, *ended) for at, ended in running.items() if not _goes_on(at, ended, following)]
        running = following
    found += [_run(plan, *ended) for ended in running.values()]
    return tuple(sorted(found, key=lambda run: run.first))


def _continued(
    day: DaySessions, running: dict[dt.time, tuple[Session, dt.datetime, dt.datetime]]
) -> Iterator[tuple[dt.time, tuple[Session, dt.datetime, dt.datetime]]]:
    for session in day.sessions:
        moment = dt.datetime.combine(day.date, session.at)
        before = running.get(session.at)
        goes_on = before is not None and before[0] == session and before[2] + _DAY == moment
        yield session.at, (session, before[1] if before and goes_on else moment, moment)


def _goes_on(
    at: dt.time,
    ended: tuple[Session, dt.datetime, dt.datetime],
    following: dict[dt.time, tuple[Session, dt.datetime, dt.datetime]],
) -> bool:
    return at in following and following[at][1] == ended[1]


def _run(plan: DropPlan, session: Session, first: dt.datetime, last: dt.datetime) -> Run:
    return Run(tuple((plan.row(number), offset) for number, offset in session.drops), first, last)
