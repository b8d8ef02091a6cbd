"""The counsellor's guide: the talk as a spoken script, what to show and when, and what the patient says back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from consent.case import Answer, DecisionBasis
from consent.compose.counts import show
from consent.compose.document import Blank, Block, Boxes, Cue, Document, Line, Para, Question, Section, Signature
from consent.compose.figures import spoken_figures
from consent.compose.form_plan import lens_named
from consent.compose.form_record import costs, who_operates
from consent.compose.form_risks import harms, numb
from consent.compose.frame import finish, telephone_footer
from consent.compose.signing import labels, needs_reader
from consent.compose.story import plan_story, story
from consent.compose.talk_settings import talk_settings
from consent.compose.teach_back import questions
from consent.compose.voice import Voice, joined
from consent.language import Quoted
from consent.review import options
from consent.review.assessment import Assessment
from consent.risk import Estimate
from consent.wording import remark

SHEET = "counsellor-guide"
_SPOKEN = ("say", "ask")


def minutes_of(section: Section, name: str) -> int:
    """Whole minutes the part takes: the words said or asked, in the patient's language, and its showing."""
    spoken = [
        text for block in section.blocks if isinstance(block, Cue) and block.mark in _SPOKEN for text in block.texts
    ]
    words = sum(len(text[0].plain.split()) for text in spoken)
    return max(1, round(words / talk_settings().words_per_minute + talk_settings().seconds[name] / 60))


def counsellor_guide(assessment: Assessment, voice: Voice) -> Document:
    """The composed guide, the patient's language beside the clinic's."""
    made = {
        "greet": _greet(assessment, voice),
        "wrong": _wrong(assessment, voice),
        "different": _different(assessment, voice),
        "numbers": _numbers(assessment, voice),
        "ways": _ways(assessment, voice),
        "home": _home(assessment, voice),
        "back": _back(assessment, voice),
        "close": _close(assessment, voice),
    }
    minutes = {name: minutes_of(section, name) for name, section in made.items()}
    about = Para(voice.line("guide.about", minutes=sum(minutes.values())), style="small")
    sections = [Section("about", None, (about,))]
    for name, part in made.items():
        heading = joined([voice.line(f"guide.{name}.heading"), voice.count("guide.minutes", minutes[name])], " · ")
        sections.append(replace(part, heading=heading))
    title = voice.line("guide.title", name=Quoted(assessment.case.patient.name))
    return finish(voice, assessment, SHEET, title, tuple(sections))


def _part(name: str, blocks: Iterator[Block]) -> Section:
    """One part of the talk; its heading is put on when its minutes are known."""
    return Section(name, None, tuple(blocks))


def _cue(voice: Voice, mark: str, *texts: Line) -> Cue:
    return Cue(mark, voice.line(f"guide.{mark}"), texts)


def _greet(assessment: Assessment, voice: Voice) -> Section:
    eye = remark(f"eye.{assessment.case.eye.side}")

    def blocks() -> Iterator[Block]:
        yield from (_cue(voice, "note", note) for note in _notes(assessment, voice))
        yield _cue(voice, "say", voice.line("guide.greet.say", eye=eye))
        yield _cue(voice, "ask", voice.line("guide.greet.ask-eye"))
        yield _cue(voice, "show", voice.line("guide.greet.show-eye", eye=eye))
        yield _cue(voice, "ask", voice.line("guide.greet.ask-detail"), voice.line("guide.greet.ask-matters"))

    return _part("greet", blocks())


def _notes(assessment: Assessment, voice: Voice) -> Iterator[Line]:
    """What the counsellor has to know before beginning."""
    patient = assessment.case.patient
    if patient.interpreter is not None:
        yield voice.line("guide.greet.note-interpreter", name=Quoted(patient.interpreter.name))
    if patient.hearing_impaired is Answer.YES:
        yield voice.line("guide.greet.note-hearing")
    if needs_reader(assessment.case):
        yield voice.line("guide.greet.note-aloud")
    if patient.decision.basis is not DecisionBasis.SELF and patient.decision.name:
        yield voice.line("guide.greet.note-guardian", name=Quoted(patient.decision.name))
    if patient.declines_information is Answer.YES:
        yield voice.line("guide.greet.note-declines")


def _wrong(assessment: Assessment, voice: Voice) -> Section:
    operation = assessment.case.plan.operation

    def blocks() -> Iterator[Block]:
        yield _cue(voice, "show", voice.line("guide.wrong.show"))
        how = "form.why.how-phaco" if operation.is_phaco else "form.why.how-manual"
        told = [voice.line(name) for name in ("form.why.cloudy", "form.why.what-we-do", how)]
        kinds = [voice.remark(unit) for paragraph in plan_story(assessment.case) for unit in paragraph.units]
        yield _cue(voice, "say", *told, *kinds)
        if assessment.case.plan.lens is not None:
            yield _cue(voice, "show", lens_named(assessment, voice))

    return _part("wrong", blocks())


def _different(assessment: Assessment, voice: Voice) -> Section:
    told = story(assessment.case, (point.id for point in assessment.points))

    def blocks() -> Iterator[Block]:
        if not told:
            yield _cue(voice, "say", voice.line("different.nothing"))
            return
        if any(paragraph.topic == "lens" for paragraph in told):
            yield _cue(voice, "show", voice.line("guide.different.show"))
        for paragraph in told:
            units = joined([voice.remark(unit) for unit in paragraph.units], " ")
            lead = voice.line(f"topic.{paragraph.topic}.heading")
            yield _cue(voice, "say", voice.each("topic.paragraph", lead=lead, text=units))

    return _part("different", blocks())


