"""The days of a patient's page: the drops of the printed calendar, round by round, ready to be shown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Literal

from consent.case import Side
from consent.compose.calendar_pictures import bottle, time_of_day
from consent.compose.drop_steps import Mark, mark_of, printed_days
from consent.compose.drop_wall import without_clock
from consent.compose.voice import Voice
from consent.compose.which_eye import face
from consent.drops import DaySessions, DropPlan, Ends, Form, Row, Session, last_cap, moment_of
from consent.language import Day, Said
from consent.review import Assessment

EARLY, LATE = 15, 30
"""Minutes before and after a round in which it is the one to be done now. A working choice, no source."""
_HOUR, _WEEK = 60, 7
Sign = Literal["now", "next", ""]


@dataclass(frozen=True)
class PhoneDrop:
    """One drop: which bottle or tube, into which eye, and what goes before it. ``wait``: time after the last one."""

    mark: Mark
    is_tube: bool
    drug: str
    eye: Said
    face: str
    bottle: str
    cap: Said | None
    wait: Said | None
    notes: tuple[Said, ...]


@dataclass(frozen=True)
class PhoneRound:
    """Drops given together, in their order."""

    at: dt.time
    time: Said
    landmark: Said
    sky: str
    drops: tuple[PhoneDrop, ...]


@dataclass(frozen=True)
class PhoneDay:
    """One date. ``staff``: drops that have no clock time; ``opens``: bottles opened on it; ``without``: why it has no
    drops, where it has none."""

    date: dt.date
    title: Said
    rounds: tuple[PhoneRound, ...]
    staff: tuple[Said, ...]
    opens: tuple[Mark, ...]
    visits: tuple[Said, ...]
    is_surgery: bool
    without: Literal["", "not-begun", "none", "ended"]


@dataclass(frozen=True)
class GoesOn:
    """A bottle that is used beyond the last day shown, or until a visit, and what the calendar says of it."""

    mark: Mark
    drug: str
    when: Said


def phone_days(assessment: Assessment, voice: Voice) -> tuple[PhoneDay, ...]:
    """Every date the printed calendar is about: each day of the plan, the day of surgery and each visit."""
    plan = assessment.drops
    sittings = {day.date: day for day in printed_days(plan)}
    visits = {visit.date for visit in assessment.case.all_visits if visit.date >= plan.issued_on}
    surgery = {plan.surgery} if plan.issued_from <= 0 else set()
    dates = sorted({*sittings, *visits, *surgery})
    return tuple(_day(assessment, date, sittings.get(date), voice) for date in dates)


def weeks(days: Sequence[PhoneDay]) -> tuple[tuple[PhoneDay, ...], ...]:
    """``days`` by sevens of dates from the first one on; a week without any is left out."""
    first = days[0].date if days else dt.date.min
    return tuple(tuple(week) for _, week in groupby(days, key=lambda day: (day.date - first).days // _WEEK))


def _day(assessment: Assessment, date: dt.date, day: DaySessions | None, voice: Voice) -> PhoneDay:
    plan = assessment.drops
    rounds = tuple(_round(assessment, session, voice) for session in day.sessions) if day else ()
    staff = tuple(line[0] for line in without_clock(plan, day, voice)) if day else ()
    visits = (voice.line(f"visit.{visit.kind}")[0] for visit in assessment.case.all_visits if visit.date == date)
    return PhoneDay(
        date=date,
        title=voice.show(Day(date, "brief"))[0],
        rounds=rounds,
        staff=staff,
        opens=tuple(_opened(plan, date, voice)),
        visits=tuple(visits),
        is_surgery=date == plan.surgery,
        without="" if rounds or staff else _without(plan, date),
    )


def _without(plan: DropPlan, date: dt.date) -> Literal["not-begun", "none", "ended"]:
    if plan.current and date < min(row.first for row in plan.current):
        return "not-begun"
    return "ended" if plan.last is not None and date > plan.last else "none"


def _opened(plan: DropPlan, date: dt.date, voice: Voice) -> Iterator[Mark]:
    for supply in plan.supplies:
        if any(opening.opened == date for opening in supply.openings):
            yield from (mark_of(plan.row(number), voice) for number in supply.rows)


def _round(assessment: Assessment, session: Session, voice: Voice) -> PhoneRound:
    plan = assessment.drops
    moment = moment_of(session.at, plan.landmarks)
    words = f"moment.{'at' if moment.exact else 'after'}.{moment.landmark}"
    return PhoneRound(
        at=session.at,
        time=voice.show(session.at)[0],
        landmark=voice.line(words)[0],
        sky=time_of_day(moment, assessment.clinic.day_marks.sunset),
        drops=tuple(_drops(assessment, session, voice)),
    )


def _drops(assessment: Assessment, session: Session, voice: Voice) -> Iterator[PhoneDrop]:
    """In the order of the plan, with the minutes to wait between, as the calendar file tells them."""
    waits = [0, *(after - before for (_, before), (_, after) in pairwise(session.drops))]
    shaken: set[int] = set()
    for (number, _), wait in zip(session.drops, waits, strict=True):
        row = assessment.drops.row(number)
        yield _drop(assessment, row, wait, voice, is_first=number not in shaken)
        shaken.add(number)


def _drop(assessment: Assessment, row: Row, wait: int, voice: Voice, is_first: bool) -> PhoneDrop:
    supply = next(supply for supply in assessment.drops.supplies if row.number in supply.rows)
    cap = last_cap(assessment.case.caps_seen, supply)
    is_tube = row.drug.form is Form.OINTMENT
    shake = ("calendar.shake",) if row.drug.shake and is_first else ()
    notes = (*shake, *(("calendar.ointment-last",) if is_tube else ()))
    return PhoneDrop(
        mark=mark_of(row, voice),
        is_tube=is_tube,
        drug=row.drug.name,
        eye=voice.line(f"eye.{row.side}")[0],
        face=face(Side(row.side), assessment),
        bottle=bottle(cap, ointment=is_tube, shake=row.drug.shake),
        cap=voice.line(f"cap.{cap}")[0] if cap else None,
        wait=voice.count("phone.wait", wait)[0] if wait else None,
        notes=tuple(voice.line(note)[0] for note in notes),
    )


def goes_on(assessment: Assessment, voice: Voice) -> tuple[GoesOn, ...]:
    """The bottles that the last day shown is not the end of."""
    found = []
    for row in assessment.drops.current:
        words = {Ends.LONG_STANDING: "calendar.go-on", Ends.UNTIL_REVIEW: "calendar.from-until-review"}.get(row.ends)
        if words is not None:
            when = voice.line(words, first=Day(row.first, "brief"), last=Day(row.last, "brief"))
            found.append(GoesOn(mark_of(row, voice), row.drug.name, when[0]))
    return tuple(found)


def signs(times: Sequence[dt.time], now: dt.time) -> tuple[Sign, ...]:
    """For each of the rounds at ``times`` whether it is the one to be done about ``now``, or the next one.

    Nothing says that a round was done: that is not kept.
    """
    minute = _minute(now)
    due = [place for place, at in enumerate(times) if -EARLY <= minute - _minute(at) < LATE]
    coming = [place for place, at in enumerate(times) if _minute(at) > minute and place not in due[-1:]]
    return tuple("now" if place in due[-1:] else "next" if place in coming[:1] else "" for place in range(len(times)))


def _minute(at: dt.time) -> int:
    return at.hour * _HOUR + at.minute
