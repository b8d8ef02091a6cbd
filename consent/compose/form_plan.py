"""The first part of the form: whose eye, what is wrong and planned, what sets this eye apart, what may be gained."""

from __future__ import annotations

from consent.case import Answer, Operation
from consent.compose.document import Block, EyeBox, Facts, Line, Para, Section, Spot
from consent.compose.figures import risk_block
from consent.compose.pictures import eye_side
from consent.compose.story import plan_story, story
from consent.compose.voice import Voice, joined
from consent.review.assessment import Assessment
from consent.wording import remark


def section(voice: Voice, name: str, *blocks: Block) -> Section:
    """A section of the form under its heading ``form.<name>.heading``."""
    return Section(name, voice.line(f"form.{name}.heading"), blocks)


def who(assessment: Assessment, voice: Voice) -> Section:
    """Facility, patient, eye in words and drawn, operation, surgeon, lens."""
    case, plan = assessment.case, assessment.case.plan
    rows = (
        (voice.line("label.name"), voice.quoted(case.patient.name)),
        (voice.line("label.record-number"), voice.show(case.patient.record_number)),
        (voice.line("label.age"), voice.count("value.years", case.age_years)),
        (voice.line("label.date"), voice.show(plan.date)),
        (voice.line("label.place"), voice.quoted(assessment.clinic.name)),
    )
    operation = voice.line(f"operation.{plan.operation}")
    surgeon = voice.quoted(surgeon_named(assessment))
    blocks: list[Block] = [
        eye_box(assessment, voice, ("IN-17", "SM-01", "SM-02:body")),
        Facts(rows, spots=(Spot(rows[4][1], ("US-01",)),)),
        Facts(((voice.line("label.operation"), operation),), spots=(Spot(operation, ("US-02",)),)),
        Facts(
            ((voice.line("label.surgeon"), surgeon),),
            spots=(Spot(surgeon, ("IN-16", "ST-07:operates", "US-03", "UK-16:operates")),),
        ),
    ]
    if plan.lens is not None:
        lens = lens_named(assessment, voice)
        blocks.append(Facts(((voice.line("label.lens"), lens),), spots=(Spot(lens, ("SM-06:lens", "UK-13:lens")),)))
    return section(voice, "who", *blocks)


def eye_box(assessment: Assessment, voice: Voice, elements: tuple[str, ...] = ()) -> EyeBox:
    """The eye in words and drawn, as the patient sees it in a mirror."""
    side = assessment.case.eye.side
    eye = remark(f"eye.{side}")
    return EyeBox(voice.remark(eye), eye_side(side), voice.line("picture.eye-side", eye=eye), elements=elements)


def surgeon_named(assessment: Assessment) -> str:
    """Name of the operating surgeon, with the registration where it is known."""
    surgeon = assessment.case.plan.surgeon
    return f"{surgeon.name} ({surgeon.registration})" if surgeon.registration else surgeon.name


def lens_named(assessment: Assessment, voice: Voice) -> Line:
    """Design and power of the planned lens; what is not chosen or not worked out is said."""
    lens = assessment.case.plan.lens
    if lens is None:
        return voice.line("value.lens-not-chosen")
    if lens.power_d is None:
        return voice.line("value.lens-without-power", design=remark(f"lens.{lens.design}"))
    return voice.line("value.lens", design=remark(f"lens.{lens.design}"), power=lens.power_d)


def why(assessment: Assessment, voice: Voice) -> Section:
    """What a cataract is, what is done about it, how long it takes, which lens goes in and where it focuses."""
    operation, minutes = assessment.case.plan.operation, assessment.clinic.operation_minutes
    told = {
        paragraph.topic: [voice.remark(unit) for unit in paragraph.units] for paragraph in plan_story(assessment.case)
    }
    how = [voice.line("form.why.how-phaco" if operation.is_phaco else "form.why.how-manual")]
    if operation is Operation.PHACO_TRABECULECTOMY:
        how.append(voice.line("form.why.drainage"))
    long_ = voice.line("form.why.how-long", minutes=minutes) if minutes else voice.line("form.why.how-long-ask")
    blocks: list[Block] = [
        Para(
            joined([voice.line("form.why.cloudy"), *told.get("kind", [])], " "),
            elements=("IN-02:purpose", "UK-01:diagnosis", "US-14", "UK-12:cataract", "EU-01"),
        ),
        Para(
            joined([voice.line("form.why.what-we-do"), *how, *told.get("build", []), *told.get("care", [])], " "),
            elements=("IN-01", "US-13:operation", "UK-12:surgery", "EU-02", "US-04:operation"),
        ),
        Para(long_, elements=("UK-12:how long",)),
    ]
    unchosen = () if assessment.case.plan.lens else ("UK-13:lens",)
    blocks.append(Para(joined(told["focus"], " "), elements=("UK-13:glasses", "IN-02:effect", *unchosen)))
    return section(voice, "why", *blocks)


def different(assessment: Assessment, voice: Voice) -> Section:
    """What sets this eye apart, a paragraph a topic, each under its lead words; or that nothing does."""
    told = story(assessment.case, (point.id for point in assessment.points))
    blocks = [
        Para(
            voice.each(
                "topic.paragraph",
                lead=voice.line(f"topic.{paragraph.topic}.heading"),
                text=joined([voice.remark(unit) for unit in paragraph.units], " "),
            ),
            elements=("UK-08",),
            spots=tuple(Spot(voice.remark(unit), elements) for unit, elements in paragraph.answers),
        )
        for paragraph in told
    ]
    nothing = Para(voice.line("different.nothing"), elements=("UK-08",))
    return section(voice, "different", *(blocks or [nothing]))


def gain(assessment: Assessment, voice: Voice) -> Section:
    """Benefit with its figure, the long run, what to expect, help, the second eye; and what happens without surgery."""
    case = assessment.case
    hope, limits = voice.line("form.gain.hope"), voice.line("form.gain.limits")
    glasses = case.glasses_on
    recovery = voice.line("form.gain.recovery", date=glasses) if glasses else voice.line("form.gain.recovery-ask")
    second = "form.gain.second-now" if case.other_eye.operated is Answer.YES else "form.gain.second-later"
    help_ = [voice.line("form.gain.help")]
    if any(point.id == "only-eye" for point in assessment.points):
        help_.append(voice.line("form.gain.seen-in-time"))
    return section(
        voice,
        "gain",
        Para(hope, elements=("IN-02:benefits", "UK-12:benefits", "US-04:benefits")),
        risk_block(voice, assessment.risks["good_vision"], assessment, ("IN-02:benefits", "US-15:benefits of surgery")),
        Para(joined([limits, voice.line("form.gain.long-run")], " "), elements=("UK-12:in the long run", "EU-03")),
        Para(recovery, elements=("UK-12:recovery",)),
        Para(voice.line("form.gain.mild"), elements=("UK-10", "US-16:likely but mild")),
        Para(joined(help_, " "), elements=("UK-12:help afterwards",)),
        Para(voice.line(second), elements=("UN-06",)),
        Para(
            voice.line("form.gain.without"),
            elements=("IN-05", "US-18", "UK-01:course", "UK-12:without surgery", "EU-03"),
        ),
    )
