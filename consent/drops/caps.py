"""Which caps were seen on which bottles: checks and pictures go by the same one."""

from __future__ import annotations

from collections.abc import Iterable

from consent.case import CapColour, CapSeen
from consent.drops.bottles import Supply


def caps_of(caps: Iterable[CapSeen], supply: Supply) -> tuple[CapSeen, ...]:
    """Return those of ``caps`` that were seen on bottles of ``supply``, by date; of one day in the order recorded.

    A cap recorded without an eye was seen on the bottles of every eye that gets the drug.
    """
    seen = (cap for cap in caps if cap.drug == supply.drug.id and (cap.side is None or cap.side in supply.sides))
    return tuple(sorted(seen, key=lambda cap: cap.on))


def last_cap(caps: Iterable[CapSeen], supply: Supply) -> CapColour | None:
    """Return the colour last seen on the bottles of ``supply``; ``None`` where nobody noted one."""
    seen = caps_of(caps, supply)
    return seen[-1].colour if seen else None
