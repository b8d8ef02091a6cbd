"""The published points score beside the model: Muhtaseb 2004, doi 10.1136/bjo.2004.046003."""

from __future__ import annotations

import pytest

from consent.case import Case
from consent.case.answers import Answer, NucleusGrade
from consent.risk import ScoreCheck, score_check
from tests.conftest import shipped_case

SERIES = "muhtaseb-2004"


def _check(case: Case) -> ScoreCheck:
    found = score_check(case, SERIES)
    assert found is not None
    return found


def _with_eye(case: Case, **changes: object) -> Case:
    return case.model_copy(update={"eye": case.eye.model_copy(update=changes)})


def test_ordinary_eye_has_no_points_and_the_first_group() -> None:
    found = _check(shipped_case("ordinary"))
    assert (found.points, found.at_most) == (0, 0)
    assert found.observed.figure.value == 1.55  # full-text table, group 1


def test_hard_eye_has_three_points_and_could_have_six() -> None:
    """Brunescent 3; pseudoexfoliation, 3, is not known; pupil 4.2 mm and chamber 2.8 mm count nothing."""
    found = _check(shipped_case("hard"))
    assert (found.points, found.at_most) == (3, 6)
    assert found.observed.figure.value == 4.96  # full-text table, group 3
    assert found.relative == pytest.approx(4.96 / 2.2, abs=0.05)  # all operations: 2.2 percent


@pytest.mark.parametrize(
    ("changes", "points", "rate"),
    [
        ({"phacodonesis": Answer.YES}, 3, 4.96),
        ({"corneal_scar": Answer.YES}, 1, 1.57),
        ({"previous_vitrectomy": Answer.YES}, 1, 1.57),
        ({"pupil_mm": 2.9}, 1, 1.57),
        ({"pupil_mm": 3.0}, 0, 1.55),
        ({"chamber_depth_mm": 2.4}, 1, 1.57),
        ({"chamber_depth_mm": 2.5}, 0, 1.55),
        ({"posterior_polar": Answer.YES, "corneal_scar": Answer.YES}, 2, 1.57),
        ({"pseudoexfoliation": Answer.YES, "phacodonesis": Answer.YES}, 6, 8.0),
        ({"white": Answer.YES}, 3, 4.96),
    ],
)
def test_points_of_each_finding(changes: dict[str, object], points: int, rate: float) -> None:
    """Points and observed rates: the paper's list and full-text table, group by group."""
    found = _check(_with_eye(shipped_case("ordinary"), **changes))
    assert found.points == points
    assert found.observed.figure.value == rate


@pytest.mark.parametrize(("years", "points"), [(88, 0), (89, 1)])
def test_age_over_88(years: int, points: int) -> None:
    case = shipped_case("ordinary")
    patient = case.patient.model_copy(update={"birth_date": None, "age_years": years})
    assert _check(case.model_copy(update={"patient": patient})).points == points


def test_unknown_counts_in_the_highest_only() -> None:
    nucleus = shipped_case("ordinary").eye.nucleus.model_copy(update={"grade": NucleusGrade.UNKNOWN})
    found = _check(_with_eye(shipped_case("ordinary"), nucleus=nucleus, pupil_mm=None))
    assert (found.points, found.at_most) == (0, 4)


def test_a_series_without_a_score_gives_none() -> None:
    assert score_check(shipped_case("hard"), "day-2016") is None
