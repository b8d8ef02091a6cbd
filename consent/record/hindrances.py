"""What stands in the way of a sign-off."""

from __future__ import annotations

from collections.abc import Iterator

from consent.compose import utter
from consent.errors import Problem
from consent.language import Speaker, Tongue
from consent.pack import Pack
from consent.record.state import CONSENT
from consent.record.voiding import sheets_of
from consent.review import Severity
from consent.wording import remark


def hindrances(pack: Pack, stage: str) -> Iterator[Problem]:
    """What stands in the way of a sign-off at ``stage``: stops, asks without an answer, a form that is not whole, words
    that nobody has released."""
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
            remark("problem.words-unchecked", sheet=remark(f"sheet.{entry.sheet}"), language=Tongue(entry.language)),
        )
