"""Reads the thresholds of the schedule and the checks, each with unit and source."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import Field, model_validator

from consent.case.part import Part, ShortText
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.errors import DropsError
from consent.resources import package_data


class Whole(Sourced):
    """A whole number with its unit."""

    value: int = Field(ge=1, le=365)
    unit: ShortText


class Measure(Sourced):
    """A length or a strength with its unit."""

    value: float = Field(gt=0, le=100)
    unit: ShortText


class DayWindow(Sourced):
    """Days after surgery, both ends counted in."""

    first: int = Field(ge=0, le=365)
    last: int = Field(ge=0, le=365)
    unit: ShortText

    @model_validator(mode="after")
    def _ordered(self) -> DayWindow:
        if self.last < self.first:
            raise ValueError("last must not be before first")
        return self

    def holds(self, day: int) -> bool:
        """Whether ``day`` after surgery lies in the window."""
        return self.first <= day <= self.last

    def __str__(self) -> str:
        return f"days {self.first}-{self.last}"


class Limits(Part):
    """Every threshold of this room."""

    schema_version: Literal[1] = Field(alias="schema")
    round_to_minutes: Whole
    long_session_minutes: Whole
    evening_from_hour: Whole
    longest_pause_days: Whole
    days_after_pause: Whole
    longest_gap_times_shortest: Whole
    near_landmark_minutes: Whole
    close_doses_minutes: Whole
    nsaid_days: Whole
    nsaid_days_before: Whole
    cornea_visit_from_day: Whole
    steroid_days: Whole
    pressure_visit: DayWindow
    responder_early_visit: DayWindow
    responder_late_visit: DayWindow
    responder_short_course_visit: DayWindow
    long_eye_mm: Measure
    young_eye_years: Whole
    shallow_chamber_mm: Measure
    pregnancy_years: Whole
    phenylephrine_strong_percent: Measure
    phenylephrine_usual_percent: Measure
    phenylephrine_elderly_years: Whole


@cache
def read_limits() -> Limits:
    """Return the thresholds of ``limits.toml``; raises ``DropsError`` naming file and key."""
    return read_model(package_data("drops", "limits.toml"), Limits, DropsError)
