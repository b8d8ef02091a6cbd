"""The talk: full screen for the patient, the counsellor's line below; what is said back is kept as it happens."""

from __future__ import annotations

from typing import Any

from litestar.exceptions import NotFoundException
from litestar.response import Redirect, Template

from consent.case import Answer, ExtraStep, SaidBack, Topic, Understood
from consent.compose.signing import needs_reader
from consent.desk.entry import Entered, read_entry
from consent.desk.fields import field
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.options import options
from consent.desk.questions import Asking
from consent.desk.refused import refuse, refused_steps, take_back
from consent.desk.routes import entered, shown
from consent.desk.slides import Slide, TalkThrough, talk_through
from consent.language import languages
from consent.record.act import Act
from consent.record.entering import enter
from consent.record.moves import Role, State
from consent.record.state import CaseState

WHO = (Role.COUNSELLOR, Role.SURGEON)
OPEN = frozenset({State.DRAFT, State.EXPLAINED, State.SENT_BACK, State.WANTS_TIME})
"""While it stands so, what is said back and asked can be kept."""

UNDO = "undo"


@shown("/case/{subject:str}/talk", WHO)
def show_start(here: Here, subject: str) -> Template:
    """What to know before the talk, and its parts with their minutes."""
    case = here.office.shelf.case(subject)
    talk = talk_of(here, case)
    patient = case.case.patient
    notes = [
        name
        for name, holds in (
            ("interpreter", patient.interpreter_needed is Answer.YES),
            ("hearing", patient.hearing_impaired is Answer.YES),
            ("aloud", needs_reader(case.case)),
            ("declines", patient.declines_information is Answer.YES),
            ("no-words", patient.language not in languages()),
        )
        if holds
    ]
    return here.page(
        "talk-start.html", case=case, talk=talk, notes=notes, tags=_tags(here, case), closed=case.state not in OPEN
    )


@shown("/case/{subject:str}/talk/{number:int}", WHO)
def show_slide(here: Here, subject: str, number: int, asked: str = "") -> Template:
    """One screen of the talk; ``asked``: whether a question was just kept, which shows those there are."""
    return _slide(here, here.office.shelf.case(subject), number, asked=asked)


@shown("/case/{subject:str}/talk/numbers", WHO)
def show_numbers(here: Here, subject: str) -> Redirect:
    """The first screen with numbers."""
    talk = talk_of(here, here.office.shelf.case(subject))
    first = next((part.first for part in talk.parts if part.id == "numbers"), 1)
    return here.go(f"/case/{subject}/talk/{first}")


@entered("/case/{subject:str}/said-back", WHO)
def keep_said_back(here: Here, form: Form, subject: str) -> Any:
    """Keep how the patient said one thing back; choosing again takes the place of the last, or it is taken back."""
    case = here.office.shelf.case(subject)
    number = form.whole("number", 1)
    topic = next((one for one in Topic if one.value == form.text("topic")), None)
    result = next((one for one in Understood if one.value == form.text("result")), None)
    if topic is None or (result is None and form.text("result") != UNDO):
        raise NotFoundException("there is no such question")
    others = [one for one in case.data.get("talk", {}).get("said_back", ()) if one["question"] != topic.value]
    kept = [] if result is None else [_said_entry(topic, result, form.text("words")[:1000])]
    _keep(here, case, "said-back", {"said_back": [*others, *kept]})
    stays = result is None or result is Understood.NOT_YET
    return here.go(f"/case/{subject}/talk/{number if stays else number + 1}")


@entered("/case/{subject:str}/said-back/{number:int}/on", WHO)
def go_on(here: Here, form: Form, subject: str, number: int) -> Any:
    """The next screen; words typed beside an answer are kept with it, and without one are shown again, not lost."""
    case = here.office.shelf.case(subject)
    slide, words = _at(talk_of(here, case), number), form.text("words")[:1000]
    said = _said(case, slide)
    if slide.topic is None:
        raise NotFoundException("there is no such question")
    if words and said is None:
        return _slide(here, case, number, form, 422)
    if said is not None and words != (said.words or ""):
        others = [one for one in case.data["talk"]["said_back"] if one["question"] != slide.topic.value]
        _keep(here, case, "said-back", {"said_back": [*others, _said_entry(slide.topic, said.result, words)]})
    return here.go(f"/case/{subject}/talk/{number + 1}")


@entered("/case/{subject:str}/talk/{number:int}/answer", WHO)
def keep_answer(here: Here, form: Form, subject: str, number: int) -> Any:
    """Keep what the patient answered at the greeting in the case."""
    case = here.office.shelf.case(subject)
    fields = [field(path) for path in _at(talk_of(here, case), number).asks]
    read = read_entry(form, fields, case.data, here.office.zone)
    if read.faults:
        return _slide(here, case, number, form, 422, read)
    if read.data != case.data and case.state in OPEN:
        enter(here.office.record, here.me, subject, Act("changed", case.sequence, read.data))
    return here.go(f"/case/{subject}/talk/{number + 1}")


