"""Whose page it is: patient, eye in words and drawn, plan, where the case stands."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from consent.case import Case, DropGiver
from consent.compose import Voice
from consent.compose.form_plan import lens_remark
from consent.compose.which_eye import face
from consent.desk.here import Visitor
from consent.record.moves import State
from consent.record.state import CaseState
from consent.wording import remark


@dataclass(frozen=True)
class Heading:
    """The head of every page about one case. ``caption`` says from where the face is seen."""

    subject: str
    seen: int
    one: Case
    state: State
    face: Markup
    caption: Markup
    lens: Markup


def heading(here: Visitor, case: CaseState) -> Heading:
    """The head of the pages about ``case``; the face is drawn as on the patient's papers. Raises ``RecordError``."""
    one = case.case
    in_front = one.patient.drops_given_by is DropGiver.HELPER
    seen_from = "picture.eye-side-in-front" if in_front else "picture.eye-side"
    drawn = face(one.eye.side, here.office.shelf.assessment(case))
    return Heading(
        case.subject,
        case.sequence,
        one,
        case.state,
        Markup(drawn),  # noqa: S704  our own drawing
        here.words.say(seen_from, eye=remark(f"eye.{one.eye.side}")),
        here.words.remark(lens_remark(one.plan.lens)) if one.plan.lens else here.words.say("value.lens-not-chosen"),
    )


def voice_of(here: Visitor) -> Voice:
    """The voice of the sheets in the language of the pages."""
    return Voice((here.words.tag,), here.office.digits)
