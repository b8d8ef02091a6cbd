"""Signatures: the patient's own, thumb and witness where they are needed, the second look on the day."""

from __future__ import annotations

from consent.case import Answer, Case, DecisionBasis
from consent.compose.document import Block, Bullets, Line, Para, Section, Signature, TickList
from consent.compose.voice import Voice
from consent.review.assessment import Assessment
from consent.wording import remark


def _labels(voice: Voice, *names: str) -> tuple[Line, ...]:
    return tuple(voice.line(f"sign.{name}") for name in names)


def signatures(assessment: Assessment, voice: Voice) -> Section:
    """The signing section: patient (or who decides), reader and witness, interpreter, explainer, surgeon."""
    case = assessment.case
    eye = remark(f"eye.{case.eye.side}")
    own = case.patient.decision.basis is DecisionBasis.SELF
    blocks: list[Block] = [
        Bullets(
            (
                voice.line("sign.rights"),
                voice.line("sign.change-mind"),
                voice.line("sign.copy"),
            ),
            elements=("ST-10",),
        ),
        Para(
            voice.line("sign.language", language=remark(f"language.{case.patient.language}")),
            elements=("IN-12",),
        ),
        _decider(case, voice, voice.line("sign.patient-means" if own else "sign.guardian-means", eye=eye)),
    ]
    if own and case.patient.reads is not Answer.YES:
        blocks.append(_reader(case, voice))
    if not own or case.patient.reads is not Answer.YES or case.patient.writes_name is not Answer.YES:
        blocks.append(_witness(case, voice, "sign.witness-means" if own else "sign.witness-means-guardian"))
    if case.patient.interpreter is not None:
        blocks.append(_interpreter(case, voice))
    blocks += _team(assessment, voice)
    return Section("signatures", voice.line("form.signatures.heading"), tuple(blocks))


def _decider(case: Case, voice: Voice, meaning: Line) -> Signature:
    own = case.patient.decision.basis is DecisionBasis.SELF
    thumb = voice.line("sign.thumb") if own and case.patient.writes_name is not Answer.YES else None
    elements = ("IN-08", "SM-02", "IN-09") if own else ("IN-08", "SM-02", "IN-11")
    name = case.patient.name if own else (case.patient.decision.name or "")
    labels = ("signature", "date", "time") if own else ("signature", "relation", "basis", "date", "time")
    return Signature(
        role=voice.line("sign.patient" if own else "sign.guardian"),
        meaning=meaning,
        labels=_labels(voice, *labels),
        name=voice.quoted(name) if name else None,
        thumb=thumb,
        elements=(*elements, "IN-14") if thumb else elements,
    )


def _reader(case: Case, voice: Voice) -> Signature:
    return Signature(
        role=voice.line("sign.reader"),
        meaning=voice.line("sign.reader-means", language=remark(f"language.{case.patient.language}")),
        labels=_labels(voice, "name", "signature", "date", "time"),
        elements=("IN-13",),
    )


def _witness(case: Case, voice: Voice, meaning: str) -> Signature:
    witness = case.talk.witness
    return Signature(
        role=voice.line("sign.witness"),
        meaning=voice.line(meaning),
        labels=_labels(voice, "relation", "address", "signature", "date", "time"),
        name=voice.quoted(witness) if witness else None,
        elements=("IN-15",),
    )


def _interpreter(case: Case, voice: Voice) -> Signature:
    interpreter = case.patient.interpreter
    return Signature(
        role=voice.line("sign.interpreter"),
        meaning=voice.line("sign.interpreter-means"),
        labels=_labels(voice, "languages", "mode", "signature", "date", "time"),
        name=voice.quoted(interpreter.name) if interpreter else None,
        elements=("ST-06",),
    )


def _team(assessment: Assessment, voice: Voice) -> list[Block]:
    case = assessment.case
    surgeon = case.plan.surgeon
    named = f"{surgeon.name} ({surgeon.registration})" if surgeon.registration else surgeon.name
    return [
        Signature(
            role=voice.line("sign.explainer"),
            meaning=voice.line("sign.explainer-means"),
            labels=_labels(voice, "role", "signature", "date", "time"),
            name=voice.quoted(case.talk.by) if case.talk.by else None,
            elements=("ST-01", "ST-07"),
        ),
        Signature(
            role=voice.line("sign.surgeon"),
            meaning=voice.line("sign.surgeon-means"),
            labels=_labels(voice, "signature", "date", "time"),
            name=voice.quoted(named),
            elements=("IN-16", "ST-07"),
        ),
    ]


def day_of_surgery(assessment: Assessment, voice: Voice) -> Section:
    """The second stage on the day of surgery, and the block for a changed mind."""
    eye = remark(f"eye.{assessment.case.eye.side}")
    yes, no = voice.line("choice.yes"), voice.line("choice.no")
    changes = tuple(
        voice.line(f"day.changed-{what}") for what in ("condition", "plan", "surgeon", "information", "mind")
    )
    site = tuple(voice.line(f"day.{what}", eye=eye) for what in ("site-said", "site-marked", "form-matches"))
    return Section(
        "day-of-surgery",
        voice.line("form.day-of-surgery.heading"),
        (
            TickList((voice.line("day.still-wishes"),), yes, no, elements=("ST-02",)),
            Para(voice.line("day.any-yes")),
            TickList(changes, yes, no, elements=("ST-03",)),
            TickList(site, yes, no, elements=("SM-03", "SM-04", "SM-05", "SM-02")),
            Signature(
                role=voice.line("day.confirmed-by"),
                meaning=voice.line("day.confirmed-means"),
                labels=_labels(voice, "name", "signature", "date", "time"),
                elements=("ST-02",),
            ),
            Signature(
                role=voice.line("day.withdrawn"),
                meaning=voice.line("day.withdrawn-means"),
                labels=_labels(voice, "name", "signature", "date", "time"),
                elements=("ST-05",),
            ),
        ),
    )
