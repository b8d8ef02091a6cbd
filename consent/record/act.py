"""What somebody is about to record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from consent.record.moves import State


@dataclass(frozen=True)
class Act:
    """One entry about to be made: its kind, what changes in the case, and what is said about it.

    ``seen``: sequence of the last entry the person saw of the case. ``data``: the case as it shall be, or none where it
    stays. ``details`` are kept encrypted; ``open_`` in the clear, so it never holds anything about the patient: a
    ``ground`` there takes the place of the reason. ``to`` and most of ``open_`` are worked out within the record:
    through the door come only those keys that moves.toml names for the kind.
    """

    kind: str
    seen: int
    data: Mapping[str, Any] | None = None
    reason: str | None = None
    details: Mapping[str, Any] = field(default_factory=dict)
    open_: Mapping[str, Any] = field(default_factory=dict)
    to: State | None = None
