"""The first part of the form: whose eye, what is wrong and planned, what sets this eye apart, what may be gained."""

from __future__ import annotations

from consent.case import Answer, Lens, Operation
from consent.compose.document import Block, Chances, Columns, Facts, Line, Para, Section, Spot
from consent.compose.figures import chances_head, chances_row
from consent.compose.story import plan_story, story
from consent.compose.voice import Listed, Voice, joined
from consent.compose.which_eye import eye_box
from consent.review.assessment import Assessment
from consent.wording import Remark, remark

_BENEFIT = ("IN-02:benefits", "US-15:benefits of surgery")


def section(voice: Voice, name: str, *blocks: Block) -> Section:
    """A section of the form under its heading ``form.<name>.heading``."""
    return Section(name, voice.line(f"form.{name}.heading"), blocks)


def who(assessment: Assessment, voice: Voice) -> Section:
    """Eye in words and drawn, patient, day and facility, operation, surgeon, lens."""
    case, plan = assessment.case, assessment.case.plan
    operation, surgeon = voice.line(f"operation.{plan.operation}"), voice.quoted(surgeon_named(assessment))
    place, lens = voice.quoted(assessment.clinic.name), lens_named(assessment, voice)
    left = Facts(
        (
            (voice.line("label.name"), voice.quoted(case.patient.name)),
            (voice.line("label.record-number"), voice.show(case.patient.record_number)),
            (voice.line("label.age"), voice.count("value.years", case.age_years)),
        )
    )
    right = Facts(
        (
            (voice.line("label.date"), voice.show(plan.date)),
            (voice.line("label.place"), place),
            (voice.line("label.surgeon"), surgeon),
        ),
        spots=(Spot(place, ("US-01",)), Spot(surgeon, ("IN-16", "ST-07:operates", "US-03", "UK-16:operates"))),
    )
    wide = Facts(
        ((voice.line("label.operation"), operation), (voice.line("label.lens"), lens)),
        spots=(Spot(operation, ("US-02",)), *([Spot(lens, ("SM-06:lens", "UK-13:lens"))] if plan.lens else [])),
    )
    box = eye_box(assessment, voice, ("IN-17", "SM-01", "SM-02:body"))
    first = Para(voice.line("form.first"), style="strong")
    return Section("who", None, (box, first, Columns((left,), (right,), style="facts-pair"), wide))


def surgeon_named(assessment: Assessment) -> str:
    """Name of the operating surgeon, with the registration where it is known."""
    surgeon = assessment.case.plan.surgeon
    return f"{surgeon.name} ({surgeon.registration})" if surgeon.registration else surgeon.name


def lens_named(assessment: Assessment, voice: Voice) -> Line:
    """Design and power of the planned lens; what is not chosen, not worked out or not on the shelf is said."""
    plan = assessment.case.plan
    if plan.lens is None:
        return voice.line("value.lens-not-chosen")
    if plan.lens.on_shelf is Answer.NO and plan.fallback_lenses:
        others = Listed(tuple(lens_remark(lens) for lens in plan.fallback_lenses), "; ")
        return voice.line("value.lens-not-here", lens=lens_remark(plan.lens), others=others)
    if plan.lens.on_shelf is Answer.NO:
        return voice.line("value.lens-not-here-alone", lens=lens_remark(plan.lens))
    return voice.remark(lens_remark(plan.lens))


def lens_remark(lens: Lens) -> Remark:
    """Design and power of a lens, or that its power is not worked out."""
    design = remark(f"lens.{lens.design}")
    if lens.power_d is None:
        return remark("value.lens-without-power", design=design)
    return remark("value.lens", design=design, power=lens.power_d)


def why(assessment: Assessment, voice: Voice) -> Section:
    """What a cataract is, what is done about it, how long it takes, and where the new lens focuses.

    How that lens is built and what protects the eye stands with the drawings of the risk sheet.
    """
    operation, minutes = assessment.case.plan.operation, assessment.clinic.operation_minutes
    told = {
        paragraph.topic: [voice.remark(unit) for unit in paragraph.units] for paragraph in plan_story(assessment.case)
    }
    how = [voice.line("form.why.how-phaco" if operation.is_phaco else "form.why.how-manual")]
    if operation is Operation.PHACO_TRABECULECTOMY:
        how.append(voice.line("form.why.drainage"))
    long_ = voice.line("form.why.how-long", minutes=minutes) if minutes else voice.line("form.why.how-long-ask")
    cloudy = joined([voice.line("form.why.cloudy"), *told.get("kind", [])], " ")
    what = [voice.line("form.why.what-we-do"), *how]
    done, focus = joined(what, " "), joined(told["focus"], " ")
    unchosen = () if assessment.case.plan.lens else ("UK-13:lens",)
    return section(
        voice,
        "why",
        Para(cloudy, elements=("IN-02:purpose", "UK-01:diagnosis", "US-14", "UK-12:cataract", "EU-01")),
        Para(
            joined([done, long_, focus], " "),
            spots=(
                Spot(done, ("IN-01", "US-13:operation", "UK-12:surgery", "EU-02", "US-04:operation")),
                Spot(long_, ("UK-12:how long",)),
                Spot(focus, ("UK-13:glasses", "IN-02:effect", *unchosen)),
            ),
        ),
    )


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
    """Benefit with its figure, the long run, the second eye; and what happens without surgery."""
    case = assessment.case
    hope = voice.line("form.gain.hope")
    good = chances_row(voice, assessment.risks["good_vision"], assessment)
    run = joined([voice.line("form.gain.limits"), voice.line("form.gain.long-run")], " ")
    glasses = case.glasses_on
    recovery = voice.line("form.gain.recovery", date=glasses) if glasses else voice.line("form.gain.recovery-ask")
    second = voice.line("form.gain.second-now" if case.other_eye.operated is Answer.YES else "form.gain.second-later")
    without = voice.line("form.gain.without")
    return section(
        voice,
        "gain",
        Para(hope, elements=("IN-02:benefits", "UK-12:benefits", "US-04:benefits")),
        Chances(
            chances_head(voice),
            (good,),
            spots=(Spot(joined(good, " "), _BENEFIT),),
        ),
        Para(
            joined([run, recovery, second], " "),
            spots=(
                Spot(run, ("UK-12:in the long run", "EU-03")),
                Spot(recovery, ("UK-12:recovery",)),
                Spot(second, ("UN-06",)),
            ),
        ),
        Para(
            voice.each("topic.paragraph", lead=voice.line("form.gain.without-lead"), text=without),
            elements=("IN-05", "US-18", "UK-01:course", "UK-12:without surgery", "EU-03"),
        ),
    )
