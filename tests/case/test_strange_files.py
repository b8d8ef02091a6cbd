"""Files that no person means to write, and machines do: an error in words, never a traceback, never patient data."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest

from consent.case import parse_acuity, read_case
from consent.case.model import Case
from consent.case.reading import validate
from consent.errors import CaseError
from consent.resources import package_data


def _shipped() -> dict[str, Any]:
    return tomllib.loads(package_data("case", "examples", "ordinary.toml").read_text(encoding="utf-8"))


def _refused(path: Path) -> str:
    with pytest.raises(CaseError) as caught:
        read_case(path)
    return str(caught.value)


def test_a_key_written_twice_in_json_is_refused(tmp_path: Path) -> None:
    """RFC 8259, 4: names within an object should be unique; what a reader does with doubles is unpredictable."""
    path = tmp_path / "case.json"
    path.write_text('{"schema": 1, "patient": {"sex": "male", "sex": "female"}}', encoding="utf-8")
    assert 'the key "sex" stands twice' in _refused(path)


@pytest.mark.parametrize("suffix", ["json", "toml"])
def test_tables_too_deep_are_refused(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"case.{suffix}"
    path.write_text(("x = " if suffix == "toml" else "") + "[" * 100_000, encoding="utf-8")
    assert "Traceback" not in _refused(path)


def test_a_number_of_thousands_of_digits_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "case.json"
    path.write_text('{"schema": ' + "1" * 5000 + "}", encoding="utf-8")
    assert "is not JSON" in _refused(path)


def test_half_a_character_is_named_by_its_key_and_shows_no_patient() -> None:
    data = json.loads(json.dumps(_shipped(), default=str))
    data["patient"]["name"] = "\ud800"
    with pytest.raises(CaseError) as caught:
        validate(data, Case, CaseError, "case.json")
    assert [problem.where for problem in caught.value.problems] == ["case.json: patient.name"]
    assert "DEMO" not in str(caught.value)


def test_a_byte_order_mark_and_capitals_in_the_suffix_are_read(tmp_path: Path) -> None:
    path = tmp_path / "case.JSON"
    path.write_text(json.dumps(_shipped(), default=str), encoding="utf-8-sig")
    assert read_case(path).patient.record_number == "DEMO-0001"


def test_schema_true_is_not_schema_1(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text("schema = true\n", encoding="utf-8")
    assert "schema = True is not known" in _refused(path)


def test_nearest_answer_is_an_answer_that_exists() -> None:
    data = _shipped()
    data["fitness"]["tear_sac"] = "blocked, clear"
    with pytest.raises(CaseError, match='did you mean "blocked, clear fluid"'):
        validate(data, Case, CaseError, "case.toml")


@pytest.mark.parametrize(("born", "years"), [("2030-01-01", -3), ("2020-01-01", 7), ("1900-01-01", 127)])
def test_a_birth_date_outside_adult_age_is_refused(born: str, years: int) -> None:
    data = _shipped()
    data["patient"]["birth_date"] = born
    with pytest.raises(CaseError, match=f"{years} years old on plan.date"):
        validate(data, Case, CaseError, "case.toml")


def test_a_drug_named_beside_never_is_a_contradiction() -> None:
    data = _shipped()
    data["health"]["alpha_blocker"] = {"ever": "no", "drugs": ["doxazosin"]}
    with pytest.raises(CaseError, match="alpha_blocker"):
        validate(data, Case, CaseError, "case.toml")


@pytest.mark.parametrize("value", [float("inf"), float("nan")])
def test_numbers_without_end_are_refused(value: float) -> None:
    data = _shipped()
    data["eye"]["axial_length_mm"] = value
    with pytest.raises(CaseError):
        validate(data, Case, CaseError, "case.toml")


@pytest.mark.parametrize(
    ("written", "logmar"),
    [
        ("1/60", 1.7782),  # log10(60); WHO uses 3/60 and 1/60 as grades of blindness
        ("decimal 0.125", 0.9031),  # 20/160
        ("decimal 0.063", 1.2007),  # 20/320 rounded as charts print it
    ],
)
def test_acuities_that_charts_print(written: str, logmar: float) -> None:
    assert parse_acuity(written).logmar == pytest.approx(logmar, abs=5e-5)


@pytest.mark.parametrize("written", ["6/1", "6/9999", "decimal 9", "5.00 logMAR"])
def test_acuities_that_no_chart_prints(written: str) -> None:
    with pytest.raises(ValueError, match="is not an acuity"):
        parse_acuity(written)


def test_counting_fingers_at_a_distance_is_counting_fingers() -> None:
    assert parse_acuity("CF 1 m").word == "CF"
