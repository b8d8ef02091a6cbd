"""The landmarks of a day by which people live who do not read a clock: waking, meals, the sun, bed."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

from consent.clinic import DayMarks
from consent.drops.limits import read_limits
from consent.drops.spacing import Waking, clock_of, minute_of
from consent.errors import DropsError, Problem


class Landmark(StrEnum):
    """A moment of the day that needs no clock."""

    WAKING = "waking"
    BREAKFAST = "breakfast"
    MID_MORNING = "mid-morning"
    MIDDAY_MEAL = "midday meal"
    AFTERNOON = "afternoon"
    SUNSET = "sunset"
    EVENING_MEAL = "evening meal"
    BED = "bed"


@dataclass(frozen=True)
class Moment:
    """A clock time by the day's landmarks: at ``landmark``, or after it and before the next one."""

    at: dt.time
    landmark: Landmark
    exact: bool


Landmarks = tuple[tuple[Landmark, dt.time], ...]


def landmarks_of(waking: Waking, marks: DayMarks) -> Landmarks:
    """Return the landmarks of this patient's day in order: the patient's waking and bed, between them the clinic's.

    Raises ``DropsError`` where waking and bed are the same moment.
    """
    first, last = waking.first_minute, waking.last_minute
    near = read_limits().near_landmark_minutes.value
    if first >= last:
        raise DropsError(
            Problem(
                f"nothing fits between waking and bed ({waking})",
                "patient.waking_from, patient.waking_to",
                remedy="correct the waking hours",
            )
        )
    inner = (
        (Landmark(name.replace("_", " ").replace("mid morning", "mid-morning")), clock)
        for name, clock in marks.model_dump().items()
        if first + near < minute_of(clock) < last - near
    )
    return ((Landmark.WAKING, clock_of(first)), *inner, (Landmark.BED, clock_of(last)))


def moment_of(at: dt.time, landmarks: Landmarks) -> Moment:
    """Return ``at`` by its landmark: the one it lies near to, else the last one before it."""
    nearest = min(landmarks, key=lambda mark: abs(minute_of(mark[1]) - minute_of(at)))
    if abs(minute_of(nearest[1]) - minute_of(at)) <= read_limits().near_landmark_minutes.value:
        return Moment(at, nearest[0], exact=True)
    before = [name for name, clock in landmarks if clock <= at]
    return Moment(at, before[-1] if before else landmarks[0][0], exact=False)
