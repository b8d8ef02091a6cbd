"""The referral letter for a retained piece of lens: what the next surgeon needs, and who telephoned whom."""

from __future__ import annotations

from consent.case import Answer, Asked, Case, ExtraStep
from consent.compose.after_surgery import lens_placed, operated_by, operation_done
from consent.compose.document import Document, Facts, Line, Para, Section, Signature
from consent.compose.frame import finish, local
from consent.compose.signing import labels
from consent.compose.voice import Voice, joined
from consent.compose.which_eye import eye_box
from consent.language import Verbatim
from consent.review import steps_taken
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
        Section("telephoned", None, (Facts(tuple(_telephoned(assessment, voice))),)),
        _signature(assessment, voice),
    )
    eye = remark(f"eye.{assessment.case.eye.side}")
    title = voice.line("letter.title" if _piece(assessment.case) else "letter.title-other", eye=eye)
    return finish(voice, assessment, SHEET, title, sections, patient_sheet=False)


def _piece(case: Case) -> bool:
    return case.done is not None and case.done.piece_retained is Answer.YES


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
    operation = remark(f"operation.{operation_done(case)}")
    operated = voice.line("letter.operated-on", date=case.plan.date, operation=operation)
    return [
        (voice.line("letter.to"), to),
        (voice.line("letter.from"), voice.quoted(f"{clinic.name}, {clinic.address}, {clinic.telephone.day}")),
        (voice.line("letter.patient"), patient),
        (voice.line("letter.operated"), operated),
        (voice.line("label.surgeon"), voice.quoted(operated_by(case))),
    ]


def _eye(assessment: Assessment, voice: Voice) -> Rows:
    case, done, day1 = assessment.case, assessment.case.done, assessment.case.day1
    eye = case.eye
    piece = voice.line(f"letter.piece.{done.piece_size}") if done and done.piece_size else _unsaid(voice)
    if done is not None and done.piece_retained is Answer.NO:
        piece = voice.line("choice.no")
    lost = done.vitreous_lost if done else Answer.UNKNOWN
    lines = [_unsaid(voice) if lost is Answer.UNKNOWN else voice.line(f"letter.vitreous.{lost}")]
    if ExtraStep.ANTERIOR_VITRECTOMY in steps_taken(case):
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
    steps = steps_taken(case)
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
    thinner = _thinners(case, voice)
    other = voice.show(case.other_eye.acuity) if case.other_eye.acuity else _unsaid(voice)
    return [
        (voice.line("letter.drops"), drops),
        (voice.line("letter.allergies"), _allergies(case, voice)),
        (voice.line("letter.thinners"), thinner),
        (voice.line("letter.medicines"), medicines),
        (voice.line("letter.steroid"), _answered(case.eye.steroid_response_self, voice)),
        (voice.line("letter.other-eye"), other),
    ]


def _thinners(case: Case, voice: Voice) -> Line:
    """Each of the two kinds that is taken, or of which nobody has written anything."""
    if case.health.anticoagulant is Answer.UNKNOWN and case.health.antiplatelet is Answer.UNKNOWN:
        return _unsaid(voice)
    said = []
    for name in ("anticoagulant", "antiplatelet"):
        answer, named = getattr(case.health, name), voice.line(f"letter.thinner.{name}")
        if answer is Answer.YES:
            said.append(named)
        elif answer is Answer.UNKNOWN:
            said.append(joined([named, _unsaid(voice)], ": "))
    return joined(said) if said else voice.line("letter.thinner.none")


def _allergies(case: Case, voice: Voice) -> Line:
    allergies = case.health.allergies
    if allergies.asked is Asked.NOT_ASKED:
        return voice.line("letter.not-asked")
    if allergies.asked is Asked.NONE:
        return voice.line("letter.thinner.none")
    return voice.quoted("; ".join(entry.substance for entry in allergies.known))


def _telephoned(assessment: Assessment, voice: Voice) -> Rows:
    """Who telephoned whom and when, each as entered; when the patient is expected; who told the patient."""
    case, clinic = assessment.case, assessment.clinic
    referral, told = (case.done.referral, case.done.told) if case.done else (None, None)
    called, expected = voice.line("letter.not-telephoned"), [_unsaid(voice)]
    if referral is not None and (referral.called_by or referral.spoke_with or referral.called_at):
        at = local(referral.called_at, clinic) if referral.called_at else None
        when = [voice.show(at.date()), voice.show(at.time())] if at else [_unsaid(voice)]
        called = joined([*_or_unsaid([referral.called_by, referral.spoke_with], voice), *when], ", ")
    if referral is not None and (referral.expected_on or referral.expected_at):
        expected = [
            voice.show(referral.expected_on) if referral.expected_on else _unsaid(voice),
            *([voice.show(referral.expected_at)] if referral.expected_at else []),
        ]
    said = joined([voice.quoted(told.by), voice.show(local(told.at, clinic).date())], ", ") if told else _unsaid(voice)
    phone = voice.show(Verbatim(case.patient.telephone)) if case.patient.telephone else _unsaid(voice)
    return [
        (voice.line("letter.telephoned"), called),
        (voice.line("letter.expected"), joined(expected, ", ")),
        (voice.line("letter.told"), said),
        (voice.line("letter.patient-telephone"), phone),
    ]


def _signature(assessment: Assessment, voice: Voice) -> Section:
    asked = joined(
        [voice.line("letter.asked" if _piece(assessment.case) else "letter.asked-other"), voice.line("letter.reply")],
        " ",
    )
    block = Signature(
        role=voice.line("sign.surgeon"),
        meaning=voice.line("letter.surgeon-means"),
        labels=labels(voice, "signature", "date", "time"),
        name=voice.quoted(operated_by(assessment.case)),
    )
    return Section("signature", None, (Para(asked, style="strong"), block))
