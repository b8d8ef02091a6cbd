"""The risk sheet: each figure of this eye with its drawing, what it means, and how sure the other ways are."""

from __future__ import annotations

from consent.case import Answer, Case, ExtraStep, NucleusGrade, PupilGrade
from consent.compose.counts import WHOLE
from consent.compose.document import Block, Document, Line, Para, Pictures, Section, Spot, Way
from consent.compose.figures import risk_block
from consent.compose.form_record import matters
from consent.compose.form_risks import harms
from consent.compose.form_ways import counted_lines
from consent.compose.frame import finish
from consent.compose.pictures import diagram
from consent.compose.story import plan_story
from consent.compose.voice import Voice, joined
from consent.compose.which_eye import eye_box
from consent.language import Verbatim
from consent.review import options
from consent.review.assessment import Assessment
from consent.wording import remark

SHEET = "risk-sheet"


def risk_sheet(assessment: Assessment, voice: Voice) -> Document:
    """The composed sheet, a part of the consent form: the languages of ``voice`` side by side, the patient's first."""
    sections = (
        _how_to_read(assessment, voice),
        _drawn(assessment.case, voice),
        matters(assessment, voice),
        _gain(assessment, voice),
        _harms(assessment, voice),
        _ways(assessment, voice),
        _origin(assessment, voice),
    )
    title = voice.line("risk-sheet.title", eye=remark(f"eye.{assessment.case.eye.side}"))
    return finish(voice, assessment, SHEET, title, sections)


def _how_to_read(assessment: Assessment, voice: Voice) -> Section:
    return Section(
        "how-to-read",
        None,
        (
            eye_box(assessment, voice, ("SM-02:body",)),
            Para(voice.line("risk-sheet.how-to-read", whole=WHOLE)),
            Para(voice.line("form.risks.averages")),
        ),
    )


def _drawn(case: Case, voice: Voice) -> Section:
    """This eye in drawings: its lens, its pupil, where the cut is and how it may grow."""
    eye, steps = case.eye, case.plan.extra_steps
    names = ["hard_lens" if eye.nucleus.grade in _HARD else "lens_and_bag"]
    if eye.pupil_grade is PupilGrade.SMALL:
        names.append("small_pupil")
    if ExtraStep.PUPIL_DEVICE in steps or case.plan.pupil_expansion is Answer.YES:
        names.append("pupil_held_open")
    names.append("where_the_cut_is")
    if ExtraStep.LARGER_INCISION in steps:
        names.append("wider_cut")
    pictures = Pictures(tuple((diagram(name), voice.line(f"picture.{name}")) for name in names), style="diagrams")
    units = [
        voice.remark(unit)
        for paragraph in plan_story(case)
        if paragraph.topic in ("build", "care")
        for unit in paragraph.units
    ]
    told = (Para(joined(units, " ")),) if units else ()
    return Section("eye", voice.line("risk-sheet.eye.heading"), (pictures, *told))


_HARD = (NucleusGrade.HARD, NucleusGrade.BRUNESCENT)


def _gain(assessment: Assessment, voice: Voice) -> Section:
    """What may be gained, and what the weeks after surgery are like."""
    answers = ("IN-02:benefits", "US-15:benefits of surgery")
    block = risk_block(voice, assessment.risks["good_vision"], assessment, answers)
    mild, help_ = voice.line("form.gain.mild"), [voice.line("form.gain.help")]
    if any(point.id == "only-eye" for point in assessment.points):
        help_.append(voice.line("form.gain.seen-in-time"))
    after = (
        Para(mild, elements=("UK-10", "US-16:likely but mild")),
        Para(joined(help_, " "), elements=("UK-12:help afterwards",)),
    )
    return Section("gain", voice.line("risk-sheet.gain.heading"), (block, *after))


def _harms(assessment: Assessment, voice: Voice) -> Section:
    blocks = tuple(risk_block(voice, estimate, assessment, ()) for estimate in harms(assessment))
    return Section("harms", voice.line("form.risks.heading"), blocks)


def _ways(assessment: Assessment, voice: Voice) -> Section:
    """What each way is, and how sure it is which is better: the published comparisons, or that nobody knows."""
    blocks = []
    for option in options(assessment.case):
        name, is_, sure = (voice.line(f"option.{option.id}.{part}") for part in ("name", "involves", "sure"))
        said: Line = joined([*counted_lines(voice, option), sure], " ")
        spots = (Spot(is_, (f"UK-04:{option.id}: involves",)), Spot(said, (f"UK-05:{option.id}: how sure",)))
        lines = ((voice.line("option.line.involves"), is_), (voice.line("option.line.sure"), said))
        blocks.append(Way(name, lines, spots=spots))
    return Section("ways", voice.line("risk-sheet.ways.heading"), tuple(blocks))


def _origin(assessment: Assessment, voice: Voice) -> Section:
    """Which published series the figures come from."""
    found = harms(assessment)
    known = tuple(f"RK-09:{estimate.outcome}" for estimate in found if estimate.known and estimate.sources)
    series = "; ".join(
        dict.fromkeys(f"{source.series} ({source.years})" for estimate in found for source in estimate.sources)
    )
    blocks: tuple[Block, ...] = (
        Para(voice.line("risk.sources", series=Verbatim(series)), style="sources", elements=known),
    )
    return Section("origin", None, blocks)
