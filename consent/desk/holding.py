"""Whether the patient's consent holds at this moment: worked out from the record, never from a tick on a page."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Literal

from consent.case import Side
from consent.desk.alike import said_sides
from consent.record.moves import State
from consent.record.state import CONSENT, CaseState, SealedSet, Told
from consent.review import Assessment, Point, Severity

Mark = Literal["stop", "ask", "good", "plain"]
_OPERATED = (State.DONE, State.CLOSED)
_SIGNED = (State.CONSENTED, State.CONFIRMED)
_REFUSED = {State.WITHDRAWN: "withdrawn", State.DECLINED: "declined"}


@dataclass(frozen=True)
class Holding:
    """How consent stands on ``day``. ``word``: end of the message id that says it; ``good`` only where all of it fits.

    ``papers``: those that hold; ``void``: the entry that made the last ones void; ``signed``: the patient's signature
    under the papers that hold; ``confirmed``: the second look after it. ``stops`` and ``asks``: what is open besides.
    """

    word: str
    mark: Mark
    papers: SealedSet | None
    void: Told | None
    signed: Told | None
    confirmed: dt.datetime | None
    stops: tuple[Point, ...]
    asks: tuple[Point, ...]
    sides: tuple[tuple[str, Side], ...]

    @property
    def good(self) -> bool:
        """Whether nothing stands in the way: the only case in which a page may be green."""
        return self.word == "good" and not (self.stops or self.asks or self.sides)

    @property
    def may_start(self) -> bool:
        """Whether consent was given for this and for today, be it not confirmed yet."""
        return self.word in ("good", "not-confirmed")


def holding(case: CaseState, assessment: Assessment, day: dt.date, zone: dt.tzinfo) -> Holding:
    """How consent of ``case`` stands on ``day``, by the clinic's clock in ``zone``."""
    papers = case.sealed(CONSENT)
    signed = _after(case, "consented", papers)
    confirmed = case.case.confirmation
    at = confirmed.at.astimezone(zone) if confirmed and _confirmed_after(case, signed) else None
    word = _word(case, papers, signed, at, day)
    return Holding(
        word,
        _mark(word),
        papers,
        _void(case) if papers is None else None,
        signed,
        at,
        tuple(point for point in assessment.points if point.blocks),
        tuple(point for point in assessment.points if point.severity is Severity.ASK and point.open),
        said_sides(case.case),
    )


def _word(
    case: CaseState, papers: SealedSet | None, signed: Told | None, confirmed: dt.datetime | None, day: dt.date
) -> str:
    if case.state in _OPERATED and case.case.done is not None:
        return "operated"
    if case.state in _REFUSED or (case.state is State.CLOSED and case.case.done is None):
        return _REFUSED.get(case.state, "declined")
    if case.state is State.WANTS_TIME:
        return "wants-time"
    if papers is None:
        return "void" if _void(case) else "no-papers"
    if case.state not in _SIGNED or signed is None:
        return "not-signed"
    if case.case.plan.date != day:
        return "other-day"
    sure = case.state is State.CONFIRMED and confirmed is not None and confirmed.date() == day
    return "good" if sure else "not-confirmed"


def _mark(word: str) -> Mark:
    known: dict[str, Mark] = {"good": "good", "not-confirmed": "ask", "operated": "plain"}
    return known.get(word, "stop")


def _after(case: CaseState, kind: str, papers: SealedSet | None) -> Told | None:
    """The last entry of ``kind`` made since ``papers`` were sealed."""
    found = [told for told in case.history if told.entry.kind == kind]
    return found[-1] if papers and found and found[-1].entry.sequence > papers.sequence else None


def _confirmed_after(case: CaseState, signed: Told | None) -> bool:
    kinds = [told for told in case.history if told.entry.kind == "confirmed"]
    return bool(signed and kinds and kinds[-1].entry.sequence > signed.entry.sequence)


def _void(case: CaseState) -> Told | None:
    """The entry that made the last papers of the consent void; None where there never were any, or others followed."""
    made = [one for one in case.sets if one.stage == CONSENT]
    if not made or made[-1].void is None:
        return None
    sequence = made[-1].void.sequence
    return next(told for told in case.history if told.entry.sequence == sequence)
