"""The formulary: what is shipped, and what is refused (file and key named)."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from consent.clinic import Clinic
from consent.drops import DrugClass, Form, read_formulary
from consent.drops.formulary import parse_formulary
from consent.errors import DropsError
from consent.resources import package_data


def table(**changed: Any) -> dict[str, Any]:
    """A drug that is in order, with keys changed; ``None`` takes a key out."""
    drug = {
        "components": [{"generic": "ketorolac", "strength": "0.5%", "class": "nsaid"}],
        "form": "solution",
        "shake": False,
        "bottle_ml": 5.0,
        "preservative": "unknown",
        "source": "invented",
        "verified": "memory",
        **changed,
    }
    return {key: value for key, value in drug.items() if value is not None}


def strength(text: str) -> dict[str, Any]:
    return table(components=[{"generic": "ketorolac", "strength": text, "class": "nsaid"}])


def refused(drug: dict[str, Any]) -> str:
    with pytest.raises(DropsError) as caught:
        parse_formulary({"k": drug}, "formulary.toml: drugs")
    return str(caught.value)


def test_shipped_drugs_are_in_order(clinic: Clinic) -> None:
    """Every id of the worked examples is there; shake is true for suspensions and nothing else."""
    formulary = read_formulary(clinic)
    assert {"moxifloxacin", "prednisolone-acetate", "dexamethasone-phosphate", "homatropine", "sodium-chloride"} <= set(
        formulary
    )
    assert all(drug.shake == (drug.form is Form.SUSPENSION) for drug in formulary.values())
    assert formulary["sodium-chloride"].bottle_ml == 10.0
    both = formulary["levofloxacin-dexamethasone"]
    assert both.name == "levofloxacin 0.5% + dexamethasone sodium phosphate 0.1%"
    assert both.classes == {DrugClass.FLUOROQUINOLONE, DrugClass.STEROID}


@pytest.mark.parametrize("text", ["1.0%", "0.50%", "10.0 mg/mL"])
def test_trailing_zero_is_refused(text: str) -> None:
    """ISMP list of error-prone dose designations: 1.0 is read as 10."""
    message = refused(strength(text))
    assert "trailing zero" in message
    assert "formulary.toml: drugs.k: components.0.strength" in message


def test_naked_decimal_is_refused() -> None:
    """ISMP list of error-prone dose designations: .5 is read as 5."""
    assert "naked decimal point" in refused(strength(".5%"))


@pytest.mark.parametrize("text", ["0.5", "0.5 %", "00.5%", "0%", "5%%", "0.5 ug/mL", "half", "01%"])
def test_other_strengths_are_refused(text: str) -> None:
    """Without a unit, with an abbreviation that is misread, or zero."""
    assert "is not a strength" in refused(strength(text))


@pytest.mark.parametrize("text", ["0.5%", "1%", "10%", "0.09%", "3 mg/mL", "15 microgram/mL", "10000 IU/mL"])
def test_strengths_that_are_clear(text: str) -> None:
    """Whole numbers keep their zeros."""
    assert parse_formulary({"k": strength(text)}, "t")["k"].components[0].strength == text


@pytest.mark.parametrize(
    ("changes", "key", "message"),
    [
        ({"shaken": True}, "k: shaken", "not known"),
        ({"source": None}, "k: source", "is needed"),
        ({"verified": "hearsay"}, "k: verified", "not one of the answers"),
        ({"form": "suspension"}, "k: shake", "a suspension is shaken"),
        ({"shake": True}, "k: shake", "a solution is not shaken"),
        ({"bottle_ml": None}, "k: doses_per_tube", "exactly one of"),
        ({"unit_dose": True}, "k: doses_per_tube", "exactly one of"),
        ({"bottle_ml": None, "doses_per_tube": 30}, "k: doses_per_tube", "an ointment comes in a tube"),
        ({"form": "ointment"}, "k: doses_per_tube", "an ointment comes in a tube"),
        ({"bottle_ml": "5"}, "k: bottle_ml", "is not allowed"),
        ({"drops_per_ml": 5.0}, "k: drops_per_ml", "drops per mL"),
        ({"components": []}, "k: components", "at least one component"),
        ({"id": "k"}, "k: id", "name of the table"),
        ({"strength": "0.5%"}, "k: strength", "not known"),
    ],
)
def test_refusals_name_file_and_key(changes: dict[str, Any], key: str, message: str) -> None:
    """Unknown, missing, misplaced and contradicting keys."""
    text = refused(table(**changes))
    assert f"formulary.toml: drugs.{key}" in text
    assert message in text


def test_same_substance_twice_is_refused() -> None:
    """A combination has different components."""
    twice = [{"generic": "ketorolac", "strength": "0.5%", "class": "nsaid"}] * 2
    assert "stands twice" in refused(table(components=twice))


def test_every_problem_is_listed() -> None:
    """All faults of all drugs at once."""
    with pytest.raises(DropsError) as caught:
        parse_formulary({"a": table(shake=True), "b": table(colour="red"), "c": strength(".5%")}, "t")
    assert len(caught.value.problems) == 3


def test_bad_id_is_refused() -> None:
    """Ids are lower case with hyphens."""
    with pytest.raises(DropsError, match="id"):
        parse_formulary({"Keto 0.5": table()}, "t")


def test_duplicate_key_in_a_file_is_refused() -> None:
    """TOML itself refuses a key written twice."""
    text = package_data("drops", "formulary.toml").read_text(encoding="utf-8")
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text + "\n[drugs.timolol]\nform = 'solution'\n")


def test_clinic_adds_and_replaces(clinic: Clinic) -> None:
    """The clinic's own drug is added; one with a shipped id replaces it whole; errors say it was the clinic's."""
    own = {"ketorolac": table(), "moxifloxacin": table(bottle_ml=3.0)}
    formulary = read_formulary(clinic.model_copy(update={"formulary": own}))
    assert formulary["ketorolac"].name == "ketorolac 0.5%"
    assert formulary["moxifloxacin"].bottle_ml == 3.0
    assert formulary["timolol"].bottle_ml == 5.0
    with pytest.raises(DropsError, match=r"clinic settings: formulary\.ketorolac: colour"):
        read_formulary(clinic.model_copy(update={"formulary": {"ketorolac": table(colour="red")}}))
