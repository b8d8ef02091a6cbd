"""Whose page it is: patient, eye in words and drawn, plan, where the case stands."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from consent.case import Answer, Case
from consent.compose import Voice
from consent.compose.form_plan import lens_remark
from consent.desk.here import Visitor
from consent.record.moves import State
from consent.record.state import CaseState


@dataclass(frozen=True)
class Heading:
    """The head of a page that decides something about one case. ``seen``: its last entry."""

    subject: str
    seen: int
    one: Case
    state: State
    lens: Markup


def heading(here: Visitor, case: CaseState) -> Heading:
    """The head of such a page about ``case``. Raises ``RecordError`` where the identity was erased."""
    return Heading(case.subject, case.sequence, case.case, case.state, _lens(here, case.case))


def _lens(here: Visitor, case: Case) -> Markup:
    """The lens that is in the eye; before surgery, or where nobody has said, the one that is planned."""
    done = case.done
    if done is not None and done.no_lens is Answer.YES:
        return here.words.say("done.lens-none")
    lens = done.lens if done is not None and done.lens is not None else case.plan.lens
    return here.words.remark(lens_remark(lens)) if lens else here.words.say("value.lens-not-chosen")


def voice_of(here: Visitor) -> Voice:
    """The voice of the sheets in the language of the pages."""
    return Voice((here.words.tag,), here.office.digits)
