"""What about an eye or a patient may ask for another regimen: a closed set, each with a predicate and its ground."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Literal

from pydantic import Field, model_validator

from consent.case import Answer, Case, DropGiver, LensPlace, NucleusGrade, Operation, Retinopathy
from consent.case.part import Part, ShortText
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.drops.eye_risks import long_eye, macular_oedema_answers, pressure_history, young
from consent.drops.limits import read_limits
from consent.errors import DropsError
from consent.resources import package_data


class Situation(StrEnum):
    """Ids of the situations; a regimen names those it suits, and those it is unsuited to."""

    HARD_NUCLEUS = "hard-nucleus"
    CORNEAL_SWELLING_EXPECTED = "corneal-swelling-expected"
    TORN_CAPSULE = "torn-capsule"
    DIABETES = "diabetes"
    DIABETIC_RETINOPATHY = "diabetic-retinopathy"
    MACULAR_OEDEMA_RISK = "macular-oedema-risk"
    STEROID_RESPONSE_RISK = "steroid-response-risk"
    SURFACE_DISEASE = "surface-disease"
    INFLAMED_EYE = "inflamed-eye"
    DEVICE_USED = "device-used"
    SMALL_INCISION = "small-incision"
    NOBODY_GIVES_DROPS = "nobody-gives-drops"


class Cells(Sourced):
    """A count of endothelial cells."""

    value: int = Field(ge=200, le=5000)
    unit: ShortText


class SituationTexts(Part):
    """The file ``situations.toml``."""

    schema_version: Literal[1] = Field(alias="schema")
    low_cells: Cells
    low_cells_hard_nucleus: Cells
    situations: dict[Situation, Sourced]

    @model_validator(mode="after")
    def _every_one(self) -> SituationTexts:
        if missing := set(Situation) - set(self.situations):
            raise ValueError(f"situations without a ground: {', '.join(sorted(missing))}")
        return self


@cache
def read_situations() -> SituationTexts:
    """Return the limits and the ground of every situation; raises ``DropsError`` naming file and key."""
    return read_model(package_data("drops", "situations.toml"), SituationTexts, DropsError)


def situations_of(case: Case) -> Mapping[Situation, tuple[str, ...]]:
    """Return the situations that hold for ``case``, each with the facts that make it true. Unknown is not yes.

    Raises ``DropsError`` if a file of limits is not in order.
    """
    found = ((situation, tuple(predicate(case))) for situation, predicate in _PREDICATES.items())
    return MappingProxyType({situation: facts for situation, facts in found if facts})


def _yes(answers: dict[str, Answer]) -> Iterator[str]:
    return (fact for fact, answer in answers.items() if answer is Answer.YES)


def _hard_nucleus(case: Case) -> Iterator[str]:
    grade = case.eye.nucleus.grade
    if grade in (NucleusGrade.HARD, NucleusGrade.BRUNESCENT):
        yield f"nucleus: {grade}"


def _corneal_swelling(case: Case) -> Iterator[str]:
    texts, hard, cells = read_situations(), list(_hard_nucleus(case)), case.eye.endothelial_cells_per_mm2
    yield from _yes({"guttata": case.eye.guttata})
    if cells is None:
        return
    if cells < texts.low_cells.value:
        yield f"{cells} endothelial cells per mm2"
    elif hard and cells < texts.low_cells_hard_nucleus.value:
        yield from (f"{cells} endothelial cells per mm2", *hard)


def _torn_capsule(case: Case) -> Iterator[str]:
    done = case.done
    if done is None:
        return
    found = {"capsule torn": done.capsule_torn, "vitreous lost": done.vitreous_lost}
    yield from _yes({**found, "piece retained": done.piece_retained})
    if done.lens is not None and done.lens.place is not LensPlace.BAG:
        yield f"lens: {done.lens.place}"


def _diabetes(case: Case) -> Iterator[str]:
    return _yes({"diabetes": case.health.diabetes})


def _diabetic_retinopathy(case: Case) -> Iterator[str]:
    grade = case.eye.retinopathy
    if grade not in (Retinopathy.NONE, Retinopathy.UNKNOWN):
        yield f"diabetic retinopathy: {grade}"


def _macular_oedema_risk(case: Case) -> Iterator[str]:
    return _yes(macular_oedema_answers(case.eye))


def _steroid_response_risk(case: Case) -> Iterator[str]:
    """Length and age only together: either alone is met in too many eyes to choose drops by."""
    limits = read_limits()
    length, age = long_eye(case.eye, limits), young(case, limits)
    yield from pressure_history(case.eye)
    if length and age:
        yield from (*length, *age)


def _surface_disease(case: Case) -> Iterator[str]:
    return _yes({"diseased surface": case.eye.surface_disease})


def _inflamed_eye(case: Case) -> Iterator[str]:
    return _yes({"uveitis": case.eye.uveitis})


def _device_used(case: Case) -> Iterator[str]:
    if case.done is not None:
        return (f"device: {device}" for device in case.done.devices)
    return _yes({"pupil device planned": case.plan.pupil_expansion})


def _small_incision(case: Case) -> Iterator[str]:
    if case.plan.operation is Operation.SMALL_INCISION:
        yield f"operation: {case.plan.operation}"


def _nobody_gives_drops(case: Case) -> Iterator[str]:
    if case.patient.drops_given_by is DropGiver.NOBODY:
        yield "drops given by: nobody"


_PREDICATES: dict[Situation, Callable[[Case], Iterator[str]]] = {
    Situation.HARD_NUCLEUS: _hard_nucleus,
    Situation.CORNEAL_SWELLING_EXPECTED: _corneal_swelling,
    Situation.TORN_CAPSULE: _torn_capsule,
    Situation.DIABETES: _diabetes,
    Situation.DIABETIC_RETINOPATHY: _diabetic_retinopathy,
    Situation.MACULAR_OEDEMA_RISK: _macular_oedema_risk,
    Situation.STEROID_RESPONSE_RISK: _steroid_response_risk,
    Situation.SURFACE_DISEASE: _surface_disease,
    Situation.INFLAMED_EYE: _inflamed_eye,
    Situation.DEVICE_USED: _device_used,
    Situation.SMALL_INCISION: _small_incision,
    Situation.NOBODY_GIVES_DROPS: _nobody_gives_drops,
}
