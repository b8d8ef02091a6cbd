"""The sheet for an operation that did not go to plan: what happened, what was done, what changes, for how long."""

from __future__ import annotations

from consent.case import Answer, Case
from consent.compose.after_surgery import drawn, happened, lens_placed, steps_taken
from consent.compose.counts import WHOLE, show
from consent.compose.document import Block, Bullets, Chances, Document, Facts, Line, Para, Pictures, Section, Signature
from consent.compose.figures import horizon, short_figure
from consent.compose.frame import finish
from consent.compose.going_home import visits
from consent.compose.pictures import pictogram
from consent.compose.signing import labels
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box
from consent.language import Quoted, Verbatim
from consent.review import events
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
        _year(assessment, voice),
        visits(assessment, voice),
        *_numbers(assessment, voice),
        _told(assessment, voice),
    )
    title = voice.line("not-to-plan.title", eye=remark(f"eye.{assessment.case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections, take_home=True)


def _happened(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    blocks: list[Block] = [eye_box(assessment, voice), *_sent_on(case, voice), Bullets(happened(case, voice))]
    pictures = drawn(case, voice)
    if pictures is not None:
        blocks.append(pictures)
    blocks.append(Para(voice.line("not-to-plan.sorry"), style="strong"))
    return Section("happened", voice.line("not-to-plan.happened.heading"), tuple(blocks))


def _sent_on(case: Case, voice: Voice) -> tuple[Block, ...]:
    """Where the patient goes next: first on the sheet, since it is to be done first."""
    referral = case.done.referral if case.done else None
    if referral is None:
        return ()
    place, day = Quoted(referral.to), referral.expected_on
    sent = (
        voice.line("not-to-plan.referred", place=place, date=day)
        if day
        else voice.line("not-to-plan.referred-no-date", place=place)
    )
    return (Para(sent, style="strong"), Para(voice.line("not-to-plan.referred-ask")))


def _done(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    steps = steps_taken(case, voice)
    facts = Facts(((voice.line("label.lens-placed"), lens_placed(case, voice)),))
    return Section("done", voice.line("not-to-plan.done.heading"), (Bullets(steps),) if steps else (facts,))


def _now(assessment: Assessment, voice: Voice) -> Section:
    """What changes for the patient."""
    case, done = assessment.case, assessment.case.done
    found = events(case)
    items = [voice.line("not-to-plan.now.slower")]
    if "piece_retained" in found:
        items.append(voice.line("not-to-plan.now.piece"))
    if "no_lens" in found:
        items.append(voice.line("not-to-plan.now.no-lens"))
    if done is not None and done.regimen is not None and done.regimen != case.plan.regimen:
        items.append(voice.line("not-to-plan.now.drops"))
    if done is not None and done.stitches:
        out = [visit.date for visit in case.visits if visit.kind == "stitch"]
        said = voice.line("not-to-plan.now.stitch-on", date=min(out)) if out else voice.line("not-to-plan.now.stitch")
        items.append(said)
    if done is not None and done.referral is not None:
        items.append(voice.line("not-to-plan.other-hospital"))
    items.append(voice.line("not-to-plan.now.visits"))
    return Section("now", voice.line("not-to-plan.now.heading"), (Bullets(tuple(items)),))


def _year(assessment: Assessment, voice: Voice) -> Section:
    """The signs of a detachment, for a year: the figures after a torn bag run on that long and longer."""
    del assessment
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
    sources = dict.fromkeys(f"{source.series} ({source.years})" for found in following for source in found.sources)
    origin = Para(voice.line("risk.sources", series=Verbatim("; ".join(sources))), style="sources")
    blocks: list[Block] = [Para(voice.line("not-to-plan.numbers.how")), Chances(head, rows)]
    if done.piece_retained is Answer.YES:
        blocks.append(Para(voice.line("not-to-plan.numbers.piece")))
    return (Section("numbers", voice.line("not-to-plan.numbers.heading"), (*blocks, origin)),)


def _row(found: AfterRupture, assessment: Assessment, voice: Voice) -> tuple[Line, ...]:
    name = voice.line("chance.when", name=remark(f"outcome.{found.outcome}.name"), when=horizon(found.horizon))
    accepted = all(assessment.clinic.accepts(series) for series in found.unread)
    if found.torn is None or found.whole is None or not accepted:
        return (name, voice.line("chance.unknown"))
    return (name, _count(found.whole, voice), _count(found.torn, voice))


def _count(arm: Arm, voice: Voice) -> Line:
    return voice.remark(short_figure(show(arm.value, arm.value, arm.value, single=True)))


def _told(assessment: Assessment, voice: Voice) -> Section:
    told = assessment.case.done.told if assessment.case.done else None
    when = (voice.show(told.at.date()), voice.show(told.at.time())) if told else (None, None)
    block = Signature(
        role=voice.line("not-to-plan.told"),
        meaning=voice.line("not-to-plan.told-means"),
        labels=labels(voice, "signature", "date", "time"),
        filled=(None, *when),
        name=voice.quoted(told.by) if told else None,
    )
    return Section("told", None, (block,))
