"""The visits of a patient's page: which is the next one, by one rule for the sentence and for the list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from consent.case import Answer, Case
from consent.compose import Voice
from consent.compose.document import Block, Line, Para


@dataclass(frozen=True)
class PhoneVisit:
    """One visit. ``is_over``: the patient came, so that it is not the next one even on its own day."""

    date: dt.date
    is_over: bool


@dataclass(frozen=True)
class NextVisit(Block):
    """The sentence of the sheet that names the next visit: for each day with a visit the one that names it."""

    lines: tuple[tuple[dt.date, Line], ...]
    on_paper: dt.date

    def shown(self, coming: dt.date | None) -> dt.date:
        """The day whose sentence is shown where ``coming`` is the next visit; that of the paper where none is."""
        return self.on_paper if coming is None else coming


def phone_visits(case: Case) -> tuple[PhoneVisit, ...]:
    """Every visit, in the order of the sheet."""
    return tuple(PhoneVisit(visit.date, visit.kept is not Answer.UNKNOWN) for visit in case.all_visits)


def next_visit(visits: Iterable[PhoneVisit], today: dt.date) -> dt.date | None:
    """The day of the next visit on ``today``: the first that is not past, and was not kept or missed this day."""
    ahead = (visit.date for visit in visits if visit.date > today or (visit.date == today and not visit.is_over))
    return min(ahead, default=None)


def told_by_day(blocks: Iterable[Block], case: Case, voice: Voice) -> Iterator[Block]:
    """``blocks``, where the sentence of the next visit goes by the day; that of the paper is of the day it was made."""
    said = {visit.date: voice.line("home.first-after", date=visit.date) for visit in case.all_visits}
    for block in blocks:
        named = next((day for day, line in said.items() if isinstance(block, Para) and block.text == line), None)
        yield block if named is None else NextVisit(tuple(said.items()), named)
