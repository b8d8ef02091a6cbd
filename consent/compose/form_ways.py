"""The ways open to the patient, their good and bad; what each is and how sure that is stand on the risk sheet."""

from __future__ import annotations

from consent.compose.counts import WHOLE, per_thousand
from consent.compose.document import Block, Line, Para, Section, Spot, Way
from consent.compose.form_plan import section
from consent.compose.voice import Voice, joined
from consent.evidence import library
from consent.review import Option, options
from consent.review.assessment import Assessment
from consent.risk import Alternative
from consent.wording import remark

_PARTS = ("good", "bad")
_ANSWERS = {
    "good": ("UK-05:{id}: good", "US-17:{id}: good"),
    "bad": ("UK-05:{id}: bad", "US-17:{id}: bad"),
}


def other_ways(assessment: Assessment, voice: Voice) -> Section:
    """What the surgeon advises and why, then every way, waiting the last of them."""
    plan = assessment.case.plan
    blocks: list[Block] = []
    if plan.reasons:
        advised = voice.line("form.other-ways.advised", operation=remark(f"operation.{plan.operation}"))
        blocks.append(
            Para(joined([advised, *(voice.line(f"reason.{why}") for why in plan.reasons)], " "), elements=("UK-06",))
        )
    blocks += [_way(voice, option) for option in options(assessment.case)]
    return section(voice, "other-ways", *blocks)


def _way(voice: Voice, option: Option) -> Way:
    name = voice.line(f"option.{option.id}.name")
    texts = {part: voice.line(f"option.{option.id}.{part}") for part in _PARTS}
    named = (f"UK-03:{option.id}: named", f"IN-03:{option.id}: named", "US-04:alternatives")
    spots = [Spot(name, named)]
    for part, answers in _ANSWERS.items():
        spots.append(Spot(texts[part], tuple(answer.format(id=option.id) for answer in answers)))
    lines = tuple((voice.line(f"option.line.{part}"), texts[part]) for part in _PARTS)
    return Way(name, lines, style="run-on", spots=tuple(spots))


def counted_lines(voice: Voice, option: Option) -> list[Line]:
    """The published comparisons that concern this eye, each with both sides."""
    return [_counted(voice, way) for way in option.counts]


def _counted(voice: Voice, way: Alternative) -> Line:
    one, other = (per_thousand(library().cited(name).figure.probability) for name in (way.one, way.other))
    return voice.line(
        f"alternative.{way.id}", whole=WHOLE, one=one, one_rest=WHOLE - one, other=other, other_rest=WHOLE - other
    )
