"""The drugs: what is in a bottle, how it is used up, and where that is written."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, ValidationInfo, field_validator

from consent.case.part import LongText, Part, ShortText
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.clinic import Clinic
from consent.drops.tables import parse_named
from consent.errors import DropsError
from consent.resources import package_data

_STRENGTH = re.compile(r"^(\d+(?:\.\d+)?)(%| mg/mL| mg/g| microgram/mL| IU/mL)$")
_ID = r"^[a-z][a-z0-9]*(-[a-z0-9]+)*$"
Id = Annotated[str, Field(pattern=_ID, max_length=60)]


class DrugClass(StrEnum):
    """Class of a component. Two of one class never go into one eye on one day."""

    FLUOROQUINOLONE = "fluoroquinolone antibiotic"
    SULFONAMIDE = "sulfonamide antibiotic"
    OTHER_ANTIBIOTIC = "other antibiotic"
    STEROID = "steroid"
    NSAID = "nsaid"
    CYCLOPLEGIC = "cycloplegic"
    HYPERTONIC = "hypertonic"
    BETA_BLOCKER = "beta-blocker"
    PROSTAGLANDIN = "prostaglandin"
    CARBONIC_ANHYDRASE_INHIBITOR = "carbonic anhydrase inhibitor"
    ALPHA_AGONIST = "alpha agonist"
    MIOTIC = "miotic"
    LUBRICANT = "lubricant"

    @property
    def lowers_pressure(self) -> bool:
        """Whether it is a glaucoma drug, which is never stopped without a word."""
        return self in _PRESSURE_LOWERING

    @property
    def is_antibiotic(self) -> bool:
        """Whether it is an antibiotic, which is never tapered."""
        return self in _ANTIBIOTIC


_PRESSURE_LOWERING = frozenset(
    {
        DrugClass.BETA_BLOCKER,
        DrugClass.PROSTAGLANDIN,
        DrugClass.CARBONIC_ANHYDRASE_INHIBITOR,
        DrugClass.ALPHA_AGONIST,
        DrugClass.MIOTIC,
    }
)
_ANTIBIOTIC = frozenset({DrugClass.FLUOROQUINOLONE, DrugClass.SULFONAMIDE, DrugClass.OTHER_ANTIBIOTIC})


class Form(StrEnum):
    """Dosage form."""

    SOLUTION = "solution"
    SUSPENSION = "suspension"
    EMULSION = "emulsion"
    GEL = "gel"
    OINTMENT = "ointment"

    @property
    def place_in_session(self) -> int:
        """Order within a session: solution, suspension or emulsion, gel, ointment last."""
        order = {Form.SOLUTION: 0, Form.SUSPENSION: 1, Form.EMULSION: 1, Form.GEL: 2, Form.OINTMENT: 3}
        return order[self]


class Storage(StrEnum):
    """Where the bottle is kept, where a source says so."""

    ROOM = "room temperature"
    COLD = "refrigerator"
    COLD_UNTIL_OPENED = "refrigerator until opened"


def _strength(text: str) -> str:
    """``text`` if it is an unmistakable strength (ISMP list of error-prone abbreviations and dose designations)."""
    if text.startswith("."):
        raise ValueError(f'"{text}" has a naked decimal point, which is overlooked; write "0{text}"')
    match = _STRENGTH.match(text)
    if match is None:
        raise ValueError(f'"{text}" is not a strength; write one such as "0.5%" or "3 mg/mL"')
    number = match[1]
    if "." in number and number.endswith("0"):
        raise ValueError(f'"{text}" has a trailing zero, which is read as ten times as much; leave it off')
    if (number.startswith("0") and not number.startswith("0.")) or not float(number):
        raise ValueError(f'"{text}" is not a strength')
    return text


Strength = Annotated[
    str, AfterValidator(_strength), Field(description='strength with its unit, such as "0.5%" or "3 mg/mL"')
]


class Component(Part):
    """One active substance of a bottle."""

    generic: ShortText
    strength: Strength
    drug_class: DrugClass = Field(alias="class")

    @property
    def name(self) -> str:
        """Generic name and strength, such as ``moxifloxacin 0.5%``."""
        return f"{self.generic} {self.strength}"


class Caution(Sourced):
    """A caution of the label or the literature, for the surgeon."""

    says: LongText


class Drug(Sourced):
    """One product, by its generic components. ``None`` means: as the clinic's settings say."""

    id: Id
    components: tuple[Component, ...]
    form: Form
    shake: bool = Field(description="true for a suspension, as its label says for a gel, false for everything else")
    bottle_ml: float | None = Field(None, gt=0, le=50, description="bottle size, mL")
    unit_dose: bool = Field(False, description="single-use units")
    doses_per_tube: int | None = Field(
        None, ge=1, le=500, validate_default=True, description="applications per tube of ointment"
    )
    days_after_opening: int | None = Field(None, ge=1, le=365, description="use within, days after opening")
    drops_per_ml: float | None = Field(None, ge=10, le=60, description="planning value, drops per mL")
    wastage_percent: float | None = Field(None, ge=0, le=100, description="drops lost, percent")
    storage: Storage | None = Field(None, description="where it is kept, if a source says so")
    preservative: Literal["benzalkonium chloride", "other", "none", "unknown"]
    cautions: tuple[Caution, ...] = ()

    @field_validator("components")
    @classmethod
    def _each_once(cls, components: tuple[Component, ...]) -> tuple[Component, ...]:
        if not components:
            raise ValueError("a drug has at least one component")
        names = [component.generic for component in components]
        if len(set(names)) != len(names):
            raise ValueError("the same generic name stands twice in one bottle")
        return components

    @field_validator("shake")
    @classmethod
    def _shake_suspensions(cls, shake: bool, info: ValidationInfo) -> bool:
        form = info.data.get("form")
        if form not in (None, Form.GEL) and shake != (form is Form.SUSPENSION):
            raise ValueError(f"a {form} is {'not ' if shake else ''}shaken; only a suspension is")
        return shake

    @field_validator("doses_per_tube")
    @classmethod
    def _one_container(cls, doses: int | None, info: ValidationInfo) -> int | None:
        if {"bottle_ml", "unit_dose", "form"} <= info.data.keys():
            given = (info.data["bottle_ml"] is not None, info.data["unit_dose"], doses is not None)
            if sum(given) != 1:
                raise ValueError("give exactly one of bottle_ml, unit_dose = true, doses_per_tube")
            is_ointment = info.data["form"] is Form.OINTMENT
            if (doses is not None and not is_ointment) or (info.data["bottle_ml"] is not None and is_ointment):
                raise ValueError(
                    "an ointment comes in a tube (doses_per_tube), everything else in a bottle (bottle_ml)"
                )
        return doses

    @property
    def name(self) -> str:
        """Generic names and strengths, such as ``levofloxacin 0.5% + dexamethasone sodium phosphate 0.1%``."""
        return " + ".join(component.name for component in self.components)

    @property
    def classes(self) -> frozenset[DrugClass]:
        """Classes of all components."""
        return frozenset(component.drug_class for component in self.components)

    @property
    def lowers_pressure(self) -> bool:
        """Whether a component is a glaucoma drug."""
        return any(drug_class.lowers_pressure for drug_class in self.classes)


Formulary = Mapping[str, Drug]


class _File(Part):
    schema_version: Literal[1] = Field(alias="schema")
    drugs: dict[str, dict[str, Any]]


@cache
def shipped_formulary() -> Formulary:
    """Return the shipped drugs by id; raises ``DropsError`` if the file is broken."""
    file = read_model(package_data("drops", "formulary.toml"), _File, DropsError)
    return parse_formulary(file.drugs, "formulary.toml: drugs")


def parse_formulary(tables: Mapping[str, Mapping[str, Any]], where: str) -> Formulary:
    """Return the drugs of ``tables`` (id -> keys) by id.

    Raises ``DropsError`` with one problem per fault: ``where``, the id and the key.
    """
    return parse_named(tables, Drug, where)


def read_formulary(clinic: Clinic) -> Formulary:
    """Return the drugs by id: the shipped ones, each replaced whole where the clinic has its own of that id.

    Raises ``DropsError`` naming file and key.
    """
    own = parse_formulary(clinic.formulary, "clinic settings: formulary")
    return MappingProxyType({**shipped_formulary(), **own})
