"""The consent form: both languages side by side, this eye's risks, each extra step with its own yes and no."""

from __future__ import annotations

from consent.compose.document import Document
from consent.compose.form_plan import different, gain, who, why
from consent.compose.form_record import people, record
from consent.compose.form_risks import extra_steps, numb, risks
from consent.compose.form_ways import other_ways
from consent.compose.frame import finish
from consent.compose.signing import signatures
from consent.compose.voice import Voice
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "consent-form"


def consent_form(assessment: Assessment, voice: Voice) -> Document:
    """The composed form in the languages of ``voice``, the patient's first."""
    sections = tuple(
        section(assessment, voice)
        for section in (
            who,
            why,
            different,
            gain,
            other_ways,
            risks,
            extra_steps,
            numb,
            people,
            record,
            signatures,
        )
    )
    title = voice.line("form.title", eye=remark(f"eye.{assessment.case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections, title_elements=("SM-01", "SM-02:title"))
