"""What stands in the way of a sign-off, in the words of the page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from markupsafe import Markup

from consent.desk.told import told
from consent.desk.words import Words
from consent.pack import Pack
from consent.record.hindrances import hindrances
from consent.review import Point


@dataclass(frozen=True)
class InTheWay:
    """One hindrance. ``mark``: how it is marked; ``point``: key of the point that it is; ``english``: it is said in
    English only."""

    mark: str
    what: Markup
    point: str = ""
    source: str = ""
    english: bool = False


def in_the_way(pack: Pack, stage: str, words: Words) -> tuple[InTheWay, ...]:
    """Everything that the record would refuse a sign-off at ``stage`` for; empty where it would refuse nothing."""
    return tuple(_said(pack, stage, words))


def _said(pack: Pack, stage: str, words: Words) -> Iterator[InTheWay]:
    open_points = [point for point in pack.points if point.open]
    for problem in hindrances(pack, stage):
        kind, _, name = problem.where.partition(": ")
        point = _take(open_points, name) if kind in ("stop", "ask") else None
        if point is not None:
            yield InTheWay(kind, words.remark(point.title), point.key, point.source)
        else:
            said = told(problem, words)
            yield InTheWay("ask", said.what, source="" if problem.said else problem.why, english=said.english)


def _take(points: list[Point], name: str) -> Point | None:
    """The next of ``points`` with that id, taken out: a check of drops may fire twice."""
    found = next((point for point in points if point.id == name), None)
    if found is not None:
        points.remove(found)
    return found
