"""Translates the case into the levels of a published model, and never guesses: an unknown stays unknown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from consent.case import Answer, Case, Glaucoma, NucleusGrade, PupilGrade, Retinopathy, Sex
from consent.evidence import OddsModel, Use

Found = tuple[str | None, str]


@dataclass(frozen=True)
class FactorLevel:
    """One factor of a model in this eye. ``level`` is None where the case does not say.

    ``highest`` is the largest odds ratio the factor could have, the figure to use for a worst case.
    """

    factor: str
    level: str | None
    odds_ratio: float
    highest: float
    fact: str
    limits: tuple[float, float] | None = None

    @property
    def known(self) -> bool:
        """Whether the case says which level holds."""
        return self.level is not None


def factor_levels(case: Case, model: OddsModel, grade_counts: bool) -> tuple[FactorLevel, ...]:
    """Every factor of ``model`` in this case. The grade term is left out where the centre's audit holds the surgeon."""
    found: list[FactorLevel] = []
    for factor in model.factors:
        level, fact = READERS[factor.id](case, model)
        if factor.id == "surgeon grade" and not grade_counts:
            level, fact = "consultant", "not used: the centre's own audit already contains its surgeons"
        usable = [entry for entry in factor.levels if entry.use is not Use.NOT_FOR_CALCULATION]
        highest = max(entry.odds_ratio for entry in usable)
        if level is not None and factor.level(level).use is Use.NOT_FOR_CALCULATION:
            level, fact = factor.levels[0].id, f"{fact}: ratio not for calculation, taken as {factor.levels[0].id}"
        chosen = factor.level(level) if level is not None else None
        ratio = chosen.odds_ratio if chosen else 1.0
        limits = chosen.limits if chosen else None
        found.append(FactorLevel(factor.id, level, ratio, ratio if chosen else highest, fact, limits))
    return tuple(found)


def _answer(answer: Answer, fact: str) -> Found:
    return (None if answer is Answer.UNKNOWN else answer.value), f"{fact}: {answer.value}"


def _age(case: Case, model: OddsModel) -> Found:
    return model.factor("age").band(case.age_years).id, f"age {case.age_years} years on the day of surgery"


def _sex(case: Case, _: OddsModel) -> Found:
    sex = case.patient.sex
    return (None if sex is Sex.UNKNOWN else sex.value), f"sex: {sex.value}"


def _glaucoma(case: Case, _: OddsModel) -> Found:
    kind = case.eye.glaucoma
    level = None if kind is Glaucoma.UNKNOWN else "no" if kind is Glaucoma.NONE else "yes"
    return level, f"glaucoma: {kind.value}"


def _retinopathy(case: Case, _: OddsModel) -> Found:
    grade = case.eye.retinopathy
    if grade is Retinopathy.UNKNOWN and case.health.diabetes is Answer.NO:
        return "no", "no diabetes, so no diabetic retinopathy"
    level = None if grade is Retinopathy.UNKNOWN else "no" if grade is Retinopathy.NONE else "yes"
    return level, f"diabetic retinopathy: {grade.value}"


def _hard_lens(case: Case, _: OddsModel) -> Found:
    grade, white = case.eye.nucleus.grade, case.eye.white
    if grade is NucleusGrade.BRUNESCENT or white is Answer.YES:
        return "yes", f"nucleus {grade.value}, white: {white.value}"
    if grade is NucleusGrade.UNKNOWN or white is Answer.UNKNOWN:
        return None, f"nucleus {grade.value}, white: {white.value}; only brunescent, black or white counts"
    return "no", f"nucleus {grade.value}, white: {white.value}"


def _fundal_view(case: Case, _: OddsModel) -> Found:
    seen = case.eye.fundus_seen
    if seen is Answer.UNKNOWN:
        return None, "fundus seen: unknown"
    return ("no" if seen is Answer.YES else "yes"), f"fundus seen: {seen.value}"


def _exfoliation(case: Case, _: OddsModel) -> Found:
    pxf, loose = case.eye.pseudoexfoliation, case.eye.phacodonesis
    fact = f"pseudoexfoliation: {pxf.value}, phacodonesis: {loose.value}"
    if Answer.YES in (pxf, loose):
        return "yes", fact
    return (None if Answer.UNKNOWN in (pxf, loose) else "no"), fact


def _pupil(case: Case, _: OddsModel) -> Found:
    grade = case.eye.pupil_grade
    fact = f"pupil, surgeon's own grade: {grade.value}"
    return (None if grade is PupilGrade.UNKNOWN else grade.value), fact


def _axial_length(case: Case, model: OddsModel) -> Found:
    length = case.eye.axial_length_mm
    if length is None:
        return None, "axial length: not measured"
    return model.factor("axial length").band(length).id, f"axial length {length:g} mm"


def _doxazosin(case: Case, _: OddsModel) -> Found:
    blocker = case.health.alpha_blocker
    if "doxazosin" in blocker.drugs:
        return _answer(blocker.taking_now, "doxazosin, taking now")
    if blocker.ever is Answer.UNKNOWN:
        return None, "alpha-blocker: unknown"
    if blocker.ever is Answer.YES and not blocker.drugs:
        return None, "an alpha-blocker, which one is not known"
    return "no", f"alpha-blocker: {', '.join(blocker.drugs) or 'never'}; the model's term is doxazosin only"


def _lie_flat(case: Case, _: OddsModel) -> Found:
    flat = case.health.can_lie_flat
    if flat is Answer.UNKNOWN:
        return None, "can lie flat: unknown"
    return ("no" if flat is Answer.YES else "yes"), f"can lie flat: {flat.value}"


def _grade(case: Case, _: OddsModel) -> Found:
    grade = case.plan.surgeon.grade
    return (grade.value if grade else None), f"surgeon grade: {grade.value if grade else 'not given'}"


READERS: dict[str, Callable[[Case, OddsModel], Found]] = {
    "age": _age,
    "sex": _sex,
    "glaucoma": _glaucoma,
    "diabetic retinopathy": _retinopathy,
    "brunescent or white": _hard_lens,
    "no fundal view": _fundal_view,
    "pseudoexfoliation or phacodonesis": _exfoliation,
    "pupil": _pupil,
    "axial length": _axial_length,
    "doxazosin": _doxazosin,
    "cannot lie flat": _lie_flat,
    "surgeon grade": _grade,
}
