"""The talk as screens for the patient to look at: the counsellor's guide, one idea a screen, with its pictures.

The words are those of the guide; nothing is told here that the guide does not tell, no figure that it does not show.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from consent.case import ExtraStep, LensPlace, Topic
from consent.compose import Voice, counsellor_guide, going_home, risk_sheet
from consent.compose.document import Cue, Line, Pictures, Section, Warnings
from consent.compose.document import Question as Asked
from consent.compose.figures import risk_block
from consent.compose.guide import told_aloud
from consent.compose.pictures import diagram
from consent.compose.story import story
from consent.compose.teach_back import questions
from consent.compose.voice import joined
from consent.compose.which_eye import face
from consent.review import Assessment
from consent.wording import remark

Drawn = tuple[str, Line | None]
"""A picture as SVG, and its words."""


@dataclass(frozen=True)
class Slide:
    """One screen. ``lines`` are for the patient, first the heading of a figure; ``notes`` for the counsellor alone.

    ``topic``: of what the patient says back, with ``key``, the answer that the counsellor listens for; ``step``: the
    extra step that is decided on; ``asks``: keys of the case that the patient's answer goes into.
    """

    part: str
    kind: Literal["say", "ask", "figure", "back", "close"]
    lines: tuple[Line, ...]
    pictures: tuple[Drawn, ...] = ()
    notes: tuple[Line, ...] = ()
    topic: Topic | None = None
    key: Line | None = None
    step: ExtraStep | None = None
    asks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Part:
    """A part of the talk: its heading, with its minutes, and the number of its first screen."""

    id: str
    heading: Line
    first: int


@dataclass(frozen=True)
class TalkThrough:
    """The whole talk: screens numbered from 1, and where each part begins."""

    slides: tuple[Slide, ...]
    parts: tuple[Part, ...] = field(default=())


def talk_through(
    assessment: Assessment, tags: tuple[str, ...], digits: str, refused: Iterable[ExtraStep] = ()
) -> TalkThrough:
    """The talk of one case, in the patient's language and the counsellor's, which are ``tags``.

    Extra steps that were ``refused`` keep their screens, so that a no can be taken back.
    """
    voice = Voice(tags, digits)
    found: list[Slide] = []
    parts: list[Part] = []
    for section in counsellor_guide(assessment, voice).sections:
        if section.heading is None:
            continue
        parts.append(Part(section.id, section.heading, len(found) + 1))
        made = _with_pictures(section.id, _slides(section, assessment, voice), assessment, voice)
        found += _with_refused(made, refused, voice) if section.id == "ways" else made
    return TalkThrough(tuple(found), tuple(parts))


def _slides(section: Section, assessment: Assessment, voice: Voice) -> list[Slide]:
    """The screens of one part: each line that is said or asked by itself, a figure as a whole.

    Notes stand with what follows them; the last ones with the last screen.
    """
    found: list[Slide] = []
    notes: list[Line] = []
    topics = iter(questions(assessment))
    for block in section.blocks:
        if isinstance(block, Cue) and block.mark in ("note", "show"):
            notes += [joined([block.label, text], ": ") for text in block.texts]
        elif isinstance(block, Cue):
            for lines in _screens(section.id, block):
                kind: Literal["say", "ask", "figure"] = "figure" if len(lines) > 1 else _KINDS[block.mark]
                found.append(Slide(section.id, kind, lines, notes=tuple(notes)))
                notes = []
        elif isinstance(block, Asked):
            found.append(Slide(section.id, "back", (block.text,), topic=next(topics).topic, key=block.key))
    if section.id == "close":
        found.append(Slide(section.id, "close", (voice.line("guide.close.outcome"),)))
    return [*found[:-1], replace(found[-1], notes=(*found[-1].notes, *notes))] if notes else found


_KINDS: dict[str, Literal["say", "ask"]] = {"say": "say", "ask": "ask"}


def _screens(part: str, cue: Cue) -> Iterable[tuple[Line, ...]]:
    return (cue.texts,) if part == "numbers" and cue.mark == "say" else ((text,) for text in cue.texts)


def _with_pictures(part: str, slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    draw = _DRAWN.get(part)
    return draw(slides, assessment, voice) if draw else slides


def _put(slide: Slide, *drawn: Drawn) -> Slide:
    return replace(slide, pictures=tuple(drawn))


def _greet(slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    side = assessment.case.eye.side
    asks = {voice.line(f"guide.greet.{name}"): paths for name, paths in _ASKED.items()}
    drawn = (face(side, assessment), voice.remark(remark(f"eye.{side}")))
    # Asked which eye it is, the patient does not see the answer.
    found = [_put(slide, drawn) if place == 0 else slide for place, slide in enumerate(slides)]
    return [replace(slide, asks=asks.get(slide.lines[0], ())) for slide in found]


_ASKED = {
    "ask-detail": ("patient.detail_wanted",),
    "ask-matters": ("patient.what_matters", "patient.what_matters_in_own_words"),
}
"""What the patient is asked at the greeting, by the end of the message, and where the answer belongs."""
_LENS = {LensPlace.BAG: "lens_in_bag", LensPlace.SULCUS: "lens_in_front_of_bag"}


def _wrong(slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    """The cloudy lens, then the new one where it is meant to sit, if that is planned and can be drawn."""
    lens = assessment.case.plan.lens
    place_of_lens = _LENS.get(lens.place) if lens is not None else None
    names = {0: "lens_and_bag", **({1: place_of_lens} if place_of_lens else {})}
    return [
        _put(slide, (diagram(names[place]), voice.line(f"picture.{names[place]}"))) if place in names else slide
        for place, slide in enumerate(slides)
    ]


def _different(slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    """What is drawn of this eye on the risk sheet, then each thing that is different about it by itself."""
    told = story(assessment.case, (point.id for point in assessment.points))
    units = [
        Slide("different", "figure", (voice.line(f"topic.{paragraph.topic}.heading"), voice.remark(unit)))
        for paragraph in told
        for unit in paragraph.units
    ]
    found = units or slides
    section = next((one for one in risk_sheet(assessment, voice).sections if one.id == "eye"), None)
    drawn = [item for block in section.blocks if isinstance(block, Pictures) for item in block.items] if section else []
    if section is not None and section.heading is not None and drawn:
        found = [Slide("different", "say", (section.heading,), tuple(drawn)), *found]
    return [replace(found[0], notes=slides[0].notes), *found[1:]]


def _numbers(slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    figures = [assessment.risks["good_vision"], *told_aloud(assessment)]
    blocks = iter([risk_block(voice, estimate, assessment, ()) for estimate in figures])
    return [
        _put(slide, *((array.svg, array.caption) for array in next(blocks).arrays)) if slide.kind == "figure" else slide
        for slide in slides
    ]


_STEP = {
    ExtraStep.LARGER_INCISION: "wider_cut",
    ExtraStep.ANTERIOR_VITRECTOMY: "jelly_removed",
    ExtraStep.OTHER_LENS_PLACE: "lens_in_front_of_bag",
    ExtraStep.NO_LENS_TODAY: "no_lens",
    ExtraStep.STITCH: "stitch",
    ExtraStep.PUPIL_DEVICE: "pupil_held_open",
}


def _ways(slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    """Each extra step with its drawing: their screens are the last of this part, in the order of the plan."""
    steps = assessment.case.plan.extra_steps
    first = len(slides) - len(steps)
    return [
        *slides[:first],
        *(_with_step(slide, step, voice) for step, slide in zip(steps, slides[first:], strict=True)),
    ]


def _with_refused(slides: list[Slide], refused: Iterable[ExtraStep], voice: Voice) -> list[Slide]:
    """``slides`` with those of refused steps where they stood: no other step is passed over."""
    every = [*(slide for slide in slides if slide.step), *(_step(step, voice) for step in refused)]
    order = list(ExtraStep)
    every.sort(key=lambda slide: order.index(slide.step) if slide.step else -1)
    return [*(slide for slide in slides if slide.step is None), *every]


def _step(step: ExtraStep, voice: Voice) -> Slide:
    return _with_step(Slide("ways", "say", (voice.line(f"step.{step}"),)), step, voice)


def _with_step(slide: Slide, step: ExtraStep, voice: Voice) -> Slide:
    name = _STEP.get(step)
    drawn = ((diagram(name), voice.line(f"picture.{name}")),) if name else ()
    return replace(slide, step=step, pictures=drawn)


def _home(slides: list[Slide], assessment: Assessment, voice: Voice) -> list[Slide]:
    """The warning signs to come at once for, drawn as on the sheet for home, on the last screen."""
    blocks = [block for section in going_home(assessment, voice).sections for block in section.blocks]
    groups = [group for block in blocks if isinstance(block, Warnings) for group in block.groups]
    return [*slides[:-1], _put(slides[-1], *(groups[0].drawn if groups else ()))]


_DRAWN = {
    "greet": _greet,
    "wrong": _wrong,
    "different": _different,
    "numbers": _numbers,
    "ways": _ways,
    "home": _home,
}
