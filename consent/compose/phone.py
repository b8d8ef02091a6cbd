"""Reads what paper and telephone networks can carry, each value with its source."""

from __future__ import annotations

from functools import cache
from typing import Literal

from pydantic import Field

from consent.case.part import Part, ShortText
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.errors import MachineError
from consent.resources import package_data


class Count(Sourced):
    """A whole number with its unit."""

    value: int = Field(ge=1)
    unit: ShortText


class PhoneLimits(Part):
    """Limits of a code on paper and of a text message."""

    schema_version: Literal[1] = Field(alias="schema")
    largest_version: Count
    quiet_modules: Count
    gsm_single: Count
    gsm_part: Count
    ucs2_single: Count
    ucs2_part: Count


@cache
def phone_limits() -> PhoneLimits:
    """Return the limits of ``phone.toml``; raises ``MachineError`` naming file and key."""
    return read_model(package_data("compose", "phone.toml"), PhoneLimits, MachineError)
