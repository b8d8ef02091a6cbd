"""Sign-off: what stands in the way is named; else the papers are made, sealed and kept with the entry."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from consent.record.act import Act
from consent.record.cases import Look, Recorded, act_on, on_top, read_case_state, read_keys
from consent.record.ledger import Person
from consent.record.making import make_papers
from consent.record.moves import move, refuse_from, refuse_parts
from consent.record.papers import keep_paper
from consent.record.patch import difference, said
from consent.record.place import Record
from consent.record.state import CONSENT, CaseState

if TYPE_CHECKING:
    from sqlalchemy import Connection


def seal(record: Record, person: Person, subject: str, act: Act, still_may: Look | None = None) -> Recorded:
    """Make, seal and keep the papers of ``act`` for the case ``subject``, and return it once all is kept.

    The papers are made before anything is written; where somebody changed the case meanwhile, they are thrown away
    and ``ConflictError`` tells. Raises ``MoveError`` with everything that stands in the way; ``still_may`` raises
    ``AccessError`` where the person, while they were made, was no longer one who signs.
    """
    case = read_case_state(record, subject)
    refuse_from(act.kind, case.state)
    on_top(case, act)
    if act.data is not None:
        refuse_parts(act.kind, tuple(said(difference(case.data, act.data), case.data)), case.state)
    stage = move(act.kind).seals or CONSENT
    data = _next_version(case, stage)
    made = make_papers(record, person, data, stage)
    act = replace(act, data=data, open_={**act.open_, "sealed": made.described})

    def keep(connection: Connection, recorded: Recorded) -> None:
        keys = read_keys(connection, record, subject)
        for pdf in made.files:
            keep_paper(connection, keys, subject, made.code, recorded.entry.sequence, pdf)

    return act_on(record, person, subject, act, keep, still_may)


def _next_version(case: CaseState, stage: str) -> dict[str, Any]:
    """The case with a version that no earlier papers of ``stage`` carry."""
    used = max((one.version for one in case.sets if one.stage == stage), default=0)
    return {**case.data, "version": max(case.version, used + 1)}
