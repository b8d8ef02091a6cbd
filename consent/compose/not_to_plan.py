"""The sheet for an operation that did not go to plan: what happened, what was done, what changes, for how long."""

from __future__ import annotations

from consent.case import Answer, ExtraStep
from consent.compose.after_surgery import drawn, happened, lens_placed, not_agreed, sent_on, told_steps
from consent.compose.counts import WHOLE, show
from consent.compose.document import Block, Bullets, Chances, Document, Facts, Line, Para, Pictures, Section, Signature
from consent.compose.figures import horizon, short_figure
from consent.compose.frame import finish, local
from consent.compose.going_home import visits
from consent.compose.pictures import pictogram
from consent.compose.signing import labels
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box
from consent.language import Verbatim
from consent.review import events, steps_taken, unlike
from consent.review.assessment import Assessment
from consent.risk import AfterRupture, after_rupture
from consent.risk.mixture import Arm
from consent.wording import remark

SHEET = "not-to-plan"
_YEAR = ("curtain", "flashes", "phone")


def is_needed(assessment: Assessment) -> bool:
    """Whether something happened that the patient must be told on a paper of its own."""
    return assessment.case.done is not None and assessment.case.done.went_wrong


def not_to_plan(assessment: Assessment, voice: Voice) -> Document:
    """The composed sheet for home; only where ``is_needed``."""
    sections = (
        _happened(assessment, voice),
        _done(assessment, voice),
        _now(assessment, voice),
        _year(voice),
        visits(assessment, voice),
        *_numbers(assessment, voice),
        _told(assessment, voice),
    )
    title = voice.line("not-to-plan.title", eye=remark(f"eye.{assessment.case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections, take_home=True)


def _happened(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    blocks: list[Block] = [eye_box(assessment, voice), *sent_on(case, voice), Bullets(happened(case, voice))]
    pictures = drawn(case, voice)
    if pictures is not None:
        blocks.append(pictures)
    blocks.append(Para(voice.line("not-to-plan.sorry"), style="strong"))
    return Section("happened", voice.line("not-to-plan.happened.heading"), tuple(blocks))


def _done(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    done, planned, steps = case.done, case.plan.lens, told_steps(case, voice)
    named = done is not None and done.lens is not None and planned is not None and unlike(done.lens, planned)
    facts = Facts(((voice.line("label.lens-placed"), lens_placed(case, voice)),))
    blocks = (*((Bullets(steps),) if steps else ()), *(() if named else (facts,)), *not_agreed(case, voice))
    return Section("done", voice.line("not-to-plan.done.heading"), blocks)


def _now(assessment: Assessment, voice: Voice) -> Section:
    """What changes for the patient."""
    case, done = assessment.case, assessment.case.done
    found = events(case)
    items = [voice.line("not-to-plan.now.slower")]
    if "piece_retained" in found:
        items.append(voice.line("not-to-plan.now.piece"))
    if "no_lens" in found:
        items.append(voice.line("not-to-plan.now.no-lens"))
    if case.regimen != case.plan.regimen:
        items.append(voice.line("not-to-plan.now.drops"))
    if ExtraStep.STITCH in steps_taken(case):
        out = [visit.date for visit in case.visits if visit.kind == "stitch"]
        said = voice.line("not-to-plan.now.stitch-on", date=min(out)) if out else voice.line("not-to-plan.now.stitch")
        items.append(said)
    if done is not None and done.referral is not None:
        items.append(voice.line("not-to-plan.other-hospital"))
    items.append(voice.line("not-to-plan.now.visits"))
    return Section("now", voice.line("not-to-plan.now.heading"), (Bullets(tuple(items)),))


def _year(voice: Voice) -> Section:
    """The signs of a detachment. A year: common practice, no source; the figures are counted over up to four years."""
    items = tuple((pictogram(name), voice.line(f"picture.{name}")) for name in _YEAR)
    blocks = (Pictures(items, style="signs"), Para(voice.line("not-to-plan.year")))
    return Section("year", voice.line("not-to-plan.year.heading"), blocks)


def _numbers(assessment: Assessment, voice: Voice) -> tuple[Section, ...]:
    """What follows a torn bag, as published; nothing of it where the bag is whole."""
    done = assessment.case.done
    if done is None or done.capsule_torn is not Answer.YES:
        return ()
    head = (voice.line("chance.of", whole=WHOLE), voice.line("chance.whole"), voice.line("chance.torn"))
    following = after_rupture(assessment.case, assessment.clinic)
    rows = tuple(_row(found, assessment, voice) for found in following)
    shown = [found for found in following if _may_be_shown(found, assessment)]
    sources = dict.fromkeys(f"{source.series} ({source.years})" for found in shown for source in found.sources)
    blocks: list[Block] = [Para(voice.line("not-to-plan.numbers.how")), Chances(head, rows)]
    if done.piece_retained is Answer.YES:
        blocks.append(Para(voice.line("not-to-plan.numbers.piece")))
    if sources:
        blocks.append(Para(voice.line("risk.sources", series=Verbatim("; ".join(sources))), style="sources"))
    return (Section("numbers", voice.line("not-to-plan.numbers.heading"), tuple(blocks)),)


def _row(found: AfterRupture, assessment: Assessment, voice: Voice) -> tuple[Line, ...]:
    name = voice.line("chance.when", name=remark(f"outcome.{found.outcome}.name"), when=horizon(found.horizon))
    if found.torn is None or found.whole is None or not _may_be_shown(found, assessment):
        return (name, voice.line("chance.unknown"))
    return (name, _count(found.whole, voice), _count(found.torn, voice))


def _may_be_shown(found: AfterRupture, assessment: Assessment) -> bool:
    """Whether the figure is known, and each series not read in its primary source was accepted by the clinic."""
    return found.torn is not None and all(assessment.clinic.accepts(series) for series in found.unread)


def _count(arm: Arm, voice: Voice) -> Line:
    return voice.remark(short_figure(show(arm.value, arm.value, arm.value, single=True)))


def _told(assessment: Assessment, voice: Voice) -> Section:
    told = assessment.case.done.told if assessment.case.done else None
    at = local(told.at, assessment.clinic) if told else None
    when = (voice.show(at.date()), voice.show(at.time())) if at else (None, None)
    block = Signature(
        role=voice.line("not-to-plan.told"),
        meaning=voice.line("not-to-plan.told-means"),
        labels=labels(voice, "signature", "date", "time"),
        filled=(None, *when),
        name=voice.quoted(told.by) if told else None,
    )
    return Section("told", None, (block,))
