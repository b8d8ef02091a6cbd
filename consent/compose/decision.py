"""The paper for a patient who says no, or wants time: what they decided, what follows, when and how to come back."""

from __future__ import annotations

from consent.case import DecisionBasis, Outcome
from consent.compose.document import Blank, Block, Bullets, Document, Facts, Para, Section, Signature
from consent.compose.form_plan import surgeon_named
from consent.compose.form_ways import counted_lines
from consent.compose.frame import finish, telephone
from consent.compose.signing import beside_the_decider, decider, labels
from consent.compose.voice import Voice, joined
from consent.compose.which_eye import eye_box
from consent.language import Quoted
from consent.review import options
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "decision"
_NAMES = {Outcome.REFUSES: "refuses", Outcome.WANTS_TIME: "wants-time"}


def is_wanted(assessment: Assessment) -> bool:
    """Whether the patient said no or asked for time."""
    return assessment.case.talk.outcome in _NAMES


def decision_paper(assessment: Assessment, voice: Voice) -> Document:
    """The composed paper, both languages side by side. ``KeyError`` unless the patient said no or wants time."""
    name = _NAMES[assessment.case.talk.outcome]
    eye = remark(f"eye.{assessment.case.eye.side}")
    sections = (
        _said(assessment, voice, name),
        _think(voice) if name == "wants-time" else None,
        _without(assessment, voice),
        _back(assessment, voice, name),
        _signatures(assessment, voice, name),
    )
    return finish(
        voice,
        assessment,
        SHEET,
        voice.line(f"decision.{name}.title", eye=eye),
        tuple(section for section in sections if section is not None),
    )


def _said(assessment: Assessment, voice: Voice, name: str) -> Section:
    case, talk = assessment.case, assessment.case.talk
    rows = (
        (voice.line("label.name"), voice.quoted(case.patient.name)),
        (voice.line("label.record-number"), voice.show(case.patient.record_number)),
        (voice.line("label.operation"), voice.line(f"operation.{case.plan.operation}")),
    )
    blocks: list[Block] = [eye_box(assessment, voice), Facts(rows)]
    if talk.at is not None:
        blocks.append(Para(voice.line("decision.date", date=talk.at.date())))
    blocks.append(Para(voice.line(f"decision.{name}.your-right"), style="strong"))
    if talk.outcome_words:
        blocks.append(Para(voice.line("decision.own-words", words=Quoted(talk.outcome_words))))
    if name == "wants-time":
        until = talk.decide_by
        blocks.append(Para(voice.line("decision.until", date=until) if until else voice.line("decision.until-open")))
    return Section("decided", None, tuple(blocks))


def _think(voice: Voice) -> Section:
    items = tuple(voice.line(f"decision.think.{name}") for name in ("now", "fear", "help", "who"))
    blank = Blank(voice.line("form.matters.questions"), lines=2)
    return Section("think", voice.line("decision.think.heading"), (Bullets(items), blank))


def _without(assessment: Assessment, voice: Voice) -> Section:
    waiting = next(option for option in options(assessment.case) if option.id == "wait")
    sure = joined([*counted_lines(voice, waiting), voice.line("option.wait.sure")], " ")
    glasses = joined([voice.line(f"option.glasses.{part}") for part in ("involves", "bad")], " ")
    other = voice.each("topic.paragraph", lead=voice.line("option.glasses.name"), text=glasses)
    blocks = (Para(voice.line("form.gain.without")), Para(sure), Para(other))
    return Section("without", voice.line("decision.without.heading"), blocks)


def _back(assessment: Assessment, voice: Voice, name: str) -> Section:
    call = telephone(voice, assessment.clinic, "decision.telephone")
    items = tuple(voice.line(f"decision.back.{what}") for what in ("any-day", "sooner", "pain"))
    shown = items if name == "refuses" else items[1:]
    return Section("come-back", voice.line("decision.back.heading"), (Bullets(shown), Para(call, style="strong")))


def _signatures(assessment: Assessment, voice: Voice, name: str) -> Section:
    case = assessment.case
    own = case.patient.decision.basis is DecisionBasis.SELF
    meaning = voice.line(f"decision.{'patient' if own else 'guardian'}-means-{name}")
    blocks: list[Block] = [decider(case, voice, meaning, names_eye=False)]
    blocks += beside_the_decider(case, voice)
    blocks.append(
        Signature(
            role=voice.line("sign.surgeon"),
            meaning=voice.line("decision.team-means"),
            labels=labels(voice, "signature", "date", "time"),
            name=voice.quoted(surgeon_named(assessment)),
        )
    )
    return Section("signatures", voice.line("decision.signatures.heading"), tuple(blocks))
