"""Timing of posterior capsular rupture during cataract surgery. Eye (Lond) 2025, doi 10.1038/s41433-025-03942-8. The
authors are not displayed where it was read.

Read: the abstract, at arxivlens.com, and the opening of the paper on the publisher's page of that DOI.

The abstract prints 190 of 1042 as 19 percent (18.2); its five ways of ending, by count, are the whole series.
"""

from __future__ import annotations

import pytest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.evidence import library
from consent.resources import package_data
from consent.risk import Estimate, assess_risks

# "624/1042(60%) patients had a sulcus lens, 117/1042(11%) lens in the bag, 190/1042(19%) sulcus optic capture,
# 24/1042(2%) AC lens and 87/1042(8%) aphakic".
ENDED = {"sulcus": (624, 60), "bag": (117, 11), "anterior chamber": (24, 2), "no lens": (87, 8)}
OPTIC_CAPTURE = 190


def program(population: str = "south-asia", **eye: object) -> dict[str, Estimate]:
    """What the program says of the ordinary shipped case with the eye changed, by outcome."""
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    case = case.model_copy(update={"eye": case.eye.model_copy(update=eye)})
    clinic = read_clinic().model_copy(update={"population": population})
    return {found.outcome: found for found in assess_risks(case, clinic)}


@pytest.mark.parametrize("population", ["uk", "south-asia"])
@pytest.mark.parametrize("polar", [Answer.NO, Answer.YES])
def test_the_printed_share_of_ruptures_ends_without_a_lens(population: str, polar: Answer) -> None:
    said = program(population, posterior_polar=polar)
    share = (said["aphakia"].probability or 0) / (said["capsule_rupture"].probability or 1)
    assert 100 * share == pytest.approx(8, abs=0.5)
    assert share == pytest.approx(87 / 1042)


def test_the_usual_eye_by_hand() -> None:
    # Haripriya 2017, 1.3732 percent, times 87/1042 = 0.1147 percent: about 1 in 870.
    assert 100 * (program()["aphakia"].usual or 0) == pytest.approx(0.1147, abs=0.00005)


def test_a_posterior_polar_cataract_by_hand() -> None:
    # Aswin 2022, 35 of 388, times 87/1042 = 0.753 percent.
    assert 100 * (program(posterior_polar=Answer.YES)["aphakia"].probability or 0) == pytest.approx(0.753, abs=0.0005)


def test_the_ways_of_ending_are_the_whole_series() -> None:
    # Not inputs: 624 + 117 + 190 + 24 + 87 = 1042, so each rupture is counted once.
    assert sum(count for count, _ in ENDED.values()) + OPTIC_CAPTURE == library().one("moorfields-2025").operations
    for count, printed in ENDED.values():
        assert 100 * count / 1042 == pytest.approx(printed, abs=0.5)
    assert abs(100 * OPTIC_CAPTURE / 1042 - 19) > 0.5


def test_the_share_is_said_to_come_from_elsewhere() -> None:
    found = program()["aphakia"]
    assert "assume.share-elsewhere" in {note.id for note in found.assumptions}
    assert found.region == "UK/Europe"
