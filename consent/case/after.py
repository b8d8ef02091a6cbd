"""The lens, and what is known after the operation: what was done, the first morning, the visits."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import AwareDatetime, Field, model_validator

from consent.case.answers import Answer, ExtraStep, LensDesign, LensPlace, Operation, Side
from consent.case.part import AcuityText, LongText, Part, ShortText


class Lens(Part):
    """A lens that may be used, with its own constant and power. Generic design, never a brand."""

    design: LensDesign
    material: ShortText
    place: LensPlace = LensPlace.BAG
    optic_mm: float | None = Field(None, ge=4.0, le=8.0, description="optic diameter, mm")
    a_constant: float | None = Field(None, ge=105.0, le=125.0, description="A-constant of this lens")
    power_d: float | None = Field(None, ge=-15.0, le=50.0, description="lens power, dioptres")
    on_shelf: Answer = Answer.UNKNOWN


VisitKind = Literal[
    "day 1", "week 1", "pressure", "cornea", "retina", "referral", "final", "spectacles", "stitch", "other"
]


class Visit(Part):
    kind: VisitKind
    date: dt.date
    kept: Answer = Field(Answer.UNKNOWN, description="the patient came")
    place: ShortText | None = None
    brought_by: ShortText | None = None


class Disclosure(Part):
    """Who told the patient what had not gone to plan, and when."""

    by: ShortText
    at: AwareDatetime


class Referral(Part):
    """Where the patient is sent on, agreed by telephone before they leave."""

    to: ShortText
    telephone: ShortText | None = None
    called_by: ShortText | None = None
    spoke_with: ShortText | None = None
    called_at: AwareDatetime | None = None
    expected_on: dt.date | None = None
    expected_at: dt.time | None = None


class Done(Part):
    """What was actually done. Present only after surgery."""

    as_planned: Answer = Answer.UNKNOWN
    side: Side | None = Field(None, description="the eye operated on, written a third time on purpose")
    operation: Operation | None = Field(None, description="the operation as it ended, where it was not the planned one")
    by: ShortText | None = Field(None, description="who operated")
    steps: tuple[ExtraStep, ...] = Field((), description="extra steps that were taken")
    lens: Lens | None = None
    no_lens: Answer = Field(Answer.UNKNOWN, description="the eye was left without a lens for now")
    capsule_torn: Answer = Answer.UNKNOWN
    vitreous_lost: Answer = Answer.UNKNOWN
    piece_retained: Answer = Answer.UNKNOWN
    piece_size: Literal["a small piece", "less than half", "half or more", "the whole lens"] | None = None
    told: Disclosure | None = None
    referral: Referral | None = None
    regimen: ShortText | None = Field(None, description="id of the regimen ordered instead of the planned one")
    devices: tuple[ShortText, ...] = ()
    stitches: int | None = Field(None, ge=0, le=20, description="stitches, count")
    injected: tuple[ShortText, ...] = ()
    complication: LongText | None = None

    @model_validator(mode="after")
    def _one_lens_or_none(self) -> Done:
        if self.lens is not None and self.no_lens is Answer.YES:
            raise ValueError('done: a lens was placed, yet no_lens = "yes"; keep one of the two')
        if self.piece_size is not None and self.piece_retained is not Answer.YES:
            raise ValueError('done: piece_size goes with piece_retained = "yes"')
        return self

    @property
    def went_wrong(self) -> bool:
        """Whether the bag tore, jelly came forward, a piece stayed behind, or the eye was left without a lens."""
        events = (self.capsule_torn, self.vitreous_lost, self.piece_retained, self.no_lens)
        return Answer.YES in events or self.complication is not None


class Day1(Part):
    """What the first morning shows. Present only after surgery."""

    acuity_pinhole: AcuityText | None = None
    pressure_mmhg: float | None = Field(None, ge=0.0, le=80.0, description="eye pressure, mmHg")
    leak: Answer = Answer.UNKNOWN
    hypopyon: Answer = Answer.UNKNOWN
    cornea: ShortText | None = None
    cells: ShortText | None = None
    lens: ShortText | None = None
    poor_sight_explained: Answer = Answer.UNKNOWN