@entered("/case/{subject:str}/step", WHO)
def keep_step(here: Here, form: Form, subject: str) -> Any:
    """Take an extra step that the patient does not want out of the plan, or put it back; the screen stays."""
    case = here.office.shelf.case(subject)
    step = next((one for one in ExtraStep if one.value == form.text("step")), None)
    if step is None or case.state not in OPEN:
        raise NotFoundException("there is no such step to decide on")
    if form.text("result") == UNDO and step in refused_steps(case):
        enter(here.office.record, here.me, subject, take_back(case, step))
    elif form.text("result") != UNDO and step in case.case.plan.extra_steps:
        enter(here.office.record, here.me, subject, refuse(case, step))
    slides = talk_of(here, here.office.shelf.case(subject)).slides
    number = next((number for number, slide in enumerate(slides, start=1) if slide.step is step), 1)
    return here.go(f"/case/{subject}/talk/{number}")


def _said_entry(topic: Topic, result: Understood, words: str) -> dict[str, Any]:
    return {"question": topic.value, "result": result.value, **({"words": words} if words else {})}


@entered("/case/{subject:str}/asked", WHO)
def keep_question(here: Here, form: Form, subject: str) -> Any:
    """Keep a question of the patient, with the answer if there was one; or take back the last."""
    case = here.office.shelf.case(subject)
    number = form.whole("number", 1)
    question, answer = form.text("question")[:1000], form.text("answer")[:1000]
    before = list(case.data.get("talk", {}).get("questions", ()))
    if form.text("undo"):
        # Only what was seen last is taken back, not what somebody entered meanwhile.
        if len(before) == form.whole("undo"):
            _keep(here, case, "asked", {"questions": before[:-1]})
    elif question and case.state in OPEN:
        asked = {"question": question, **({"answer": answer} if answer else {})}
        if asked not in before[-1:]:  # sent twice, because the answer was lost on its way
            _keep(here, case, "asked", {"questions": [*before, asked]})
    if form.text("on"):
        return here.go(f"/case/{subject}/talk/{number + 1}")
    return here.go(f"/case/{subject}/talk/{number}?asked={'no' if form.text('undo') else 'yes'}")


def _keep(here: Visitor, case: CaseState, kind: str, changes: dict[str, Any]) -> None:
    talk = {**case.data.get("talk", {}), **changes}
    enter(here.office.record, here.me, case.subject, Act(kind, case.sequence, {**case.data, "talk": talk}))


def talk_of(here: Visitor, case: CaseState) -> TalkThrough:
    """The screens of the talk about ``case``, in the patient's language and that of the pages."""
    assessment = here.office.shelf.assessment(case)
    return talk_through(assessment, _tags(here, case), here.office.digits, refused_steps(case))


def _tags(here: Visitor, case: CaseState) -> tuple[str, ...]:
    """The patient's language, where there are words in it, and the counsellor's."""
    own = case.case.patient.language
    first = own if own in languages() else here.words.tag
    return tuple(dict.fromkeys((first, here.words.tag)))


def _at(talk: TalkThrough, number: int) -> Slide:
    if not 1 <= number <= len(talk.slides):
        raise NotFoundException("there is no such screen of the talk")
    return talk.slides[number - 1]


def _slide(
    here: Visitor,
    case: CaseState,
    number: int,
    form: Sent | None = None,
    status: int = 200,
    read: Entered | None = None,
    asked: str = "",
) -> Template:
    talk = talk_of(here, case)
    slide = _at(talk, number)
    data = read.data if read else case.data
    asking = Asking(here.words, data, here.office.zone, options(here.office), form, read)
    return here.page(
        "talk-slide.html",
        status,
        case=case,
        slide=slide,
        number=number,
        count=len(talk.slides),
        parts=talk.parts,
        part=next(part for part in talk.parts if part.id == slide.part),
        tags=_tags(here, case),
        said=_said(case, slide),
        typed=form.text("words") if form and slide.topic else "",
        results=list(Understood),
        questions=asking.questions(field(path) for path in slide.asks),
        refused=slide.step in refused_steps(case),
        closed=case.state not in OPEN,
        asked_now=asked,
    )


def _said(case: CaseState, slide: Slide) -> SaidBack | None:
    return next((one for one in case.case.talk.said_back if one.question is slide.topic), None)


HANDLERS = [show_start, show_slide, show_numbers, keep_said_back, go_on, keep_answer, keep_step, keep_question]
