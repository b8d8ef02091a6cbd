"""A published points score as a cross-check of the odds model: observed rates by group, never multiplied in."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from consent.case import Answer, Case
from consent.evidence import Cited, library
from consent.risk.facts import FACTS


@dataclass(frozen=True)
class ScoreCheck:
    """Points of this eye, the points it would have if all that is unknown were present, and what was observed.

    ``relative`` is the group's rate over the score's own overall rate; ``observed`` is the group's figure.
    """

    series: str
    points: int
    at_most: int
    observed: Cited
    relative: float


def score_check(case: Case, series_id: str) -> ScoreCheck | None:
    """The cross-check of ``series_id`` for this eye; None where that series holds no score."""
    series = library().one(series_id)
    if series.score is None:
        return None
    answers = {item.id: _ANSWERS[_kind(item.id)](case, item.id) for item in series.score.items}
    points = sum(item.points for item in series.score.items if answers[item.id] is Answer.YES)
    unknown = sum(item.points for item in series.score.items if answers[item.id] is Answer.UNKNOWN)
    figure = series.figure(series.score.group(points).figure)
    overall = series.figure(series.score.overall).probability
    observed = Cited(series, figure)
    return ScoreCheck(series.id, points, points + unknown, observed, figure.probability / overall)


def _kind(item: str) -> str:
    """An item without the number of its threshold: "pupil under 3 mm" is "pupil under"."""
    return re.sub(r"\s*[\d.]+.*$", "", item)


def _threshold(item: str) -> float:
    return float(re.findall(r"[\d.]+", item)[0])


def _under(value: float | None, item: str) -> Answer:
    if value is None:
        return Answer.UNKNOWN
    return Answer.YES if value < _threshold(item) else Answer.NO


_ANSWERS: dict[str, Callable[[Case, str], Answer]] = {
    "dense or white": lambda case, _: FACTS["hard or white lens"](case),
    "pseudoexfoliation": lambda case, _: case.eye.pseudoexfoliation,
    "phacodonesis": lambda case, _: case.eye.phacodonesis,
    "previous vitrectomy": lambda case, _: case.eye.previous_vitrectomy,
    "corneal scar": lambda case, _: case.eye.corneal_scar,
    "pupil under": lambda case, item: _under(case.eye.pupil_mm, item),
    "chamber under": lambda case, item: _under(case.eye.chamber_depth_mm, item),
    "age over": lambda case, item: Answer.YES if case.age_years > _threshold(item) else Answer.NO,
    "posterior polar": lambda case, _: case.eye.posterior_polar,
}
