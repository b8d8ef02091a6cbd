"""The consent form: both languages side by side, this eye's risks, each extra step with its own yes and no."""

from __future__ import annotations

from consent.case import Answer, Operation
from consent.compose.counts import WHOLE, per_thousand
from consent.compose.differences import differences
from consent.compose.document import (
    Blank,
    Block,
    Bullets,
    Choice,
    Document,
    EyeBox,
    Facts,
    Line,
    Para,
    Question,
    Section,
)
from consent.compose.figures import risk_block
from consent.compose.frame import finish
from consent.compose.pictures import eye_side
from consent.compose.signing import day_of_surgery, signatures
from consent.compose.voice import Voice
from consent.evidence import library
from consent.language import Quoted
from consent.review.assessment import Assessment
from consent.risk import Alternative, risk_plan
from consent.wording import Remark, remark

SHEET = "consent-form"


def consent_form(assessment: Assessment, voice: Voice) -> Document:
    """The composed form in the languages of ``voice``, the patient's first."""
    sections = (
        _who(assessment, voice),
        _why(assessment, voice),
        _different(assessment, voice),
        _gain(assessment, voice),
        _other_ways(assessment, voice),
        _risks(assessment, voice),
        _extra_steps(assessment, voice),
        _numb(assessment, voice),
        _people(assessment, voice),
        _matters(assessment, voice),
        _separate(assessment, voice),
        _teach_back(voice),
        signatures(assessment, voice),
        day_of_surgery(assessment, voice),
    )
    eye = remark(f"eye.{assessment.case.eye.side}")
    return finish(voice, assessment, SHEET, voice.line("form.title", eye=eye), sections)


def _section(voice: Voice, name: str, *blocks: Block) -> Section:
    return Section(name, voice.line(f"form.{name}.heading"), blocks)


def _row(voice: Voice, label: str, value: Line) -> tuple[Line, Line]:
    return voice.line(f"label.{label}"), value


def _who(assessment: Assessment, voice: Voice) -> Section:
    case, plan = assessment.case, assessment.case.plan
    eye = remark(f"eye.{case.eye.side}")
    surgeon = f"{plan.surgeon.name} ({plan.surgeon.registration})" if plan.surgeon.registration else plan.surgeon.name
    rows = [
        _row(voice, "name", voice.quoted(case.patient.name)),
        _row(voice, "record-number", voice.show(case.patient.record_number)),
        _row(voice, "age", voice.count("value.years", case.age_years)),
        _row(voice, "operation", voice.line(f"operation.{plan.operation}")),
        _row(voice, "date", voice.show(plan.date)),
    ]
    facts = [
        Facts(tuple(rows)),
        Facts((_row(voice, "surgeon", voice.quoted(surgeon)),), elements=("IN-16", "ST-07")),
    ]
    if plan.lens is not None:
        facts.append(Facts((_row(voice, "lens", _lens(assessment, voice)),), elements=("SM-06",)))
    box = EyeBox(
        voice.remark(eye),
        eye_side(case.eye.side),
        voice.line("picture.eye-side", eye=eye),
        elements=("IN-17", "SM-01"),
    )
    return _section(voice, "who", box, *facts)


def _lens(assessment: Assessment, voice: Voice) -> Line:
    lens = assessment.case.plan.lens
    if lens is None:
        return voice.line("value.lens-not-chosen")
    if lens.power_d is None:
        return voice.line("value.lens-without-power", design=remark(f"lens.{lens.design}"))
    return voice.line("value.lens", design=remark(f"lens.{lens.design}"), power=lens.power_d)


def _why(assessment: Assessment, voice: Voice) -> Section:
    operation = assessment.case.plan.operation
    how = "form.why.how-phaco" if operation.is_phaco else "form.why.how-manual"
    blocks = [
        Para(voice.line("form.why.cloudy"), elements=("IN-02",)),
        Para(voice.line("form.why.what-we-do"), elements=("IN-01",)),
        Para(voice.line(how), elements=("IN-01",)),
    ]
    if operation is Operation.PHACO_TRABECULECTOMY:
        blocks.append(Para(voice.line("form.why.drainage"), elements=("IN-01",)))
    return _section(voice, "why", *blocks)


def _different(assessment: Assessment, voice: Voice) -> Section:
    only_eye = any(point.id == "only-eye" for point in assessment.points)
    items = tuple(voice.remark(unit) for unit in differences(assessment.case, only_eye))
    return _section(voice, "different", Bullets(items, elements=("IN-04",)))


def _gain(assessment: Assessment, voice: Voice) -> Section:
    estimate = assessment.risks["good_vision"]
    gain = risk_block(voice, estimate, assessment.case, assessment.clinic, ("IN-02",))
    return _section(
        voice,
        "gain",
        Para(voice.line("form.gain.hope"), elements=("IN-02",)),
        gain,
        Para(voice.line("form.gain.limits"), elements=("IN-02",)),
        Para(voice.line("form.gain.without"), elements=("IN-05",)),
    )


