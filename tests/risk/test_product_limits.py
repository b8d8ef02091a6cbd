"""Limits of a product of odds ratios, against draws; and a second model added as data alone."""

from __future__ import annotations

import numpy as np
import pytest

from consent.case import Case
from consent.evidence import OddsModel
from consent.risk.factors import factor_levels
from consent.risk.odds import product_limits
from tests.conftest import shipped_case


@pytest.mark.parametrize(
    "limits",
    [
        [(2.24, 2.60)],  # Sim 2024, doi 10.1038/s41433-024-03344-2: brunescent, white or mature
        [(2.24, 2.60), (3.05, 3.94)],  # the same paper: with pseudoexfoliation or phacodonesis
        [(2.24, 2.60), (3.05, 3.94), (3.33, 4.24)],  # and the less experienced trainee
    ],
)
def test_limits_of_a_product_agree_with_draws(limits: list[tuple[float, float]]) -> None:
    """Independent way: a million draws from normal distributions of the log ratios (numpy, fixed seed)."""
    draws = np.zeros(1_000_000)
    generator = np.random.default_rng(20261124)
    for low, high in limits:
        error = (np.log(high) - np.log(low)) / (2 * 1.959964)
        draws += generator.normal(0.0, error, draws.size)
    below, above = product_limits(limits)
    assert below == pytest.approx(np.exp(np.quantile(draws, 0.025)), rel=2e-3)
    assert above == pytest.approx(np.exp(np.quantile(draws, 0.975)), rel=2e-3)


def test_one_ratio_keeps_its_own_limits() -> None:
    """Sim 2024: 2.41 (2.24 to 2.60); symmetric on the log scale, so the factors give the printed limits back."""
    below, above = product_limits([(2.24, 2.60)])
    middle = (2.24 * 2.60) ** 0.5
    assert middle * below == pytest.approx(2.24)
    assert middle * above == pytest.approx(2.60)


def test_no_limits_no_width() -> None:
    assert product_limits([]) == (1.0, 1.0)


def _second_model() -> OddsModel:
    """The four ratios of Sim 2024 that were read, written as a model: data, no code."""
    return OddsModel.model_validate(
        {
            "outcome": "capsule_rupture",
            "reference_probability": "reference",
            "overall_probability": "overall",
            "operations": ("phacoemulsification",),
            "youngest_years": 18,
            "verified": "abstract",
            "use": "sensitivity",
            "factors": (
                {
                    "id": "brunescent or white",
                    "levels": (
                        {"id": "no", "odds_ratio": 1.0},
                        {"id": "yes", "odds_ratio": 2.41, "low": 2.24, "high": 2.60},
                    ),
                },
                {
                    "id": "pseudoexfoliation or phacodonesis",
                    "levels": (
                        {"id": "no", "odds_ratio": 1.0},
                        {"id": "yes", "odds_ratio": 3.47, "low": 3.05, "high": 3.94},
                    ),
                },
            ),
        },
        strict=False,
    )


@pytest.mark.parametrize(("name", "ratio", "highest"), [("hard", 2.41, 3.47), ("ordinary", 1.0, 1.0)])
def test_a_second_model_is_read_as_data(name: str, ratio: float, highest: float) -> None:
    case: Case = shipped_case(name)
    hard_lens, threads = factor_levels(case, _second_model(), grade_counts=False)
    assert hard_lens.odds_ratio == ratio
    assert threads.highest == highest
    assert (hard_lens.limits == (2.24, 2.60)) is (name == "hard")
