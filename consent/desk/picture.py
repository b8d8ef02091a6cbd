"""The live picture beside a form: what drives this eye's risk, what is not known yet, what would stop it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from markupsafe import Markup

from consent.case import NucleusGrade
from consent.compose.counts import WHOLE, show
from consent.compose.figures import short_figure
from consent.desk.screens import screen_of
from consent.desk.settling import settled_at
from consent.desk.words import Words
from consent.review import Assessment, Point, Severity
from consent.risk import Estimate, has_lapsed
from consent.wording import remark

_ASKED_AT = {
    "age": "patient.birth_date",
    "sex": "patient.sex",
    "glaucoma": "eye.glaucoma",
    "diabetic retinopathy": "eye.retinopathy",
    "brunescent or white": "eye.nucleus.grade",
    "no fundal view": "eye.fundus_seen",
    "pseudoexfoliation or phacodonesis": "eye.pseudoexfoliation",
    "pupil": "eye.pupil_grade",
    "axial length": "eye.axial_length_mm",
    "doxazosin": "health.alpha_blocker.ever",
    "cannot lie flat": "health.can_lie_flat",
    "surgeon grade": "plan.surgeon.grade",
}
"""Where each factor of the odds model is entered."""
_WIDEST = 4.0
"""An odds ratio that fills the bar."""


@dataclass(frozen=True)
class Drive:
    """One factor that raises this eye's odds, or could: its name, how often the odds are multiplied, and where it is
    entered. ``share``: of the bar, 0 to 100."""

    name: Markup
    ratio: Markup
    known: bool
    share: int
    screen: str | None


@dataclass(frozen=True)
class Open:
    """A point that waits for somebody, and the page of the case on which whoever enters the case can settle it."""

    title: Markup
    path: str | None


@dataclass(frozen=True)
class Picture:
    """What the counsellor sees beside the form. ``figure`` is for staff: nobody has accepted it yet."""

    figure: Markup
    usual: Markup
    accepted: bool
    drives: tuple[Drive, ...]
    stops: tuple[Open, ...]
    asks: tuple[Open, ...]
    notes: int
    remarks: tuple[Markup, ...] = ()


def picture(assessment: Assessment, words: Words) -> Picture:
    """The picture of one case, in the language of the pages."""
    rupture = assessment.risks["capsule_rupture"]
    drives = sorted(rupture.drivers, key=lambda driver: (driver.known, -driver.ratio))
    return Picture(
        _figure(rupture, words),
        words.remark(short_figure(show(rupture.usual, rupture.usual, rupture.usual, single=True))),
        assessment.case.figures_accepted is not None and not has_lapsed(assessment.risks.values(), assessment.case),
        tuple(
            Drive(
                words.remark(remark(f"because.{one.factor}")),
                words.say("picture.times", ratio=one.ratio),
                one.known,
                round(100 * min(one.ratio - 1, _WIDEST - 1) / (_WIDEST - 1)),
                screen_of(_ASKED_AT[one.factor]) if one.factor in _ASKED_AT else None,
            )
            for one in drives
        ),
        _open(assessment, Severity.STOP, words),
        _open(assessment, Severity.ASK, words),
        sum(point.severity is Severity.NOTE for point in assessment.points),
        tuple(words.say(name) for name, holds in _REMARKS.items() if holds(assessment)),
    )


def _is_lower(assessment: Assessment) -> bool:
    """Whether even the highest figure of this eye lies below the usual eye's."""
    rupture = assessment.risks["capsule_rupture"]
    highest = rupture.interval.high if rupture.interval else rupture.probability
    return highest is not None and rupture.usual is not None and highest < rupture.usual


_REMARKS: dict[str, Callable[[Assessment], bool]] = {
    "picture.lower": _is_lower,
    "picture.hard": lambda assessment: assessment.case.eye.nucleus.grade is NucleusGrade.HARD,
}
"""What a figure needs said beside it, so that nobody takes it for more than it is."""


def waiting(points: tuple[Point, ...], severity: Severity) -> tuple[Point, ...]:
    """Those of ``points`` that still wait for somebody."""
    return tuple(point for point in points if point.severity is severity and point.open)


def _open(assessment: Assessment, severity: Severity, words: Words) -> tuple[Open, ...]:
    points = waiting(assessment.points, severity)
    return tuple(Open(words.remark(point.title), _path(point.id)) for point in points)


def _path(point: str) -> str | None:
    """Where a counsellor settles it; None where that is the surgeon's own page, or not one page."""
    place = settled_at(point)
    return place.path if place is not None and place.path.partition("/")[0] in ("enter", "decision") else None


def _figure(estimate: Estimate, words: Words) -> Markup:
    span = estimate.interval
    low, high = (span.low, span.high) if span else (None, None)
    shown = show(estimate.probability, low, high, estimate.single_figure)
    return words.say("picture.of", figure=short_figure(shown), whole=WHOLE)