def _numbers(assessment: Assessment, voice: Voice) -> Section:
    gain = assessment.risks["good_vision"]

    def blocks() -> Iterator[Block]:
        yield _cue(voice, "show", voice.line("guide.numbers.show"))
        yield _cue(voice, "note", voice.line("guide.numbers.note"))
        yield _cue(voice, "say", voice.line("form.gain.hope"), *spoken_figures(voice, gain, assessment))
        for estimate in told_aloud(assessment):
            yield _cue(voice, "say", *spoken_figures(voice, estimate, assessment))
        yield _cue(voice, "ask", voice.line("guide.numbers.more"))
        yield _cue(voice, "note", voice.line("guide.numbers.more-note"))

    return _part("numbers", blocks())


def told_aloud(assessment: Assessment) -> tuple[Estimate, ...]:
    """The harms told aloud: the gravest, and what is frequent in this eye; a torn bag before what follows from it."""
    found = harms(assessment)
    told = [
        estimate
        for place, estimate in enumerate(found)
        if place < talk_settings().first_harms
        or (estimate.personal and _count(estimate) >= talk_settings().many_in_1000)
    ]
    return tuple(sorted(told, key=lambda estimate: estimate.outcome != "capsule_rupture"))


def _count(estimate: Estimate) -> int:
    """This eye's count in 1,000, the highest where a range is; accepted or not. What is frequent here is told aloud
    before its own figure is accepted too, then with the usual eye's."""
    if not estimate.known:
        return 0
    span = estimate.interval
    low, high = (span.low, span.high) if span else (None, None)
    own = show(estimate.probability, low, high, estimate.single_figure)
    return max(own.count, own.high)


def _ways(assessment: Assessment, voice: Voice) -> Section:
    """The ways open to the patient, no surgery among them; then the extra steps of the planned one."""
    case = assessment.case

    def blocks() -> Iterator[Block]:
        yield _cue(voice, "say", *(_way(voice, option.id) for option in options(case)))
        without = voice.line("form.gain.without")
        yield _cue(voice, "say", voice.each("topic.paragraph", lead=voice.line("form.gain.without-lead"), text=without))
        if case.plan.extra_steps:
            yield _cue(voice, "say", voice.line("guide.steps.say"))
            yield _cue(voice, "show", voice.line("guide.steps.show"))
            yield _cue(voice, "say", *(voice.line(f"step.{step}") for step in case.plan.extra_steps))
            yield _cue(voice, "note", voice.line("guide.steps.refused"))

    return _part("ways", blocks())


def _home(assessment: Assessment, voice: Voice) -> Section:
    """How the eye is made numb, who operates, what it costs; what to look out for at home and whom to call."""
    numbing = [block.text for block in numb(assessment, voice).blocks if isinstance(block, Para)]

    def blocks() -> Iterator[Block]:
        yield _cue(voice, "say", *numbing)
        yield _cue(voice, "say", *who_operates(assessment, voice), costs(assessment, voice))
        yield _cue(voice, "show", voice.line("guide.home.show"))
        yield _cue(voice, "say", telephone_footer(voice, assessment))

    return _part("home", blocks())


def _way(voice: Voice, name: str) -> Line:
    parts = [voice.line(f"option.{name}.{part}") for part in ("good", "bad")]
    return voice.each("topic.paragraph", lead=voice.line(f"option.{name}.name"), text=joined(parts, " "))


def _back(assessment: Assessment, voice: Voice) -> Section:
    boxes = tuple(voice.line(f"guide.back.{name}") for name in ("first-time", "after-again", "not-yet"))
    key, words = voice.line("guide.back.key"), voice.line("guide.back.words")

    def blocks() -> Iterator[Block]:
        yield _cue(voice, "say", voice.line("guide.back.say"))
        for asked in questions(assessment):
            yield Question(
                voice.remark(asked.question),
                key,
                voice.remark(asked.key),
                words,
                boxes,
                elements=(
                    *(f"UN-01:{part}" for part in ("question", "key answer", "own words", "result")),
                    f"UN-02:{asked.topic}",
                ),
            )
        yield _cue(voice, "note", voice.line("guide.back.note"))

    return _part("back", blocks())


def _close(assessment: Assessment, voice: Voice) -> Section:
    names = ("role", "signature", "date", "time")
    by = assessment.case.talk.by

    def blocks() -> Iterator[Block]:
        yield _cue(voice, "ask", voice.line("guide.close.ask"))
        yield Blank(voice.line("guide.close.questions"), lines=2)
        yield _cue(voice, "say", voice.line("guide.close.say"))
        outcomes = tuple(voice.line(f"guide.close.{name}") for name in ("agrees", "wants-time", "refuses"))
        yield Boxes(voice.line("guide.close.outcome"), outcomes)
        aids = tuple(voice.line(f"aid.{name}") for name in ("pictures", "model of the eye", "read aloud", "recording"))
        yield Boxes(voice.line("guide.close.used"), aids)
        yield _cue(voice, "note", voice.line("guide.close.note"))
        yield Signature(
            role=voice.line("sign.explainer"),
            meaning=voice.line("guide.close.held"),
            labels=labels(voice, *names),
            name=voice.quoted(by) if by else None,
        )

    return _part("close", blocks())
