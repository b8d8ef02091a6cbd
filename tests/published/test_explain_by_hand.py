"""``consent explain`` on the shipped hard case, recomputed by hand, factor by factor, to the last printed digit.

Ratios: Narendran N et al. Eye (Lond) 2009;23:31-37, doi 10.1038/sj.eye.6703049 (as quoted). Reference populations:
Haripriya A et al. Ophthalmology 2017;124:768-775, doi 10.1016/j.ophtha.2017.01.026, and Sim PY et al. Eye (Lond) 2024,
doi 10.1038/s41433-024-03344-2. Alternative ratios: Sim 2024, and Salowi MA et al. Br J Ophthalmol 2017;101:1466-1470.
Interval of a mixture: Zou GY, Donner A. Stat Med 2008;27:1693-1702.

Every number is typed here; none is read from the program's own data.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from consent.commands.main import main
from consent.resources import package_data

# The hard case: a man of 69, diabetic, on tamsulosin, brunescent lens, small pupil, axial length 23.6 mm, consultant;
# no view good enough to grade retinopathy, pseudoexfoliation not known.
BY_HAND = [
    # what the chain says, the ratio of the table, the highest it could have where the case does not say
    ("age 69 years on the day of surgery", 1.14, 1.14),  # 60-69
    ("sex: male", 1.28, 1.28),
    ("glaucoma: none", 1.00, 1.00),
    ("diabetic retinopathy: unknown", 1.00, 1.63),  # diabetes without a grade: not known
    ("nucleus brunescent, white: no", 2.99, 2.99),
    ("fundus seen: yes", 1.00, 1.00),
    ("pseudoexfoliation: unknown, phacodonesis: no", 1.00, 2.92),
    ("pupil, surgeon's own grade: small", 1.45, 1.45),
    ("axial length 23.6 mm", 1.00, 1.00),  # under 26 mm
    ("alpha-blocker: tamsulosin; the model's term is doxazosin only", 1.00, 1.00),
    ("can lie flat: yes", 1.00, 1.00),
    ("surgeon grade: consultant", 1.00, 1.00),
]

# Average composite: odds of 1.92 percent over odds of 0.75 percent = 0.01957586/0.00755668.
COMPOSITE = (0.0192 / 0.9808) / (0.0075 / 0.9925)
# South Asia: 8479 of 617 453 (odds 8479/608 974); United Kingdom: 9730 of 961 208 (odds 9730/951 478).
SOUTH_ASIA, UK = 8479 / 608_974 / COMPOSITE, 9730 / 951_478 / COMPOSITE
# 1.14 x 1.28 x 2.99 x 1.45 = 6.32636...
PRODUCT = 1.14 * 1.28 * 2.99 * 1.45
ODDS = SOUTH_ASIA * PRODUCT
RUPTURE = ODDS / (1 + ODDS)
# Low end: the lower population, 2.41 (Sim 2024) for the lens, what is unknown absent. High end: the higher population,
# retinopathy at 1.63, pseudoexfoliation at 3.47 (Sim 2024; the table's 2.92 and Salowi's 1.36 are lower).
LOWEST = UK * 1.14 * 1.28 * 2.41 * 1.45
HIGHEST = SOUTH_ASIA * PRODUCT * 1.63 * 3.47
LOW, HIGH = LOWEST / (1 + LOWEST), HIGHEST / (1 + HIGHEST)


@pytest.fixture(autouse=True)
def _no_settings_of_ones_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))


def explain(capsys: pytest.CaptureFixture[str], outcome: str) -> dict[str, Any]:
    """What the command prints."""
    assert main(["explain", str(package_data("case", "examples", "hard.toml")), outcome, "--json"]) == 0
    said: dict[str, Any] = json.loads(capsys.readouterr().out)
    return said


def steps(said: dict[str, Any]) -> dict[str, str]:
    """The chain, value by text."""
    return {step["step"]: step["value"] for step in said["chain"]}


def test_each_factor(capsys: pytest.CaptureFixture[str]) -> None:
    chain = steps(explain(capsys, "capsule_rupture"))
    for text, ratio, highest in BY_HAND:
        known = f"x {ratio:g}" if ratio == highest else f"not known: taken as 1, could be {highest:g}"
        assert chain[text] == known


def test_the_chain_multiplies_these_factors_and_no_other(capsys: pytest.CaptureFixture[str]) -> None:
    chain = explain(capsys, "capsule_rupture")["chain"]
    texts = [step["step"] for step in chain]
    first, last = texts.index(BY_HAND[0][0]), texts.index("composite = product of the odds ratios")
    assert texts[first:last] == [text for text, _, _ in BY_HAND]


def test_the_intercept(capsys: pytest.CaptureFixture[str]) -> None:
    chain = steps(explain(capsys, "capsule_rupture"))
    assert chain["average composite odds ratio = overall odds / reference odds"] == "2.59" == f"{COMPOSITE:.2f}"
    # 0.01392342/2.590538 = 0.00537472
    assert chain["reference odds = its overall odds / average composite"] == "0.005375" == f"{SOUTH_ASIA:.6f}"
    assert chain["overall rate of the model's own series"].startswith("1.92 %")
    assert chain["its reference probability"].startswith("0.75 %")
    assert "8479 of 617453" in chain["overall rate of the clinic's reference population"]


def test_product_odds_and_probability(capsys: pytest.CaptureFixture[str]) -> None:
    said = explain(capsys, "capsule_rupture")
    chain = steps(said)
    assert math.prod(ratio for _, ratio, _ in BY_HAND) == pytest.approx(PRODUCT)
    assert chain["composite = product of the odds ratios"] == "6.326" == f"{PRODUCT:.3f}"
    # 0.00537472 x 6.32636 = 0.0340024; 0.0340024/1.0340024 = 3.29 percent
    assert chain["odds = reference odds x composite"] == "0.034002" == f"{ODDS:.6f}"
    assert chain["probability = odds / (1 + odds)"] == "3.29 %" == f"{100 * RUPTURE:.2f} %"
    assert said["probability"] == pytest.approx(RUPTURE, rel=1e-12)


def test_the_range(capsys: pytest.CaptureFixture[str]) -> None:
    # 0.00394752 x 5.09917 = 0.0201291, 1.97 percent; 0.0340024 x 1.63 x 3.47 = 0.192321, 16.13 percent.
    chain = steps(explain(capsys, "capsule_rupture"))
    spans = [value for text, value in chain.items() if text.startswith("range over these")]
    assert spans == ["1.97 to 16.13 %"] == [f"{100 * LOW:.2f} to {100 * HIGH:.2f} %"]
    tried = {text: value for text, value in chain.items() if text.startswith("tried as present")}
    assert tried == {
        "tried as present: diabetic retinopathy": "x 1.63",
        "tried as present: pseudoexfoliation or phacodonesis": "x 2.92",
    }


def test_what_is_unknown_could_double_the_odds(capsys: pytest.CaptureFixture[str]) -> None:
    # 1.63 x 2.92 = 4.76, above 2: no single figure for the patient.
    assert math.prod(highest / ratio for _, ratio, highest in BY_HAND) == pytest.approx(4.76, abs=0.005)
    assert main(["assess", str(package_data("case", "examples", "hard.toml")), "--json"]) == 0
    risks = json.loads(capsys.readouterr().out)["risks"]
    assert [risk["single_figure"] for risk in risks if risk["outcome"] == "capsule_rupture"] == [False]


@pytest.mark.parametrize(
    ("outcome", "ruptured", "intact", "printed", "span"),
    [
        # Haripriya 2017, moxifloxacin injected: 9 of 4293 and 55 of 310 345, Wilson limits in percent. By hand
        # 0.0328843 x 0.209644 + 0.9671157 x 0.0177222 = 0.0240 percent.
        (
            "endophthalmitis",
            (100 * 9 / 4293, 0.110335, 0.397979),
            (100 * 55 / 310_345, 0.0136170, 0.0230648),
            "0.0240 %",
            "0.0170 to 0.0794 %",
        ),
        # Day 2016: 36 of 1101 and 95 of 60 806, limits as printed. 0.0328843 x 3.26975 + 0.9671157 x 0.156235 = 0.2586.
        (
            "retinal_detachment",
            (100 * 36 / 1101, 2.37, 4.50),
            (100 * 95 / 60_806, 0.128, 0.191),
            "0.2586 %",
            "0.1848 to 0.8590 %",
        ),
    ],
)
def test_what_follows_from_rupture(
    outcome: str,
    ruptured: tuple[float, float, float],
    intact: tuple[float, float, float],
    printed: str,
    span: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    # P = p r1 + (1 - p) r0; each limit at its own end of p, the arms' distances to their limits added in square.
    chain = steps(explain(capsys, outcome))
    (r1, low1, high1), (r0, low0, high0) = ruptured, intact
    low = LOW * r1 + (1 - LOW) * r0 - math.hypot(LOW * (r1 - low1), (1 - LOW) * (r0 - low0))
    high = HIGH * r1 + (1 - HIGH) * r0 + math.hypot(HIGH * (high1 - r1), (1 - HIGH) * (high0 - r0))
    assert chain["p x with + (1 - p) x without"] == printed == f"{RUPTURE * r1 + (1 - RUPTURE) * r0:.4f} %"
    spans = [value for text, value in chain.items() if text.startswith("range: both arms' limits")]
    assert spans == [span] == [f"{low:.4f} to {high:.4f} %"]
