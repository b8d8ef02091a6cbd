"""Separate choices: photographs, recording, teaching, research and personal data, on a paper of their own."""

from __future__ import annotations

from dataclasses import replace

from consent.case import DecisionBasis
from consent.compose.document import Block, Choice, Document, Para, Section
from consent.compose.frame import finish
from consent.compose.signing import beside_the_decider, decider, side_by_side
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box
from consent.language import Quoted
from consent.review.assessment import Assessment

SHEET = "separate-choices"
_CHOICES = ("photographs", "recording", "teaching", "research")


def separate_choices(assessment: Assessment, voice: Voice) -> Document:
    """The composed paper. Nothing on it changes the treatment, so nothing of it stands on the consent form."""
    sections = (_who(assessment, voice), _choices(assessment, voice), _signatures(assessment, voice))
    return finish(voice, assessment, SHEET, voice.line("form.separate.heading"), sections)


def _who(assessment: Assessment, voice: Voice) -> Section:
    why = Para(voice.line("form.separate.why"))
    return Section("who", None, (_silent(eye_box(assessment, voice)), why))


def _choices(assessment: Assessment, voice: Voice) -> Section:
    accept, refuse = voice.line("choice.accept"), voice.line("choice.refuse")
    blocks: list[Block] = [
        Choice(voice.line(f"form.separate.{name}"), accept, refuse, elements=(f"IN-22:{name}",)) for name in _CHOICES
    ]
    data = assessment.clinic.personal_data
    if data is not None:
        own = assessment.case.patient.decision.basis is DecisionBasis.SELF
        name = "form.separate.data" if own else "form.separate.data-guardian"
        said = voice.line(name, purpose=Quoted(data.purpose), contact=Quoted(data.contact))
        blocks.append(Choice(said, accept, refuse, elements=("IN-18",) if own else ("IN-18", "IN-19")))
    return Section("choices", None, tuple(blocks))


def _signatures(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    meaning = voice.line("form.separate.signature-means")
    signer = _silent(decider(case, voice, meaning, names_eye=False))
    beside = side_by_side([_silent(block) for block in beside_the_decider(case, voice)])
    return Section("signatures", voice.line("form.signatures.heading"), (signer, *beside))


def _silent(block: Block) -> Block:
    """What is signed here is not signed on the consent form, and answers for nothing on it."""
    return replace(block, elements=(), spots=())
