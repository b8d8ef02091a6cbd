"""Facts of the case that choose between two published groups: yes, no, or not known."""

from __future__ import annotations

from collections.abc import Callable

from consent.case import Anaesthesia, Answer, Case, ExtraStep, Glaucoma, NucleusGrade, Retinopathy


def _moxifloxacin(case: Case) -> Answer:
    if case.done is not None and case.done.injected:
        return Answer.YES if any("moxifloxacin" in text.lower() for text in case.done.injected) else Answer.NO
    drug = (case.plan.injected_antibiotic_drug or "").lower()
    if case.plan.injected_antibiotic is Answer.YES:
        return Answer.YES if "moxifloxacin" in drug else Answer.UNKNOWN
    return case.plan.injected_antibiotic


def _glaucoma(case: Case) -> Answer:
    kind = case.eye.glaucoma
    return Answer.UNKNOWN if kind is Glaucoma.UNKNOWN else Answer.NO if kind is Glaucoma.NONE else Answer.YES


def _is_block(kind: Anaesthesia) -> bool:
    return kind.is_needle_block or kind is Anaesthesia.SUB_TENON


def _block(case: Case) -> Answer:
    kind = case.plan.anaesthesia
    if kind is None or (ExtraStep.OTHER_ANAESTHESIA in case.plan.extra_steps and not _is_block(kind)):
        return Answer.UNKNOWN
    return Answer.YES if _is_block(kind) else Answer.NO


def _hard_or_white(case: Case) -> Answer:
    grade = case.eye.nucleus.grade
    if grade in (NucleusGrade.HARD, NucleusGrade.BRUNESCENT) or case.eye.white is Answer.YES:
        return Answer.YES
    return Answer.UNKNOWN if grade is NucleusGrade.UNKNOWN or case.eye.white is Answer.UNKNOWN else Answer.NO


def _other_disease(case: Case) -> Answer:
    eye = case.eye
    answers = [
        eye.macular_oedema,
        eye.other_macular_disease,
        eye.epiretinal_membrane,
        eye.vein_occlusion,
        eye.amblyopia,
        eye.corneal_scar,
        eye.uveitis,
        eye.previous_detachment,
        _glaucoma(case),
    ]
    if Answer.YES in answers or eye.retinopathy not in (Retinopathy.NONE, Retinopathy.UNKNOWN):
        return Answer.YES
    retina_unknown = eye.retinopathy is Retinopathy.UNKNOWN and case.health.diabetes is not Answer.NO
    return Answer.UNKNOWN if Answer.UNKNOWN in answers or retina_unknown else Answer.NO


_OPPOSITE = {Answer.YES: Answer.NO, Answer.NO: Answer.YES, Answer.UNKNOWN: Answer.UNKNOWN}

FACTS: dict[str, Callable[[Case], Answer]] = {
    "first eye": lambda case: _OPPOSITE[case.other_eye.operated],
    "moxifloxacin injected": _moxifloxacin,
    "diabetes": lambda case: case.health.diabetes,
    "posterior polar": lambda case: case.eye.posterior_polar,
    "phacodonesis": lambda case: case.eye.phacodonesis,
    "hard or white lens": _hard_or_white,
    "guttata": lambda case: case.eye.guttata,
    "epiretinal membrane": lambda case: case.eye.epiretinal_membrane,
    "uveitis": lambda case: case.eye.uveitis,
    "detachment repaired": lambda case: case.eye.previous_detachment,
    "block": _block,
    "glaucoma": _glaucoma,
    "other eye disease": _other_disease,
}
