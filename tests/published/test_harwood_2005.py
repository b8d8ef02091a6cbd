"""Harwood RH, Foss AJE, Osborn F, Gregson RM, Zaman A, Masud T. Falls and health status in elderly women following
first eye cataract surgery: a randomised controlled trial. Br J Ophthalmol 2005;89(1):53-59, doi
10.1136/bjo.2004.049478, PMID 15615747.

Read: the abstract, at pmc.ncbi.nlm.nih.gov/articles/PMC1772474.
"""

from __future__ import annotations

import pytest

from consent.case import Answer, read_case
from consent.clinic import read_clinic
from consent.evidence import library
from consent.pack import compose_pack
from consent.resources import package_data
from consent.risk import risk_plan

# 306 women were randomised; the group that waited had 152 (library), so 154 were operated.
WAITING, OPERATED = 152, 154


def test_the_printed_shares_with_a_fracture() -> None:
    # "Four participants in the operated group had fractures (3%), compared with 12 (8%) in the control group (p =
    # 0.04)."
    found = next(way for way in risk_plan().alternatives if way.id == "waiting-fracture")
    waiting, operated = (library().cited(name) for name in (found.one, found.other))
    assert 100 * waiting.figure.probability == pytest.approx(8, abs=0.5)
    assert 100 * operated.figure.probability == pytest.approx(3, abs=0.5)
    assert waiting.series.id == operated.series.id == "harwood-2005"


@pytest.mark.parametrize(
    ("count", "women", "printed"),
    [
        # Not inputs: "76 (49%) operated participants fell at least once, and 28 (18%) fell more than once. 69 (45%)
        # unoperated participants fell at least once, 38 (25%) fell more than once."
        (76, OPERATED, 49),
        (28, OPERATED, 18),
        (4, OPERATED, 3),
        (69, WAITING, 45),
        (38, WAITING, 25),
        (12, WAITING, 8),
    ],
)
def test_the_sizes_of_the_groups_give_every_printed_share(count: int, women: int, printed: float) -> None:
    assert library().one("harwood-2005").operations == WAITING + OPERATED
    assert 100 * count / women == pytest.approx(printed, abs=0.5)


@pytest.mark.parametrize(("operated", "stands"), [("no", True), ("yes", False), ("unknown", False)])
def test_the_fractures_stand_on_the_risk_sheet_of_a_first_eye_only(operated: str, stands: bool) -> None:
    # "Falls and health status in elderly women following first eye cataract surgery": who has had the other eye
    # operated was not in this trial, and nor is it known of whom nobody asked. 79 of 1,000 waiting, 26 operated.
    case = read_case(package_data("case", "examples", "ordinary.toml"))
    other = case.other_eye.model_copy(update={"operated": Answer(operated)})
    pack = compose_pack(case.model_copy(update={"other_eye": other}), read_clinic(), ("en",), ("risk-sheet",))
    text = " ".join(pack.documents[0].texts())
    for said in ("79 of 1,000 did, 921 did not", "26 of 1,000 did, 974 did not"):
        assert (said in text) is stands


def test_falls_are_fewer_by_a_third() -> None:
    # "Rate of falling was reduced by 34% ... (rate ratio 0.66, 95% confidence interval 0.45 to 0.96)".
    figure = library().cited("harwood-2005/early-surgery").figure
    assert (figure.value, figure.limits) == (0.66, (0.45, 0.96))
    assert 100 * (1 - (figure.value or 0)) == pytest.approx(34, abs=0.5)
