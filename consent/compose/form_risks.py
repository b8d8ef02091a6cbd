"""What can go wrong with its figures, the extra steps agreed one by one, and the anaesthetic."""

from __future__ import annotations

from consent.case import Anaesthesia
from consent.compose.counts import WHOLE
from consent.compose.document import Block, Choice, Para, Section
from consent.compose.figures import risk_block
from consent.compose.form_plan import section
from consent.compose.voice import Voice
from consent.language import Verbatim
from consent.review.assessment import Assessment
from consent.risk import Estimate

_GRAVE = {"loss_of_eye": ("UK-09:loss of the eye",), "vision_worse": ("UK-09:sight worse",)}


def harms(assessment: Assessment) -> tuple[Estimate, ...]:
    """The harms this operation can do, in the order of importance to the patient."""
    return tuple(estimate for estimate in assessment.risks.values() if estimate.applies and not estimate.benefit)


def risks(assessment: Assessment, voice: Voice) -> Section:
    """Every harm with its figure, and which published series the figures come from."""
    found = harms(assessment)
    blocks: list[Block] = [
        Para(
            voice.line("form.risks.how-to-read", whole=WHOLE),
            elements=("US-04:material risks", "US-09", "UK-12:what can go wrong", "US-15:risks of surgery"),
        )
    ]
    for estimate in found:
        of = estimate.outcome
        elements = (f"IN-04:{of}", f"EU-04:{of}", *_GRAVE.get(of, ()))
        grave = ("US-16:unlikely but grave",) if of in _GRAVE else ()
        numb_ = ("US-15:risks of anaesthesia",) if of == "anaesthetic_harm" else ()
        blocks.append(risk_block(voice, estimate, assessment, (*elements, *grave, *numb_)))
    blocks.append(Para(voice.line("form.risks.averages"), style="small"))
    known = tuple(f"RK-09:{estimate.outcome}" for estimate in found if estimate.known and estimate.sources)
    series = "; ".join(
        dict.fromkeys(f"{source.series} ({source.years})" for estimate in found for source in estimate.sources)
    )
    blocks.append(Para(voice.line("risk.sources", series=Verbatim(series)), style="sources", elements=known))
    return section(voice, "risks", *blocks)


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
    """How the eye is made numb, where its harm is counted, and the other ways."""
    kind = assessment.case.plan.anaesthesia
    text = f"anaesthesia.{kind}.explained" if kind else "anaesthesia.not-chosen"
    counted = any(estimate.outcome == "anaesthetic_harm" for estimate in harms(assessment))
    chances = voice.line("form.numb.chances" if counted else "form.numb.chances-not-known")
    other = "form.numb.other-ways-awake" if kind is Anaesthesia.GENERAL else "form.numb.other-ways"
    return section(
        voice,
        "numb",
        Para(voice.line(text), elements=("US-13:anaesthesia", "UK-14:planned")),
        Para(chances, elements=() if counted else ("US-15:risks of anaesthesia",)),
        Para(voice.line(other), elements=("UK-14:other ways",)),
    )
