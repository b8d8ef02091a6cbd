"""Reads the evidence library: one file per published series, each refused if it contradicts itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from consent.case.reading import read_model
from consent.errors import EvidenceError, Problem
from consent.evidence.model import Figure, Series
from consent.resources import package_data


@dataclass(frozen=True)
class Cited:
    """A figure together with the series it stands in."""

    series: Series
    figure: Figure

    @property
    def reference(self) -> str:
        """Where the figure lives in the library: ``series/figure``."""
        return f"{self.series.id}/{self.figure.id}"


@dataclass(frozen=True)
class Library:
    series: dict[str, Series]

    def __iter__(self) -> Iterator[Series]:
        return iter(self.series.values())

    def cited(self, reference: str) -> Cited:
        """The figure at ``series/figure``; raises ``EvidenceError`` naming what is missing."""
        series_id, _, figure_id = reference.partition("/")
        try:
            series = self.series[series_id]
            return Cited(series, series.figure(figure_id))
        except KeyError as missing:
            raise EvidenceError(
                Problem(f"there is no figure {reference}", "evidence library", remedy="name one that is listed")
            ) from missing

    def one(self, series_id: str) -> Series:
        """The series called ``series_id``; raises ``EvidenceError`` naming the nearest."""
        import difflib

        if series_id in self.series:
            return self.series[series_id]
        near = difflib.get_close_matches(series_id, self.series, n=1)
        remedy = f'did you mean "{near[0]}"?' if near else "list them with: consent evidence"
        raise EvidenceError(Problem(f'there is no series "{series_id}"', "evidence library", remedy=remedy))


def read_library(folder: Path) -> Library:
    """Return every series in ``folder``; raises ``EvidenceError`` with all faults of the first bad file."""
    found: dict[str, Series] = {}
    for path in sorted(folder.glob("*.toml")):
        series = read_model(path, Series, EvidenceError)
        if series.id != path.stem:
            raise EvidenceError(Problem(f'id "{series.id}" is not the file name', path.name, remedy="make them agree"))
        found[series.id] = series
    return Library(found)


@cache
def library() -> Library:
    """The shipped library."""
    return read_library(package_data("evidence", "series"))
