"""How far a figure of this room can be trusted: its source and how that source was read."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
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


def nearest(wrong: str, known: Iterable[str]) -> str:
    """Return the advice to print for a ``wrong`` id: the nearest known one, else all that are known."""
    ids = sorted(known)
    near = difflib.get_close_matches(wrong, ids, n=1, cutoff=0.5)
    return f'did you mean "{near[0]}"?' if near else f"known are: {', '.join(ids)}"
