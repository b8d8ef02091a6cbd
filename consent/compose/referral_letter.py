"""The referral letter for a retained piece of lens: what the next surgeon needs, and who telephoned whom."""

from __future__ import annotations

from consent.case import Answer, Asked, Case, ExtraStep
from consent.compose.after_surgery import lens_placed
from consent.compose.document import Document, Facts, Line, Para, Section, Signature
from consent.compose.form_plan import surgeon_named
from consent.compose.frame import finish
from consent.compose.signing import labels
from consent.compose.voice import Voice, joined
from consent.compose.which_eye import eye_box
from consent.language import Quoted, Verbatim
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "referral-letter"


def is_needed(assessment: Assessment) -> bool:
    """Whether a piece of lens stayed behind, or the patient is sent on."""
    done = assessment.case.done
    return done is not None and (done.piece_retained is Answer.YES or done.referral is not None)


def referral_letter(assessment: Assessment, voice: Voice) -> Document:
    """The composed letter, in the clinic's language. What nobody has entered is printed as not written down."""
    sections = (
        Section("who", None, (eye_box(assessment, voice), Facts(tuple(_addresses(assessment, voice))))),
        Section("eye", None, (Facts(tuple(_eye(assessment, voice))),)),
        Section("patient", None, (Facts(tuple(_patient(assessment, voice))),)),
        Section("telephoned", None, (Facts(tuple(_telephoned(assessment.case, voice))),)),
        _signature(assessment, voice),
    )
    title = voice.line("letter.title", eye=remark(f"eye.{assessment.case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections, patient_sheet=False)


Rows = list[tuple[Line, Line]]


def _unsaid(voice: Voice) -> Line:
    return voice.line("value.not-entered")


def _addresses(assessment: Assessment, voice: Voice) -> Rows:
    case, clinic = assessment.case, assessment.clinic
    referral = case.done.referral if case.done else None
    to = _unsaid(voice)
    if referral is not None:
        to = voice.quoted(f"{referral.to}, {referral.telephone}" if referral.telephone else referral.to)
    patient = joined(
        [
            voice.quoted(case.patient.name),
            voice.count("value.years", case.age_years),
            voice.show(case.patient.record_number),
        ],
        ", ",
    )
    done = case.done.operation if case.done and case.done.operation else case.plan.operation
    operated = voice.line("letter.operated-on", date=case.plan.date, operation=remark(f"operation.{done}"))
    return [
        (voice.line("letter.to"), to),
        (voice.line("letter.from"), voice.quoted(f"{clinic.name}, {clinic.address}, {clinic.telephone.day}")),
        (voice.line("letter.patient"), patient),
        (voice.line("letter.operated"), operated),
        (voice.line("label.surgeon"), voice.quoted(surgeon_named(assessment))),
    ]


def _eye(assessment: Assessment, voice: Voice) -> Rows:
    case, done, day1 = assessment.case, assessment.case.done, assessment.case.day1
    eye = case.eye
    piece = voice.line(f"letter.piece.{done.piece_size}") if done and done.piece_size else _unsaid(voice)
    vitreous = _unsaid(voice)
    if done is not None and done.vitreous_lost is not Answer.UNKNOWN:
        lines = [voice.line(f"letter.vitreous.{done.vitreous_lost}")]
        if ExtraStep.ANTERIOR_VITRECTOMY in done.steps:
            lines.append(voice.line("letter.vitrectomy"))
        vitreous = joined(lines)
    pressure = (
        voice.line("value.mmhg", mmhg=day1.pressure_mmhg) if day1 and day1.pressure_mmhg is not None else _unsaid(voice)
    )
    sights = [case.eye.acuity_corrected, day1.acuity_pinhole if day1 else None]
    cornea = [day1.cornea if day1 else None, day1.cells if day1 else None]
    return [
        (voice.line("letter.piece"), piece),
        (voice.line("letter.nucleus"), voice.line(f"nucleus.{case.eye.nucleus.grade}")),
        (voice.line("letter.vitreous"), vitreous),
        (voice.line("letter.steps"), _steps(case, voice)),
        (
            voice.line("letter.threads"),
            joined([_answered(eye.pseudoexfoliation, voice), _answered(eye.phacodonesis, voice)]),
        ),
        (voice.line("label.lens-placed"), lens_placed(case, voice)),
        (voice.line("letter.sight"), joined(_or_unsaid(sights, voice))),
        (voice.line("letter.pressure"), pressure),
        (voice.line("letter.cornea"), joined(_or_unsaid(cornea, voice))),
    ]


def _steps(case: Case, voice: Voice) -> Line:
    steps = case.done.steps if case.done else ()
    return joined([voice.line(f"step.{step}.short") for step in steps], ", ") if steps else _unsaid(voice)


def _answered(answer: Answer, voice: Voice) -> Line:
    return _unsaid(voice) if answer is Answer.UNKNOWN else voice.line(f"choice.{answer}")


def _or_unsaid(texts: list[str | None], voice: Voice) -> list[Line]:
    return [voice.quoted(text) if text else _unsaid(voice) for text in texts]


def _patient(assessment: Assessment, voice: Voice) -> Rows:
    case, health = assessment.case, assessment.case.health
    rows = [row for row in assessment.drops.current if row.side is case.eye.side]
    doses = [
        voice.line("letter.drop-doses", drug=Verbatim(row.drug.name), times=row.phases[0].times_a_day)
        for row in rows
        if row.phases
    ]
    drops = joined(doses) if doses else _unsaid(voice)
    medicines = voice.quoted(", ".join(health.medicines)) if health.medicines else _unsaid(voice)
    thinners = [name for name in ("anticoagulant", "antiplatelet") if getattr(health, name) is Answer.YES]
    unknown = Answer.UNKNOWN in (health.anticoagulant, health.antiplatelet)
    thinner = _unsaid(voice) if unknown and not thinners else voice.line("letter.thinner.none")
    if thinners:
        thinner = joined([voice.line(f"letter.thinner.{name}") for name in thinners])
    other = voice.show(case.other_eye.acuity) if case.other_eye.acuity else _unsaid(voice)
    return [
        (voice.line("letter.drops"), drops),
        (voice.line("letter.allergies"), _allergies(case, voice)),
        (voice.line("letter.thinners"), thinner),
        (voice.line("letter.medicines"), medicines),
        (voice.line("letter.steroid"), _answered(case.eye.steroid_response_self, voice)),
        (voice.line("letter.other-eye"), other),
    ]


def _allergies(case: Case, voice: Voice) -> Line:
    allergies = case.health.allergies
    if allergies.asked is Asked.NOT_ASKED:
        return voice.line("letter.not-asked")
    if allergies.asked is Asked.NONE:
        return voice.line("letter.thinner.none")
    return voice.quoted("; ".join(entry.substance for entry in allergies.known))


def _telephoned(case: Case, voice: Voice) -> Rows:
    referral = case.done.referral if case.done else None
    called, expected = voice.line("letter.not-telephoned"), _unsaid(voice)
    if referral is not None and referral.called_by and referral.spoke_with and referral.called_at:
        called = voice.line(
            "letter.telephoned-by",
            by=Quoted(referral.called_by),
            with_whom=Quoted(referral.spoke_with),
            date=referral.called_at.date(),
            time=referral.called_at.time(),
        )
    if referral is not None and referral.expected_on and referral.expected_at:
        expected = voice.line("letter.expected-on", date=referral.expected_on, time=referral.expected_at)
    elif referral is not None and referral.expected_on:
        expected = voice.show(referral.expected_on)
    told = case.done.told if case.done else None
    said = joined([voice.quoted(told.by), voice.show(told.at.date())], ", ") if told else _unsaid(voice)
    phone = voice.show(Verbatim(case.patient.telephone)) if case.patient.telephone else _unsaid(voice)
    return [
        (voice.line("letter.telephoned"), called),
        (voice.line("letter.expected"), expected),
        (voice.line("letter.told"), said),
        (voice.line("letter.patient-telephone"), phone),
    ]


def _signature(assessment: Assessment, voice: Voice) -> Section:
    asked = joined([voice.line("letter.asked"), voice.line("letter.reply")], " ")
    block = Signature(
        role=voice.line("sign.surgeon"),
        meaning=voice.line("letter.surgeon-means"),
        labels=labels(voice, "signature", "date", "time"),
        name=voice.quoted(surgeon_named(assessment)),
    )
    return Section("signature", None, (Para(asked, style="strong"), block))
