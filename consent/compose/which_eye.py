"""The eye in words and drawn: the same view on every sheet of a pack."""

from __future__ import annotations

from consent.case import DropGiver, Side
from consent.compose.document import EyeBox
from consent.compose.frame import telephone
from consent.compose.pictures import eye_side, pictogram
from consent.compose.voice import Voice
from consent.review.assessment import Assessment
from consent.wording import remark


def face(side: Side, assessment: Assessment) -> str:
    """The face as whoever puts the drops in sees it: a helper from in front, the patient as in a mirror."""
    return eye_side(side, from_in_front=_from_in_front(assessment))


def eye_box(assessment: Assessment, voice: Voice, elements: tuple[str, ...] = ()) -> EyeBox:
    """The eye to be operated, in words and drawn. Two views in one pack would show the same eye on opposite sides."""
    side = assessment.case.eye.side
    eye = remark(f"eye.{side}")
    call = telephone(voice, assessment.clinic)
    seen = "picture.eye-side-in-front" if _from_in_front(assessment) else "picture.eye-side"
    return EyeBox(voice.remark(eye), face(side, assessment), voice.line(seen, eye=eye), call, elements=elements)


def faced(name: str, assessment: Assessment, crossed: bool = False) -> str:
    """The small picture ``name`` with its ill eye on the side of the page where this patient's is drawn."""
    right = assessment.case.eye.side is Side.RIGHT
    return pictogram(name, on_left=right == _from_in_front(assessment), crossed=crossed)


def _from_in_front(assessment: Assessment) -> bool:
    return assessment.case.patient.drops_given_by is DropGiver.HELPER
