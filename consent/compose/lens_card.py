"""The lens card: which lens is in which eye, for every eye doctor to come; with room for the sticker."""

from __future__ import annotations

from consent.case import Answer
from consent.compose.after_surgery import operated_by
from consent.compose.document import Columns, Document, Facts, Line, Para, Room, Section
from consent.compose.frame import finish
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "lens-card"


def is_needed(assessment: Assessment) -> bool:
    """Whether a lens was placed, or it is known that none was."""
    done = assessment.case.done
    return done is not None and (done.lens is not None or done.no_lens is Answer.YES)


def lens_card(assessment: Assessment, voice: Voice) -> Document:
    """The composed card on A5, the languages of ``voice`` together."""
    case, clinic = assessment.case, assessment.clinic
    left = Facts(tuple(_lens(assessment, voice)))
    right = Facts(
        (
            (voice.line("label.name"), voice.quoted(case.patient.name)),
            (voice.line("label.record-number"), voice.show(case.patient.record_number)),
            (voice.line("label.date"), voice.show(case.plan.date)),
            (voice.line("label.surgeon"), voice.quoted(operated_by(case))),
            (voice.line("label.place"), voice.quoted(f"{clinic.name}, {clinic.address}")),
        )
    )
    keep = Para(voice.line("lens-card.keep"), style="strong")
    sections = (
        Section("who", None, (eye_box(assessment, voice),)),
        Section("lens", None, (Columns((left,), (right,), style="card"),)),
        Section("sticker", None, (Room(voice.line("lens-card.sticker")), keep)),
    )
    title = voice.line("lens-card.title", eye=remark(f"eye.{case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections, layout="card", paper="A5")


def _lens(assessment: Assessment, voice: Voice) -> list[tuple[Line, Line]]:
    lens = assessment.case.done.lens if assessment.case.done else None
    if lens is None:
        return [(voice.line("label.lens-placed"), voice.line("value.no-lens-yet"))]
    power = (
        voice.line("value.dioptres", power=lens.power_d)
        if lens.power_d is not None
        else voice.line("value.not-entered")
    )
    torn = assessment.case.done is not None and assessment.case.done.capsule_torn is Answer.YES
    bag = [(voice.line("lens-card.bag"), voice.line("lens-card.bag-torn"))] if torn else []
    return [
        (voice.line("lens-card.kind"), voice.line(f"lens.{lens.design}")),
        (voice.line("lens-card.material"), voice.quoted(lens.material)),
        (voice.line("lens-card.power"), power),
        (voice.line("lens-card.place"), voice.line(f"place.{lens.place}")),
        *bag,
    ]
