"""Checks of drugs that widen the pupil, at home and in theatre, against the angle, the heart and the head."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Glaucoma, LensPlace, Sex
from consent.drops.formulary import DrugClass
from consent.drops.grounds import Severity, mentions
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, answered, hit
from consent.drops.theatre import named, percent_of

_PHENYLEPHRINE = "phenylephrine"


def narrow_angle(subject: Subject) -> Iterator[Hit]:
    """Angle closure known, possible or not looked for, in an eye that gets the drop."""
    rows, glaucoma = subject.rows(DrugClass.CYCLOPLEGIC), subject.eye.glaucoma
    if not rows:
        return
    if glaucoma is Glaucoma.ANGLE_CLOSURE:
        yield hit("stop", ("glaucoma: angle closure",), rows)
        return
    facts = ["glaucoma: not known"] if glaucoma is Glaucoma.UNKNOWN else []
    facts += [*_shallow(subject), *_other_eye_keeps_its_lens(subject, rows)]
    if facts:
        yield hit("ask", facts, rows)


def _shallow(subject: Subject) -> list[str]:
    depth = subject.eye.chamber_depth_mm
    shallow = depth is not None and depth < subject.limits.shallow_chamber_mm.value
    return [f"chamber depth {depth} mm"] if shallow else []


def _other_eye_keeps_its_lens(subject: Subject, rows: tuple[Row, ...]) -> list[str]:
    given = any(row.side is not subject.eye.side for row in rows)
    keeps = subject.case.other_eye.operated is not Answer.YES
    return ["the other eye gets it and keeps its own lens; its angle: not known"] if given and keeps else []


def lens_not_in_bag(subject: Subject) -> Iterator[Hit]:
    """After surgery: the lens as it was actually placed."""
    done, rows = subject.case.done, subject.operated(DrugClass.CYCLOPLEGIC)
    if rows and done and done.lens and done.lens.place is not LensPlace.BAG:
        yield hit("ask", (f"lens: {done.lens.place}",), rows)


def prostate_or_confusion(subject: Subject) -> Iterator[Hit]:
    """What little is absorbed can hold up urine and cloud the head."""
    health, sex = subject.health, subject.case.patient.sex
    answers = {
        "prostate trouble": Answer.NO if sex is Sex.FEMALE else health.prostate_trouble,
        "confusion": health.confusion,
    }
    yield from answered(answers, subject.rows(DrugClass.CYCLOPLEGIC), "ask", "note")


def dilating_in_theatre(subject: Subject) -> Iterator[Hit]:
    """A wide pupil and a narrow angle while the eye has its own lens: until the operation, longer if it is put off."""
    texts = tuple(order.text for order in subject.ordered if order.dilates)
    if not texts or subject.eye.lens_implant_present is Answer.YES:
        return
    if subject.eye.glaucoma is Glaucoma.ANGLE_CLOSURE:
        yield hit("ask", ("glaucoma: angle closure",), (), texts)
    elif facts := _shallow(subject):
        yield hit("note", facts, (), texts)


def phenylephrine_strong(subject: Subject) -> Iterator[Hit]:
    """Strong phenylephrine and heart, vessels, thyroid, diabetes, other medicines, age, angle."""
    limits = subject.limits
    strengths = {text: percent_of(_PHENYLEPHRINE, text) or 0 for text in _phenylephrine(subject)}
    above = tuple(text for text, percent in strengths.items() if percent > limits.phenylephrine_usual_percent.value)
    strong = any(strengths[text] >= limits.phenylephrine_strong_percent.value for text in above)
    yes: Severity = "stop" if strong else "ask"
    unknown: Severity = "ask" if strong else "note"
    rows = tuple(row for row in subject.current if row.drug.name in above)
    yield from answered(_phenylephrine_answers(subject), rows, yes, unknown, above)


def phenylephrine_no_strength(subject: Subject) -> Iterator[Hit]:
    """Phenylephrine whose strength nobody wrote, or not so that it can be read."""
    unsaid = [text for text in _phenylephrine(subject) if percent_of(_PHENYLEPHRINE, text) is None]
    if unsaid:
        yield hit("ask", ("strength: not read",), (), unsaid)


def _phenylephrine(subject: Subject) -> tuple[str, ...]:
    """Texts of theatre and names of drops that hold it."""
    texts = (*(order.text for order in subject.ordered), *(row.drug.name for row in subject.current))
    return tuple(dict.fromkeys(text for text in texts if named(text, (_PHENYLEPHRINE,))))


def _phenylephrine_answers(subject: Subject) -> dict[str, Answer]:
    health, age = subject.health, subject.case.age_years
    old = age >= subject.limits.phenylephrine_elderly_years.value
    return {
        "heart disease": _heart(subject),
        "high blood pressure": health.high_blood_pressure,
        "overactive thyroid": health.overactive_thyroid,
        "diabetes treated with insulin for long": _long_insulin(subject),
        "angle closure": _angle_closure(subject.eye.glaucoma),
        f"age {age} years": Answer.YES if old else Answer.NO,
        **{f"takes: {medicine}": Answer.YES for medicine in _clashing(subject)},
    }


def _heart(subject: Subject) -> Answer:
    health = subject.health
    of_the_heart = (health.heart_disease, health.heart_failure, health.heart_block_or_slow_pulse)
    return Answer.YES if Answer.YES in of_the_heart else health.heart_disease


def _long_insulin(subject: Subject) -> Answer:
    return Answer.NO if subject.health.diabetes is Answer.NO else subject.health.insulin_for_long


def _angle_closure(glaucoma: Glaucoma) -> Answer:
    if glaucoma is Glaucoma.UNKNOWN:
        return Answer.UNKNOWN
    return Answer.YES if glaucoma is Glaucoma.ANGLE_CLOSURE else Answer.NO


def _clashing(subject: Subject) -> list[str]:
    words = subject.words
    listed = (
        *words.blood_pressure_medicine,
        *words.beta_blocker_by_mouth,
        *words.monoamine_oxidase_inhibitor,
        *words.tricyclic,
    )
    return [medicine for medicine in subject.health.medicines if mentions(medicine, listed)]


PUPIL_CHECKS: dict[str, Check] = {
    "cycloplegic-narrow-angle": narrow_angle,
    "cycloplegic-lens-not-in-bag": lens_not_in_bag,
    "cycloplegic-prostate-or-confusion": prostate_or_confusion,
    "dilating-drug-narrow-angle": dilating_in_theatre,
    "phenylephrine-strong": phenylephrine_strong,
    "phenylephrine-no-strength": phenylephrine_no_strength,
}
