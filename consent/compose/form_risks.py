"""What can go wrong in one table, the extra steps agreed one by one, and the anaesthetic."""

from __future__ import annotations

from consent.case import Anaesthesia
from consent.compose.counts import WHOLE
from consent.compose.document import Chances, Choice, Para, Section, Spot
from consent.compose.figures import chances_head, chances_row
from consent.compose.form_plan import section
from consent.compose.voice import Listed, Voice, joined
from consent.review.assessment import Assessment
from consent.risk import Estimate
from consent.wording import remark

_GRAVE = {"loss_of_eye": ("UK-09:loss of the eye",), "vision_worse": ("UK-09:sight worse",)}


def harms(assessment: Assessment) -> tuple[Estimate, ...]:
    """The harms this operation can do, in the order of importance to the patient."""
    return tuple(estimate for estimate in assessment.risks.values() if estimate.applies and not estimate.benefit)


def risks(assessment: Assessment, voice: Voice) -> Section:
    """Every harm with its figure in one table; the risk sheet draws and explains each."""
    rows, spots = [], []
    for estimate in harms(assessment):
        row = chances_row(voice, estimate, assessment)
        rows.append(row)
        spots.append(Spot(joined(row, " "), _answers(estimate)))
    how = voice.line("form.risks.how-to-read", whole=WHOLE)
    return section(
        voice,
        "risks",
        Para(how, elements=("US-04:material risks", "US-09", "UK-12:what can go wrong", "US-15:risks of surgery")),
        Chances(chances_head(voice), tuple(rows), spots=tuple(spots)),
    )


def _answers(estimate: Estimate) -> tuple[str, ...]:
    of = estimate.outcome
    grave = ("US-16:unlikely but grave",) if of in _GRAVE else ()
    numb_ = ("US-15:risks of anaesthesia",) if of == "anaesthetic_harm" else ()
    return (f"IN-04:{of}", f"EU-04:{of}", *_GRAVE.get(of, ()), *grave, *numb_)


def extra_steps(assessment: Assessment, voice: Voice) -> Section:
    """Each step that may become necessary, with its own yes and no; and that nothing else is done."""
    accept, refuse = voice.line("choice.accept"), voice.line("choice.refuse")
    choices = [
        Choice(voice.line(f"step.{step}"), accept, refuse, elements=(f"IN-06:{step}",))
        for step in assessment.case.plan.extra_steps
    ]
    return section(
        voice,
        "extra-steps",
        Para(voice.line("form.extra-steps.why" if choices else "form.extra-steps.none")),
        *choices,
        Para(voice.line("form.extra-steps.nothing-else"), style="strong", elements=("IN-07",)),
    )


def numb(assessment: Assessment, voice: Voice) -> Section:
    """How the eye is made numb, how often that harms where the table above does not say it, and the other ways."""
    kind = assessment.case.plan.anaesthesia
    explained = voice.line(f"anaesthesia.{kind}.explained" if kind else "anaesthesia.not-chosen")
    others = tuple(remark(f"anaesthesia.{way}") for way in _WAYS if kind not in _WAYS[way])
    ways = voice.line("form.numb.other-ways", ways=Listed(others))
    lines, spots = [explained], [Spot(explained, ("US-13:anaesthesia", "UK-14:planned"))]
    if not any(estimate.outcome == "anaesthetic_harm" for estimate in harms(assessment)):
        lines.append(voice.line("form.numb.chances-not-known"))
        spots.append(Spot(lines[-1], ("US-15:risks of anaesthesia",)))
    spots.append(Spot(ways, ("UK-14:other ways",)))
    return section(voice, "numb", Para(joined([*lines, ways], " "), spots=tuple(spots)))


_WAYS = {
    Anaesthesia.TOPICAL: (Anaesthesia.TOPICAL, Anaesthesia.TOPICAL_INTRACAMERAL),
    Anaesthesia.SUB_TENON: (Anaesthesia.SUB_TENON,),
    Anaesthesia.PERIBULBAR: (Anaesthesia.PERIBULBAR, Anaesthesia.RETROBULBAR),
    Anaesthesia.GENERAL: (Anaesthesia.GENERAL,),
}
"""The ways as a patient tells them apart, each with those that are told by its words."""
