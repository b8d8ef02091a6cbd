"""Checks of the bottles in hand: caps as seen, and names that are taken for one another."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations

from consent.case import CapColour, CapSeen
from consent.drops.bottles import Supply
from consent.drops.caps import caps_of, last_cap
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, hit
from consent.drops.theatre import named


def _in_hand(subject: Subject) -> list[tuple[Supply, tuple[Row, ...]]]:
    """The bottles of either eye that are still used, with their rows."""
    placed = (
        (supply, tuple(row for row in subject.current if row.number in supply.rows)) for supply in subject.plan.supplies
    )
    return [(supply, rows) for supply, rows in placed if rows]


def caps_alike(subject: Subject) -> Iterator[Hit]:
    """Two drugs whose caps look the same: the colour does not tell them apart."""
    by_colour: dict[CapColour, list[Row]] = defaultdict(list)
    for supply, rows in _in_hand(subject):
        if colour := last_cap(subject.case.caps_seen, supply):
            by_colour[colour] += rows
    for colour, alike in by_colour.items():
        if len({row.drug.id for row in alike}) > 1:
            yield hit("note", (f"cap: {colour}",), alike)


def cap_changed(subject: Subject) -> Iterator[Hit]:
    """The same drug, another cap than before: another maker, or another bottle."""
    changed: dict[tuple[CapSeen, ...], list[Row]] = defaultdict(list)
    for supply, rows in _in_hand(subject):
        caps = caps_of(subject.case.caps_seen, supply)
        if len({cap.colour for cap in caps}) > 1:
            changed[caps] += rows
    for caps, of_them in changed.items():
        yield hit("ask", (f"cap: {', then '.join(f'{cap.colour} on {cap.on}' for cap in caps)}",), of_them)


def cap_of_no_bottle(subject: Subject) -> Iterator[Hit]:
    """A cap was recorded of a drug that is not in the plan."""
    for cap in subject.case.caps_seen:
        if not any(caps_of((cap,), supply) for supply in subject.plan.supplies):
            where = f", {cap.side} eye" if cap.side else ""
            yield Hit("ask", (f"cap: {cap.colour}, of {cap.drug}{where}, seen on {cap.on}",))


def names_alike(subject: Subject) -> Iterator[Hit]:
    """Two drugs of the plan whose names are taken for one another."""
    for one, other in combinations(subject.current, 2):
        if one.drug.id != other.drug.id and _alike(subject, one, other):
            yield hit("ask", (), (one, other))


def _alike(subject: Subject, one: Row, other: Row) -> bool:
    """Whether each holds a name of one group, and not the same name."""
    for group in subject.words.look_alike:
        in_one, in_other = ({word for word in group if named(row.drug.name, (word,))} for row in (one, other))
        if in_one and in_other and in_one != in_other:
            return True
    return False


BOTTLE_CHECKS: dict[str, Check] = {
    "caps-alike": caps_alike,
    "cap-changed": cap_changed,
    "cap-of-no-bottle": cap_of_no_bottle,
    "names-alike": names_alike,
}
