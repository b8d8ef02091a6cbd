"""Checks of the bottles in hand: caps as seen, and names that are taken for one another."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from itertools import combinations

from consent.case import CapSeen
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, hit
from consent.drops.theatre import named


def _rows_of(cap: CapSeen, rows: Iterable[Row]) -> tuple[Row, ...]:
    return tuple(row for row in rows if row.drug.id == cap.drug and (cap.side is None or cap.side is row.side))


def _latest(subject: Subject) -> list[CapSeen]:
    """The last sighting of every bottle that is in the plan."""
    caps = {(cap.drug, cap.side): cap for cap in sorted(subject.case.caps_seen, key=lambda cap: cap.on)}
    return [cap for cap in caps.values() if _rows_of(cap, subject.current)]


def caps_alike(subject: Subject) -> Iterator[Hit]:
    """Two drugs whose caps look the same: the colour does not tell them apart."""
    by_colour = defaultdict(list)
    for cap in _latest(subject):
        by_colour[cap.colour].append(cap)
    for colour, caps in by_colour.items():
        if len({cap.drug for cap in caps}) > 1:
            rows = {row.number: row for cap in caps for row in _rows_of(cap, subject.current)}
            yield hit("note", (f"cap: {colour}",), rows.values())


def cap_changed(subject: Subject) -> Iterator[Hit]:
    """The same drug, another cap than before: another maker, or another bottle."""
    colours = defaultdict(list)
    for cap in sorted(subject.case.caps_seen, key=lambda cap: cap.on):
        colours[cap.drug, cap.side].append(cap)
    for caps in colours.values():
        rows = _rows_of(caps[-1], subject.current)
        if rows and len({cap.colour for cap in caps}) > 1:
            yield hit("ask", (f"cap: {', then '.join(f'{cap.colour} on {cap.on}' for cap in caps)}",), rows)


def cap_of_no_bottle(subject: Subject) -> Iterator[Hit]:
    """A cap was recorded of a drug that is not in the plan."""
    for cap in subject.case.caps_seen:
        if not _rows_of(cap, subject.plan.rows):
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
