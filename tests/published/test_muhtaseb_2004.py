"""Muhtaseb M, Kalhoro A, Ionides A. A system for preoperative stratification of cataract patients according to risk of
intraoperative complications: a prospective analysis of 1441 cases. Br J Ophthalmol 2004;88:1242-1246, doi
10.1136/bjo.2004.046003.

Read: table 1 (points) and table 2 (complications by group) of the full text, at bjo.bmj.com. No default: a cross-check
of the odds model that the surgeon sees.
"""

from __future__ import annotations

import pytest

from consent.case import Answer, NucleusGrade, read_case
from consent.case.model import Nucleus
from consent.clinic import read_clinic
from consent.evidence import library
from consent.resources import package_data
from consent.risk import assess_risks
from consent.risk.score import ScoreCheck

# Table 2, row "PCR": eyes of the group, events, percent as printed.
GROUPS = {1: (579, 9, 1.55), 2: (255, 4, 1.57), 3: (141, 7, 4.96), 4: (25, 2, 8)}


def program(name: str = "ordinary", **eye: object) -> ScoreCheck:
    """The cross-check of a shipped case with the eye changed."""
    case = read_case(package_data("case", "examples", f"{name}.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    said = {found.outcome: found for found in assess_risks(case, read_clinic())}
    found = said["capsule_rupture"].crosscheck
    assert found is not None
    return found


YES = Answer.YES
DENSE = Nucleus(grade=NucleusGrade.BRUNESCENT)


@pytest.mark.parametrize(
    ("points", "group", "eye"),
    [
        (0, 1, {}),
        # Category B, 1 point each.
        (1, 2, {"previous_vitrectomy": YES}),
        (1, 2, {"corneal_scar": YES}),
        (1, 2, {"pupil_mm": 2.9}),  # "Small pupil (<3 mm)"
        (0, 1, {"pupil_mm": 3.0}),
        (1, 2, {"chamber_depth_mm": 2.4}),  # "Shallow anterior chamber (depth<2.5 mm)"
        (0, 1, {"chamber_depth_mm": 2.5}),
        (1, 2, {"posterior_polar": YES}),
        (2, 2, {"corneal_scar": YES, "pupil_mm": 2.0}),
        # Category C, 3 points each.
        (3, 3, {"white": YES}),
        (3, 3, {"nucleus": DENSE}),
        (3, 3, {"nucleus": DENSE, "white": YES}),  # one line of the table: counted once
        (3, 3, {"pseudoexfoliation": YES}),
        (3, 3, {"phacodonesis": YES}),
        (5, 3, {"phacodonesis": YES, "corneal_scar": YES, "previous_vitrectomy": YES}),
        (6, 4, {"nucleus": DENSE, "pseudoexfoliation": YES}),
        (9, 4, {"nucleus": DENSE, "pseudoexfoliation": YES, "phacodonesis": YES}),
    ],
)
def test_points_and_group(points: int, group: int, eye: dict[str, object]) -> None:
    found = program(**eye)
    assert found.points == points
    assert 100 * found.observed.figure.probability == pytest.approx(GROUPS[group][2], abs=0.005)


def test_the_hard_case() -> None:
    # A brunescent lens, 3 points; pseudoexfoliation not known could add 3. Group 3: 7 of 141 over 22 of 1,000.
    found = program("hard")
    assert (found.points, found.at_most) == (3, 6)
    assert found.relative == pytest.approx((7 / 141) / (22 / 1000))


def test_the_printed_events_give_the_printed_percentages() -> None:
    # Not inputs: the table prints the events beside the percentages.
    for eyes, events, printed in GROUPS.values():
        assert 100 * events / eyes == pytest.approx(printed, abs=0.005)


def test_the_groups_are_the_series() -> None:
    # 579 + 255 + 141 + 25 = 1000 eyes, 9 + 4 + 7 + 2 = 22 ruptures: "22 2.2".
    assert sum(eyes for eyes, _, _ in GROUPS.values()) == library().one("muhtaseb-2004").operations == 1000
    assert sum(events for _, events, _ in GROUPS.values()) == 22
    overall = library().cited("muhtaseb-2004/capsule-rupture-all").figure.probability
    assert 100 * overall == pytest.approx(2.2, abs=0.05)
