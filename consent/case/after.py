"""The lens, and what is known after the operation: what was done, the first morning, the visits."""

from __future__ import annotations

import datetime as dt
from typing import Literal

from pydantic import Field

from consent.case.answers import Answer, LensDesign, LensPlace
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


class Visit(Part):
    kind: Literal["day 1", "week 1", "pressure", "cornea", "final", "spectacles", "stitch", "other"]
    date: dt.date
    place: ShortText | None = None
    brought_by: ShortText | None = None


class Done(Part):
    """What was actually done. Present only after surgery."""

    as_planned: Answer = Answer.UNKNOWN
    lens: Lens | None = None
    vitreous_lost: Answer = Answer.UNKNOWN
    piece_retained: Answer = Answer.UNKNOWN
    devices: tuple[ShortText, ...] = ()
    stitches: int | None = Field(None, ge=0, le=20, description="stitches, count")
    injected: tuple[ShortText, ...] = ()
    complication: LongText | None = None


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
