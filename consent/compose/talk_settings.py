"""How the talk is held: its pace, and how many harms are said aloud."""

from __future__ import annotations

from functools import cache

from pydantic import Field

from consent.case.part import Part
from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data


class TalkSettings(Part):
    """The whole of guide.toml."""

    words_per_minute: int = Field(ge=60, le=200)
    first_harms: int = Field(ge=1)
    many_in_1000: int = Field(ge=1, le=1000)
    seconds: dict[str, int]


@cache
def talk_settings() -> TalkSettings:
    """The shipped settings. ``ConsentError`` naming file and key for a fault."""
    return read_model(package_data("compose", "guide.toml"), TalkSettings, ConsentError)
