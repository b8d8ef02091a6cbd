"""Reads the drop settings of a clinic that has set none: drop_defaults.toml, each value with its source."""

from __future__ import annotations

import datetime as dt
from functools import cache

from consent.case.part import Part
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.errors import ClinicError
from consent.resources import package_data


class _Measure(Sourced):
    value: float


class _Whole(_Measure):
    value: int


class _Clock(Sourced):
    value: dt.time


class DropDefaults(Part):
    """Every number of the drop settings, and the clock times of the day's landmarks."""

    drops_per_ml: _Measure
    wastage_percent: _Measure
    days_after_opening: _Whole
    gap_minutes: _Whole
    ointment_gap_minutes: _Whole
    close_eye_minutes: _Whole
    long_standing_days: _Whole
    breakfast: _Clock
    mid_morning: _Clock
    midday_meal: _Clock
    afternoon: _Clock
    sunset: _Clock
    evening_meal: _Clock


@cache
def drop_defaults() -> DropDefaults:
    """The shipped values; raises ``ClinicError`` if the file is broken."""
    return read_model(package_data("clinic", "drop_defaults.toml"), DropDefaults, ClinicError)
