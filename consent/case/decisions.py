"""What people decided or saw: long-standing drops, changed drops, caps seen, points answered."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, model_validator

from consent.case.answers import CapColour, Side
from consent.case.part import LongText, Part, ShortText


class OwnDrop(Part):
    """A drop the patient has long used, such as one for glaucoma, and what the surgeon decided about it."""

    drug: ShortText = Field(description="id of a drug of the formulary")
    eyes: Literal["right", "left", "each"]
    times_a_day: int = Field(ge=1, le=16, description="times a day")
    drops_per_dose: int = Field(1, ge=1, le=2, description="drops each time")
    at_bedtime: bool = Field(False, description="once a day, at bedtime instead of at waking")
    decision: Literal["continue", "pause", "stop", "undecided"] = "undecided"
    pause_until: dt.date | None = Field(None, description="the day a paused drop is given again")
    decided_by: ShortText | None = None

    @model_validator(mode="after")
    def _pause_has_an_end(self) -> OwnDrop:
        if (self.decision == "pause") != (self.pause_until is not None):
            raise ValueError('decision = "pause" goes with pause_until, and only then')
        return self

    @model_validator(mode="after")
    def _bedtime_once(self) -> OwnDrop:
        if self.at_bedtime and self.times_a_day != 1:
            raise ValueError("at_bedtime goes with times_a_day = 1")
        return self

    @property
    def sides(self) -> tuple[Side, ...]:
        """The eyes it goes into."""
        return tuple(Side) if self.eyes == "each" else (Side(self.eyes),)


class DropChange(Part):
    """Other drops from a day on. The days before stay as they were printed."""

    on: dt.date = Field(description="first day of the new drops")
    regimen: ShortText = Field(description="id of a regimen; its day 1 is this day")
    by: ShortText
    registration: ShortText | None = None
    why: LongText


class CapSeen(Part):
    """The colour of a cap as staff saw it on the bottle on a day. Never inferred from the drug."""

    drug: ShortText = Field(description="id of a drug of the formulary")
    side: Side | None = Field(None, description="where each eye has its own bottle")
    colour: CapColour
    on: dt.date


class PointAnswer(Part):
    """What a licensed clinician answered to a point: who, when and why. It holds while the facts stay the same."""

    point: ShortText = Field(description="id of the point, such as drops.nsaid-diabetes")
    key: Annotated[str, Field(pattern=r"^[0-9a-f]{8}$", description="printed beside the point; changes with its facts")]
    by: ShortText
    registration: ShortText
    at: AwareDatetime
    why: LongText
