"""Where a point is settled: the page on which what it is about is entered."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from pydantic import BaseModel, ConfigDict

from consent.case.reading import read_model
from consent.errors import ConsentError
from consent.resources import package_data


class _Settled(BaseModel):
    """The whole of settled.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    words: dict[str, str]
    points: dict[str, str]


@dataclass(frozen=True)
class Place:
    """A page of the case. ``path``: after the case; ``words``: message that names it."""

    path: str
    words: str


def settled_at(point: str) -> Place | None:
    """Where the point of that id is settled; None where that is not one page."""
    found = _read()
    path = found.points.get(point)
    return Place(path, found.words.get(path, f"screen.{path.removeprefix('enter/')}")) if path else None


def settled_points() -> dict[str, str]:
    """The page of every point that has one, by its id."""
    return _read().points


@cache
def _read() -> _Settled:
    return read_model(package_data("desk", "settled.toml"), _Settled, ConsentError)
