"""Checks of drugs that lower the eye pressure, drops and tablets, against heart, lungs, kidneys and macula."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Retinopathy
from consent.drops.eye_risks import macular_oedema_answers
from consent.drops.formulary import DrugClass
from consent.drops.grounds import mentions
from consent.drops.subject import Check, Hit, Subject, answered, hit


def beta_blocker(subject: Subject) -> Iterator[Hit]:
    """Lungs and heart."""
    health = subject.health
    answers = {
        "asthma": health.asthma,
        "COPD": health.copd,
        "heart block or slow pulse": health.heart_block_or_slow_pulse,
        "heart failure": health.heart_failure,
    }
    yield from answered(answers, subject.rows(DrugClass.BETA_BLOCKER), "stop", "ask")


def beta_blocker_by_mouth(subject: Subject) -> Iterator[Hit]:
    """The same effect twice on the heart."""
    rows = subject.rows(DrugClass.BETA_BLOCKER)
    words = subject.words.beta_blocker_by_mouth
    medicines = [medicine for medicine in subject.health.medicines if mentions(medicine, words)]
    if rows and medicines:
        yield hit("ask", (f"takes: {medicine}" for medicine in medicines), rows)


def prostaglandin(subject: Subject) -> Iterator[Hit]:
    """An eye at risk of macular oedema."""
    eye, done = subject.eye, subject.case.done
    answers = {
        **macular_oedema_answers(eye),
        "diabetic retinopathy": _retinopathy(eye.retinopathy),
        "vitreous lost": done.vitreous_lost if done else Answer.NO,
    }
    yield from answered(answers, subject.operated(DrugClass.PROSTAGLANDIN), "ask", "note")


def _retinopathy(grade: Retinopathy) -> Answer:
    if grade is Retinopathy.UNKNOWN:
        return Answer.UNKNOWN
    return Answer.NO if grade is Retinopathy.NONE else Answer.YES


def kidney(subject: Subject) -> Iterator[Hit]:
    """Carbonic anhydrase inhibitor drops and the kidneys."""
    rows = subject.rows(DrugClass.CARBONIC_ANHYDRASE_INHIBITOR)
    if rows and subject.health.kidney_disease is Answer.YES:
        yield hit("ask", ("kidney disease",), rows)


def acetazolamide(subject: Subject) -> Iterator[Hit]:
    """Acetazolamide in the body: salts, kidneys, liver, adrenals."""
    health = subject.health
    answers = {
        "low sodium or potassium": health.low_sodium_or_potassium,
        "kidney disease": health.kidney_disease,
        "liver disease": health.liver_disease,
        "adrenal failure": health.adrenal_failure,
    }
    yield from answered(answers, (), "stop", "ask", subject.texts("carbonic anhydrase inhibitor"))


def acetazolamide_lungs_sickle(subject: Subject) -> Iterator[Hit]:
    """Acetazolamide in the body makes it more acid: bad lungs, sickle cells."""
    answers = {"COPD": subject.health.copd, "sickle cell disease or trait": subject.health.sickle_cell}
    yield from answered(answers, (), "ask", "note", subject.texts("carbonic anhydrase inhibitor"))


PRESSURE_CHECKS: dict[str, Check] = {
    "beta-blocker-heart-or-lungs": beta_blocker,
    "beta-blocker-by-mouth": beta_blocker_by_mouth,
    "prostaglandin-macular-oedema": prostaglandin,
    "carbonic-anhydrase-inhibitor-kidney": kidney,
    "acetazolamide-contraindicated": acetazolamide,
    "acetazolamide-lungs-or-sickle-cell": acetazolamide_lungs_sickle,
}
