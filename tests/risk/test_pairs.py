"""Figures that do not belong together are refused, by the rules of combining an outcome with capsule rupture."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from consent.case import Answer
from consent.case.reading import validate
from consent.errors import EvidenceError
from consent.resources import package_data
from consent.risk import assess_risks
from consent.risk.plan import RiskPlan
from tests.conftest import shipped_case


def _written() -> dict[str, Any]:
    return tomllib.loads(package_data("risk", "outcomes.toml").read_text(encoding="utf-8"))


def _outcome(data: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(entry for entry in data["outcomes"] if entry["id"] == name)
    return found


def _refused(data: dict[str, Any]) -> str:
    with pytest.raises(EvidenceError) as caught:
        validate(data, RiskPlan, EvidenceError, "outcomes.toml")
    return str(caught.value)


def test_the_shipped_plan_is_accepted() -> None:
    assert validate(_written(), RiskPlan, EvidenceError, "outcomes.toml").outcomes


def test_arms_of_two_series_are_refused() -> None:
    """Same definition and same policy: both arms and the whole come from one source."""
    data = _written()
    _outcome(data, "retinal_detachment")["groups"]["any"]["usual"] = "petousis-2016/7-years"
    text = _refused(data)
    assert "differ" in text or "no figure" in text


def test_arms_of_two_policies_are_refused() -> None:
    """Endophthalmitis pairs depend on the injected antibiotic: Haripriya 2017's arms do not mix across it."""
    data = _written()
    group = _outcome(data, "endophthalmitis")["groups"]["yes"]
    group["ruptured"] = "haripriya-2017/endophthalmitis-none-ruptured"
    assert "the arms give back" in _refused(data)


def test_a_ratio_of_another_outcome_is_refused() -> None:
    data = _written()
    _outcome(data, "macular_oedema")["groups"]["no"]["ratio"] = "stewart-2023/rupture-ratio"
    text = _refused(data)
    assert "outcomes differ" in text or "no figure" in text


def test_a_factor_that_already_raised_the_rupture_is_refused() -> None:
    """No double counting: retinopathy is a factor of the odds model, so it may not multiply the arms as well."""
    data = _written()
    also = {"fact": "diabetic retinopathy", "ratio": "chu-2016/epiretinal-membrane"}
    _outcome(data, "macular_oedema")["groups"]["no"]["also"] = [also]
    assert "would count twice" in _refused(data)


def test_a_figure_not_for_calculation_is_refused() -> None:
    data = _written()
    also = {"fact": "uveitis", "ratio": "chu-2016/retinal-vein-occlusion"}
    _outcome(data, "macular_oedema")["groups"]["no"]["also"] = [also]
    assert "not for calculation" in _refused(data)


def test_alternatives_of_two_horizons_are_refused() -> None:
    data = _written()
    data["alternatives"][0]["other"] = "venkatesh-2010/white-capsule-rupture-phaco"
    assert "outcome or horizon" in _refused(data)


def test_a_model_with_a_factor_no_case_answers_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    from consent.risk import plan

    monkeypatch.setattr(plan, "READERS", {"age": None})
    assert "no fact of a case answers the factor" in _refused(_written())


def test_another_disease_multiplies_both_arms(clinic: Any) -> None:
    """Chu 2016, doi 10.1016/j.ophtha.2015.10.001: 1.17 percent, epiretinal membrane 5.60, rupture 2.61."""
    case = shipped_case("ordinary")
    ill = case.model_copy(update={"eye": case.eye.model_copy(update={"epiretinal_membrane": Answer.YES})})
    found = {estimate.outcome: estimate for estimate in assess_risks(ill, clinic)}
    p = found["capsule_rupture"].probability
    assert p is not None
    by_hand = 0.0117 * 5.60 * (1 + p * 1.61)
    assert found["macular_oedema"].probability == pytest.approx(by_hand, rel=1e-6)
    assert any("independent" in note.id for note in found["macular_oedema"].assumptions)


def test_no_lens_at_the_end_is_a_share_of_the_ruptures(clinic: Any) -> None:
    """Moorfields, Eye 2025, doi 10.1038/s41433-025-03942-8: 87 of 1,042 ruptures ended without a lens."""
    found = {estimate.outcome: estimate for estimate in assess_risks(shipped_case("hard"), clinic)}
    p = found["capsule_rupture"].probability
    assert p is not None
    assert found["aphakia"].probability == pytest.approx(p * 87 / 1042)
    assert found["aphakia"].single_figure is False
