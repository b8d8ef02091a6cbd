"""Sign-off: what stands in the way is named; else the papers are made, sealed and kept with the entry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from consent.errors import MoveError, Problem
from consent.pack import Pack, compose_pack
from consent.record.act import Act
from consent.record.cases import Recorded, act_on, read_case_state, read_keys
from consent.record.ledger import Person, read_head
from consent.record.moves import move, refuse_from
from consent.record.papers import keep_paper
from consent.record.place import Record
from consent.record.state import CONSENT, CaseState
from consent.record.voiding import sheets_of
from consent.review import Severity

if TYPE_CHECKING:
    from sqlalchemy import Connection


def hindrances(pack: Pack, stage: str) -> Iterator[Problem]:
    """What stands in the way of a sign-off at ``stage``: stops, asks without an answer, a form that is not whole, words
    that nobody has released."""
    from consent.compose import utter
    from consent.language import Speaker

    speaker = Speaker("en")
    for point in pack.points:
        title = utter(speaker, point.title).plain
        if point.blocks:
            yield Problem(title, f"stop: {point.id}", point.source, utter(speaker, point.settle).plain)
        elif point.severity is Severity.ASK and point.answer is None:
            yield Problem(title, f"ask: {point.id}", point.source, f"answer it with a reason, by its key {point.key}")
    if stage == CONSENT:
        yield from (Problem(row.lacking, f"element: {row.element.id}", row.element.source) for row in pack.lacking)
    yield from _words(pack, stage)


def _words(pack: Pack, stage: str) -> Iterator[Problem]:
    if pack.assessment.case.invented and pack.assessment.clinic.invented:
        return
    sheets = sheets_of(stage)
    held = (entry for entry in pack.words if entry.sheet in sheets and not entry.may_be_signed)
    for entry in held:
        yield Problem(
            f"the words of {entry.sheet} in {entry.language} have not been released",
            "words",
            "nobody signs words that no clinician has checked",
            "have them checked and released first: consent languages",
        )


def seal(record: Record, person: Person, subject: str, act: Act) -> Recorded:
    """Make, seal and keep the papers of ``act`` for the case ``subject``, and return it once all is kept.

    The papers are made before anything is written; where somebody changed the case meanwhile, they are thrown away
    and ``ConflictError`` tells. Raises ``MoveError`` with everything that stands in the way.
    """
    case = read_case_state(record, subject)
    refuse_from(act.kind, case.state)
    stage = move(act.kind).seals or CONSENT
    data = _next_version(case, stage)
    made = make_papers(record, person, data, stage)
    act = replace(act, data=data, open_={**act.open_, "sealed": made.described})

    def keep(connection: Connection, recorded: Recorded) -> None:
        keys = read_keys(connection, record, subject)
        for pdf in made.files:
            keep_paper(connection, keys, subject, made.code, recorded.entry.sequence, pdf)

    return act_on(record, person, subject, act, keep)


def _next_version(case: CaseState, stage: str) -> dict[str, Any]:
    """The case with a version that no earlier papers of ``stage`` carry."""
    used = max((one.version for one in case.sets if one.stage == stage), default=0)
    return {**case.data, "version": max(case.version, used + 1)}
