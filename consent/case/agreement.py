"""What parts of a case must agree on before anything is worked out: dates, long-standing drops, changes, versions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from consent.case.model import Case

_YEARS = (2000, 2199)
"""A date of surgery outside them is a slip of the pen."""
_DAYS = 366
"""Visits, changes of drops and the other eye's operation lie within a year of surgery."""


def disagreements(case: Case) -> Iterator[str]:
    """Yield, with key and remedy, each way in which the parts of ``case`` do not agree; nothing if they do."""
    if not _YEARS[0] <= case.plan.date.year <= _YEARS[1]:
        yield f"plan.date: the year lies outside {_YEARS[0]} to {_YEARS[1]}; correct it"
        return
    yield from _other_eye(case)
    yield from _visits(case)
    yield from _own_drops(case)
    yield from _changes(case)


def _far(day: dt.date, case: Case) -> bool:
    return abs((day - case.plan.date).days) > _DAYS


def _other_eye(case: Case) -> Iterator[str]:
    other = case.other_eye
    if other.regimen is None or other.operated_on is None:
        return
    if other.operated_on > case.plan.date:
        yield "other_eye.operated_on: the eye still on drops was operated on plan.date or before it; correct the date"
    if _far(other.operated_on, case):
        yield "other_eye.operated_on: more than a year before plan.date; no regimen lasts that long: leave regimen out"


def _visits(case: Case) -> Iterator[str]:
    for place, visit in enumerate(case.visits):
        if _far(visit.date, case):
            yield f"visits.{place}.date: more than a year away from plan.date; correct the year"
        elif visit.date < case.plan.date and visit.kind != "other":
            yield f'visits.{place}.date: a "{visit.kind}" visit lies before plan.date; correct it, or call it "other"'


def _own_drops(case: Case) -> Iterator[str]:
    placed = [(drop.drug, side) for drop in case.own_drops for side in drop.sides]
    if len(set(placed)) != len(placed):
        yield "own_drops: a drop stands twice for the same eye; give each eye one decision"


def _changes(case: Case) -> Iterator[str]:
    changes = case.drop_changes
    days = [case.plan.date, *(change.on for change in changes)]
    if any(after <= before for before, after in pairwise(days)):
        yield "drop_changes: each must be later than the one before it, and later than plan.date; correct the dates"
    if changes and _far(changes[-1].on, case):
        yield "drop_changes: the last lies more than a year after plan.date; correct the year"
    if changes and case.plan.regimen is None:
        yield "plan.regimen: drops were changed; write the regimen that was printed before the change"
    prints = len(changes) + (case.regimen != case.plan.regimen)
    if case.version <= prints:
        yield (
            f"version: {prints} changes of the drops need version {prints + 1} or more (a regimen ordered after "
            "surgery is one), so that older prints can be told from this one; raise it"
        )
