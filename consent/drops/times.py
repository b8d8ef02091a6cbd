"""Clock times of every day: which drops at one sitting, in which order, how long apart."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from consent.case import Side
from consent.clinic import DropSettings
from consent.drops.formulary import Form
from consent.drops.schedule import Day, Phase, Row
from consent.drops.spacing import Waking, clock_of, minute_of, own_times, shared_times
from consent.errors import DropsError, Problem

_MINUTES_A_DAY = 24 * 60


@dataclass(frozen=True)
class Session:
    """One sitting: for every drop, the row's number and the minutes after ``at``, in the order they are given.

    Drops into one eye are apart by the clinic's gap; each eye is counted on its own.
    """

    at: dt.time
    drops: tuple[tuple[int, int], ...]

    @property
    def minutes(self) -> int:
        """Length of the sitting: minutes from the first drop to the last."""
        return max(offset for _, offset in self.drops)


@dataclass(frozen=True)
class DaySessions:
    """The sittings of one day.

    ``moved``: rows whose times were moved from their own even times to save sittings.
    ``untimed``: rows and their drops on the day of surgery that have no clock time: the clinic says when, and who.
    """

    number: int
    date: dt.date
    sessions: tuple[Session, ...]
    moved: tuple[int, ...] = ()
    untimed: tuple[tuple[int, int], ...] = ()

    def times_of(self, row_number: int) -> tuple[dt.time, ...]:
        """Clock times of the sittings in which the row has a drop."""
        return tuple(
            session.at for session in self.sessions if any(number == row_number for number, _ in session.drops)
        )


def make_sessions(
    rows: Sequence[Row],
    days: Iterable[Day],
    surgery_days: Mapping[Side, int],
    waking: Waking,
    evening: Waking,
    settings: DropSettings,
) -> tuple[DaySessions, ...]:
    """Return the sittings of each of ``days``.

    ``settings.times`` "even" gives every row its own times; "fewest sessions" puts all rows on the times of the row
    with most doses that day. On the day of its surgery (``surgery_days``) an eye has clock times only for a start in
    the ``evening``; the other eye keeps its own.
    Raises ``DropsError`` where the doses do not fit the waking hours.
    """
    made: list[DaySessions] = []
    phases_before: tuple[Phase | None, ...] = ()
    for day in days:
        phases = tuple(row.phase_on(day.number) for row in rows)
        special = day.number in surgery_days.values() or any(day.number == row.day_0 for row in rows)
        if made and phases == phases_before and not made[-1].untimed and not special:
            made.append(replace(made[-1], number=day.number, date=day.date))
        else:
            clocked = [row for row in rows if _is_clocked(row, day.number, surgery_days)]
            made.append(_day(rows, clocked, day, waking, evening, settings))
        phases_before = phases
    return tuple(made)


Clocks = tuple[dt.time, ...]


def _day(
    rows: Sequence[Row], clocked: Sequence[Row], day: Day, waking: Waking, evening: Waking, settings: DropSettings
) -> DaySessions:
    own = {row.number: _own(row, day.number, waking, evening) for row in clocked}
    times = own if settings.times == "even" else _in_few_rounds(clocked, own, day.number)
    moments = sorted({clock for clocks in times.values() for clock in clocks})
    sessions = tuple(
        _session(clock, [row for row in clocked if clock in times[row.number]], day.number, settings)
        for clock in moments
    )
    for side in Side:
        _check_room(list(_of_eye(sessions, {row.number for row in clocked if row.side is side})), settings, day)
    _check_midnight(sessions, day)
    moved = tuple(number for number, clocks in times.items() if clocks != own[number])
    return DaySessions(day.number, day.date, sessions, moved, tuple(_untimed(rows, clocked, day.number)))


def _own(row: Row, day: int, waking: Waking, evening: Waking) -> Clocks:
    phase = row.phase_on(day)
    if phase is None:
        return ()
    return own_times(phase.times_a_day, evening if phase.evening_only else waking, phase.at_bedtime)


def _in_few_rounds(rows: Sequence[Row], own: dict[int, Clocks], day: int) -> dict[int, Clocks]:
    """Rows of an evening of surgery share their times among themselves: nothing moves to before that evening."""
    in_evening = {row.number for row in rows if (phase := row.phase_on(day)) is not None and phase.evening_only}
    fixed = _at_bedtime(rows, day)
    groups = ({n: own[n] for n in own if n in in_evening}, {n: own[n] for n in own if n not in in_evening})
    shared = {number: clocks for group in groups for number, clocks in _shared(group, fixed).items()}
    return {number: shared[number] for number in own}


def _at_bedtime(rows: Iterable[Row], day: int) -> frozenset[int]:
    return frozenset(row.number for row in rows if (phase := row.phase_on(day)) is not None and phase.at_bedtime)


def _shared(own: dict[int, Clocks], fixed: frozenset[int]) -> dict[int, Clocks]:
    """The times of the row with most doses, and every other row on some of them; ``fixed`` rows keep their own."""
    grid = max((clocks for number, clocks in own.items() if number not in fixed), key=len, default=())
    return {number: clocks if number in fixed else shared_times(clocks, grid) for number, clocks in own.items()}


def _is_clocked(row: Row, day: int, surgery_days: Mapping[Side, int]) -> bool:
    phase = row.phase_on(day)
    return phase is not None and (phase.evening_only or day != surgery_days.get(row.side))


def _untimed(rows: Iterable[Row], clocked: Iterable[Row], day: int) -> Iterator[tuple[int, int]]:
    timed = {row.number for row in clocked}
    for row in rows:
        drops = row.drops_on(day)
        if row.number in timed:
            drops = row.drops_before_surgery if day == row.day_0 else 0
        if drops:
            yield row.number, drops


def _session(at: dt.time, rows: Sequence[Row], day: int, settings: DropSettings) -> Session:
    ordered = sorted(rows, key=lambda row: (row.drug.form.place_in_session, row.number))
    drops: list[tuple[int, int, int]] = []
    for side in Side:
        drops += _one_eye([row for row in ordered if row.side is side], day, settings)
    return Session(at, tuple((number, offset) for offset, _, number in sorted(drops)))


def _one_eye(ordered: Sequence[Row], day: int, settings: DropSettings) -> Iterator[tuple[int, int, int]]:
    offset = 0
    first = True
    for row in ordered:
        phase = row.phase_on(day)
        for _ in range(phase.drops_per_dose if phase else 0):
            offset += 0 if first else _gap(row, settings)
            first = False
            yield offset, row.drug.form.place_in_session, row.number


def _gap(row: Row, settings: DropSettings) -> int:
    if row.drug.form is Form.OINTMENT:
        return max(settings.gap_minutes, settings.ointment_gap_minutes)
    return settings.gap_minutes


def _of_eye(sessions: Iterable[Session], numbers: set[int]) -> Iterator[tuple[dt.time, int, int]]:
    """Sittings with a drop of ``numbers``: when they begin, and minutes to the first and the last of those drops."""
    for session in sessions:
        offsets = [offset for number, offset in session.drops if number in numbers]
        if offsets:
            yield session.at, min(offsets), max(offsets)


def _check_room(sittings: Sequence[tuple[dt.time, int, int]], settings: DropSettings, day: Day) -> None:
    for (before, _, last), (after, first, _) in pairwise(sittings):
        if minute_of(after) + first - minute_of(before) - last < settings.gap_minutes:
            raise DropsError(
                Problem(
                    f"the sitting at {before:%H:%M} lasts until the one at {after:%H:%M} (day {day.number})",
                    "patient.waking_from, patient.waking_to",
                    "two drops into one eye within minutes wash each other out",
                    'correct the waking hours, set drops.times = "fewest sessions", or shorten the gap',
                )
            )


def _check_midnight(sessions: Sequence[Session], day: Day) -> None:
    if sessions and minute_of(sessions[-1].at) + sessions[-1].minutes >= _MINUTES_A_DAY:
        raise DropsError(
            Problem(
                f"the sitting at {sessions[-1].at:%H:%M} lasts beyond midnight (day {day.number})",
                "patient.waking_to",
                remedy="give an earlier bedtime",
            )
        )


def evening_of(waking: Waking, from_hour: int) -> Waking:
    """The hours left on the day of surgery: from ``from_hour`` (or waking, if later) to bed."""
    return replace(waking, first=max(waking.first, clock_of(from_hour * 60)))
