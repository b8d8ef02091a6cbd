"""The sheet for theatre on the day of surgery: whether consent still holds, which eye, the steps agreed beforehand."""

from __future__ import annotations

from consent.case import Case, Change
from consent.compose.document import (
    Block,
    Bullets,
    Columns,
    Document,
    Facts,
    Para,
    Section,
    Signature,
    Spot,
    TickList,
)
from consent.compose.form_plan import lens_named, surgeon_named
from consent.compose.frame import finish
from consent.compose.signing import labels
from consent.compose.voice import Voice
from consent.compose.which_eye import eye_box
from consent.language import Quoted
from consent.review import review_triggers
from consent.review.assessment import Assessment
from consent.wording import Remark, remark

SHEET = "day-of-surgery"


def day_of_surgery(assessment: Assessment, voice: Voice) -> Document:
    """The composed sheet: the second stage, with what to look at again worked out from what changed since the talk."""
    sections = (
        _who(assessment, voice),
        _still(assessment, voice),
        _eye(assessment, voice),
        _agreed(assessment.case, voice),
        _signatures(voice),
    )
    title = voice.line("form.day-of-surgery.heading")
    return finish(voice, assessment, SHEET, title, sections, for_staff=True)


def _who(assessment: Assessment, voice: Voice) -> Section:
    case = assessment.case
    rows = (
        (voice.line("label.name"), voice.quoted(case.patient.name)),
        (voice.line("label.operation"), voice.line(f"operation.{case.plan.operation}")),
        (voice.line("label.lens"), lens_named(assessment, voice)),
        (voice.line("label.surgeon"), voice.quoted(surgeon_named(assessment))),
    )
    return Section("who", None, (eye_box(assessment, voice, ("SM-02:day of surgery",)), Facts(rows)))


def _still(assessment: Assessment, voice: Voice) -> Section:
    """Whether the patient still wishes it and nothing has changed: any yes to a change means a new talk."""
    yes, no = voice.line("choice.yes"), voice.line("choice.no")
    wishes, any_yes = voice.line("day.still-wishes"), voice.line("day.any-yes")
    changes = {name: voice.line(f"day.changed-{name}") for name in Change}
    found = tuple(voice.remark(_entered(trigger)) for trigger in review_triggers(assessment.case))
    blocks: list[Block] = [TickList((wishes,), yes, no, spots=(Spot(wishes, ("ST-02:still wishes",)),))]
    if found:
        blocks += [Para(voice.line("day.found"), style="strong"), Bullets(found, elements=("ST-04",))]
    blocks += [
        Para(any_yes, elements=("ST-03:new talk", "UK-17")),
        TickList(
            tuple(changes.values()),
            yes,
            no,
            spots=tuple(Spot(line, (f"ST-03:{name}",)) for name, line in changes.items()),
        ),
    ]
    return Section("still", voice.line("day.still.heading"), tuple(blocks))


def _eye(assessment: Assessment, voice: Voice) -> Section:
    """The eye said, marked and on the form; one lens in the room. Any no stops."""
    eye = remark(f"eye.{assessment.case.eye.side}")
    said, marked, matches = (
        voice.line(f"day.{what}", eye=eye) for what in ("site-said", "site-marked", "form-matches")
    )
    one_lens = voice.each("day.one-lens", lens=lens_named(assessment, voice))
    rows = TickList(
        (said, marked, matches, one_lens),
        voice.line("choice.yes"),
        voice.line("choice.no"),
        spots=(
            Spot(said, ("SM-01", "SM-02:day of surgery", "SM-03")),
            Spot(marked, ("SM-02:day of surgery", "SM-04")),
            Spot(matches, ("SM-02:day of surgery", "SM-05")),
            Spot(one_lens, ("SM-06:one lens",)),
        ),
    )
    return Section("eye", voice.line("day.eye.heading"), (Para(voice.line("day.any-no"), style="strong"), rows))


def _agreed(case: Case, voice: Voice) -> Section:
    """The extra steps on the form, so that theatre sees what was agreed and what was not."""
    if not case.plan.extra_steps:
        return Section("agreed", voice.line("day.agreed.heading"), (Para(voice.line("form.extra-steps.none")),))
    rows = tuple(voice.line(f"step.{step}") for step in case.plan.extra_steps)
    table = TickList(rows, voice.line("choice.yes"), voice.line("choice.no"))
    return Section("agreed", voice.line("day.agreed.heading"), (Para(voice.line("day.agreed.copy")), table))


def _signatures(voice: Voice) -> Section:
    confirmed = voice.line("day.confirmed-means")
    confirms = Signature(
        role=voice.line("day.confirmed-by"),
        meaning=confirmed,
        labels=labels(voice, "name", "kind-of-mark", "signature", "date", "time"),
        spots=(Spot(confirmed, ("ST-02:confirmed", "UK-17")),),
    )
    withdrawn = Signature(
        role=voice.line("day.withdrawn"),
        meaning=voice.line("day.withdrawn-means"),
        labels=labels(voice, "what-explained", "name", "signature", "date", "time"),
        elements=("ST-05",),
    )
    return Section("confirmed", None, (Columns((confirms,), (withdrawn,), style="signers"),))


def _entered(trigger: Remark) -> Remark:
    """Names in a trigger stand as they were typed."""
    slots = {name: Quoted(value) if isinstance(value, str) else value for name, value in trigger.slots.items()}
    return remark(trigger.id, **slots)
