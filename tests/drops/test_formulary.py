"""The formulary: what is shipped, and what is refused (file and key named)."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest

from consent.clinic import Clinic
from consent.drops import DrugClass, Form, read_formulary
from consent.drops.formulary import Storage, parse_formulary
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
    """Every id of the worked examples is there; suspensions are shaken, a gel as its label says, nothing else."""
    formulary = read_formulary(clinic)
    assert {"moxifloxacin", "prednisolone-acetate", "dexamethasone-phosphate", "homatropine", "sodium-chloride"} <= set(
        formulary
    )
    assert all(drug.shake == (drug.form is Form.SUSPENSION) for drug in formulary.values() if drug.form is not Form.GEL)
    assert formulary["sodium-chloride"].bottle_ml == 10.0
    both = formulary["levofloxacin-dexamethasone"]
    assert both.name == "levofloxacin 0.5% + dexamethasone sodium phosphate 0.1%"
    assert both.classes == {DrugClass.FLUOROQUINOLONE, DrugClass.STEROID}


@pytest.mark.parametrize(
    ("drug_id", "printed"),
    [
        # US label, DailyMed NDC 0904-7434; UK SmPC of atropine 1%; US label of difluprednate; UK SmPC of tobramycin
        # with dexamethasone (a suspension: shake well); US label of brinzolamide (a suspension: shake well)
        ("ofloxacin", ("ofloxacin 0.3%", "solution", "benzalkonium chloride")),
        ("atropine", ("atropine sulfate 1%", "solution", "benzalkonium chloride")),
        ("difluprednate", ("difluprednate 0.05%", "emulsion", "unknown")),
        ("tobramycin-dexamethasone", ("tobramycin 0.3% + dexamethasone 0.1%", "suspension", "benzalkonium chloride")),
        ("brinzolamide", ("brinzolamide 1%", "suspension", "unknown")),
        # UK SmPC of single-dose dexamethasone phosphate; US label, DailyMed NDC 50268-067: no preservative
        ("dexamethasone-phosphate-unit-dose", ("dexamethasone sodium phosphate 0.1%", "solution", "none")),
        ("carboxymethylcellulose-unit-dose", ("carboxymethylcellulose sodium 0.5%", "solution", "none")),
        # US labels: sorbic acid; thimerosal. UK SmPC: phenylmercuric nitrate
        ("diclofenac", ("diclofenac sodium 0.1%", "solution", "other")),
        ("flurbiprofen", ("flurbiprofen sodium 0.03%", "solution", "other")),
        ("chloramphenicol", ("chloramphenicol 0.5%", "solution", "other")),
        # UK SmPC of latanoprost with timolol: 50 micrograms and 5 mg per mL, benzalkonium chloride
        ("latanoprost-timolol", ("latanoprost 0.005% + timolol 0.5%", "solution", "benzalkonium chloride")),
    ],
)
def test_drugs_as_their_labels_say(clinic: Clinic, drug_id: str, printed: tuple[str, str, str]) -> None:
    """Strength, form and preservative as printed by the label named beside each."""
    drug = read_formulary(clinic)[drug_id]
    assert (drug.name, drug.form, drug.preservative) == printed


def test_classes_of_the_shipped_drugs(clinic: Clinic) -> None:
    """Every class has a drug; those against pressure and against germs are known as such, combinations too."""
    formulary = read_formulary(clinic)
    assert {drug_class for drug in formulary.values() for drug_class in drug.classes} == set(DrugClass)
    assert {drug_id for drug_id, drug in formulary.items() if drug.lowers_pressure} == {
        "timolol", "latanoprost", "travoprost", "bimatoprost", "dorzolamide", "brinzolamide", "brimonidine",
        "pilocarpine", "dorzolamide-timolol", "brimonidine-timolol", "latanoprost-timolol",
    }  # fmt: skip
    assert {drug_id for drug_id, drug in formulary.items() if any(c.is_antibiotic for c in drug.classes)} == {
        "moxifloxacin", "levofloxacin", "ofloxacin", "ciprofloxacin", "gatifloxacin", "tobramycin", "chloramphenicol",
        "sulfacetamide", "chloramphenicol-ointment", "levofloxacin-dexamethasone", "tobramycin-dexamethasone",
        "moxifloxacin-dexamethasone", "chloramphenicol-dexamethasone",
    }  # fmt: skip


def test_a_gel_is_shaken_as_its_label_says() -> None:
    """A US carboxymethylcellulose gel label: shake well; a non-settling gel (DOI 10.2147/OPTH.S40588): no need."""
    for shake in (True, False):
        assert parse_formulary({"k": table(form="gel", shake=shake)}, "t")["k"].shake is shake


def test_loss_and_storage_are_the_drugs_own_or_unsaid() -> None:
    """None leaves the loss to the clinic; a bottle may be kept cold until it is opened."""
    plain = parse_formulary({"k": table()}, "t")["k"]
    assert (plain.wastage_percent, plain.storage) == (None, None)
    told = parse_formulary({"k": table(wastage_percent=25.0, storage="refrigerator until opened")}, "t")["k"]
    assert (told.wastage_percent, told.storage) == (25.0, Storage.COLD_UNTIL_OPENED)


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
        ({"wastage_percent": 101.0}, "k: wastage_percent", "percent"),
        ({"storage": "a cool place"}, "k: storage", "not one of the answers"),
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
