"""What carries its source: a value of the shipped data with the ground it stands on and how that was read."""

from __future__ import annotations

from enum import StrEnum

from consent.case.part import LongText, Part


class Verified(StrEnum):
    """How the source was read. ``quoted``: seen in part, or through another page."""

    FULL_TEXT = "full-text table"
    ABSTRACT = "abstract"
    QUOTED = "quoted"
    MEMORY = "memory"
    PRACTICE = "common practice, no source"


class Sourced(Part):
    """Anything that carries its source; strict, unknown keys refused."""

    source: LongText
    verified: Verified