def _other_ways(assessment: Assessment, voice: Voice) -> Section:
    items = tuple(voice.line(f"form.other-ways.{name}") for name in ("wait", "glasses", "other-operation"))
    ways = [way for way in risk_plan().alternatives if way.concerns(assessment.case)]
    counted = tuple(_counted(voice, way) for way in ways)
    unknown = voice.line("form.other-ways.not-known")
    return _section(voice, "other-ways", Bullets((*items, *counted, unknown), elements=("IN-03",)))


def _counted(voice: Voice, way: Alternative) -> Line:
    one, other = (per_thousand(library().cited(name).figure.probability) for name in (way.one, way.other))
    return voice.line(
        f"alternative.{way.id}", whole=WHOLE, one=one, one_rest=WHOLE - one, other=other, other_rest=WHOLE - other
    )


def _risks(assessment: Assessment, voice: Voice) -> Section:
    case, clinic = assessment.case, assessment.clinic
    blocks: list[Block] = [Para(voice.line("form.risks.how-to-read", whole=WHOLE), elements=("IN-04",))]
    harms = [estimate for estimate in assessment.risks.values() if estimate.applies and not estimate.benefit]
    blocks += [risk_block(voice, estimate, case, clinic, ("IN-04",)) for estimate in harms]
    blocks.append(Para(voice.line("form.risks.averages"), style="small"))
    return _section(voice, "risks", *blocks)


def _extra_steps(assessment: Assessment, voice: Voice) -> Section:
    accept, refuse = voice.line("choice.accept"), voice.line("choice.refuse")
    choices = [
        Choice(voice.line(f"step.{step}"), accept, refuse, elements=("IN-06",))
        for step in assessment.case.plan.extra_steps
    ]
    return _section(
        voice,
        "extra-steps",
        Para(voice.line("form.extra-steps.why" if choices else "form.extra-steps.none")),
        *choices,
        Para(voice.line("form.extra-steps.nothing-else"), style="strong", elements=("IN-07",)),
    )


def _numb(assessment: Assessment, voice: Voice) -> Section:
    kind = assessment.case.plan.anaesthesia
    text = f"anaesthesia.{kind}.explained" if kind else "anaesthesia.not-chosen"
    return _section(voice, "numb", Para(voice.line(text), elements=("IN-01", "IN-04")))


def _people(assessment: Assessment, voice: Voice) -> Section:
    plan = assessment.case.plan
    trainee = {
        Answer.NO: "form.people.no-trainee",
        Answer.YES: "form.people.trainee",
        Answer.UNKNOWN: "form.people.trainee-not-decided",
    }[plan.trainee_may_operate]
    blocks: list[Block] = [
        Para(voice.line("form.people.surgeon", surgeon=Quoted(plan.surgeon.name)), elements=("ST-07",)),
        Para(voice.line(trainee), elements=("ST-08",)),
    ]
    if plan.camp is Answer.YES:
        phone = assessment.clinic.telephone
        camp = voice.line("form.people.camp", place=Quoted(assessment.clinic.address), day=phone.day, night=phone.night)
        blocks.append(Para(camp, elements=("IN-21",)))
    return _section(voice, "people", *blocks)


def _matters(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    blocks: list[Block] = []
    matters: list[Line] = [voice.line(f"matters.{name}") for name in case.patient.what_matters]
    if matters:
        blocks.append(Bullets(tuple(matters)))
    if case.patient.what_matters_in_own_words:
        blocks.append(Para(voice.line("matters.own-words", words=Quoted(case.patient.what_matters_in_own_words))))
    questions = [Para(voice.line("form.matters.asked", question=Quoted(text))) for text in case.talk.questions]
    blocks += questions
    blocks.append(Blank(voice.line("form.matters.questions"), lines=2, elements=("ST-09",)))
    return _section(voice, "matters", *blocks)


def _separate(assessment: Assessment, voice: Voice) -> Section:
    accept, refuse = voice.line("choice.accept"), voice.line("choice.refuse")
    blocks: list[Block] = [
        Para(voice.line("form.separate.why")),
        Choice(voice.line("form.separate.photographs"), accept, refuse, elements=("IN-22",)),
        Choice(voice.line("form.separate.teaching"), accept, refuse, elements=("IN-22",)),
    ]
    data = assessment.clinic.personal_data
    if data is not None:
        said: Remark = remark("form.separate.data", purpose=Quoted(data.purpose), contact=Quoted(data.contact))
        blocks.append(Choice(voice.remark(said), accept, refuse, elements=("IN-18",)))
    return _section(voice, "separate", *blocks)


def _teach_back(voice: Voice) -> Section:
    first, again = voice.line("teach-back.first-time"), voice.line("teach-back.after-again")
    topics = ("which-eye", "what-is-done", "one-risk", "may-refuse", "warning-signs")
    questions = [Question(voice.line(f"teach-back.{topic}"), first, again, elements=("UN-01",)) for topic in topics]
    return _section(voice, "teach-back", Para(voice.line("teach-back.ask")), *questions)
