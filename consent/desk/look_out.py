"""What is to be looked out for before surgery: on the pause page, beside lens and steps."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Asked, Case, NucleusGrade, PupilGrade, TearSac
from consent.desk.fields import slug
from consent.desk.holding import Mark
from consent.desk.pause import Fact
from consent.language import Quoted
from consent.review import Assessment
from consent.wording import Remark, remark

_YES_NO: dict[Answer, tuple[str, Mark]] = {
    Answer.YES: ("pause.yes", "ask"),
    Answer.NO: ("pause.no", "plain"),
    Answer.UNKNOWN: ("pause.unknown", "ask"),
}
_INFECTED = frozenset({"infection.lid-or-sac", "infection.elsewhere", "eye.infection-or-sore"})
"""Points that tell of germs beside the wound or in the body."""


def look_out(assessment: Assessment) -> tuple[Fact, ...]:
    """What may cost the eye or the patient, the gravest first; what nobody asked is said, and never taken for a no."""
    case = assessment.case
    return (*_eye_and_germs(assessment), *_allergies(case), *_medicines(case), *_lens_and_pupil(case), *_body(case))


def not_known(case: Case) -> tuple[str, ...]:
    """What of it nobody entered, by the messages that ask for it."""
    eye, health, fitness = case.eye, case.health, case.fitness
    answers = {
        "other_eye.seeing": case.other_eye.seeing if case.other_eye.acuity is None else None,
        "eye.white": eye.white,
        "eye.pseudoexfoliation": eye.pseudoexfoliation,
        "eye.phacodonesis": eye.phacodonesis,
        "eye.lid_infection": eye.lid_infection,
        "fitness.infection_elsewhere": fitness.infection_elsewhere,
        "health.diabetes": health.diabetes,
        "health.can_lie_flat": health.can_lie_flat,
    }
    lacking = {
        "eye.nucleus.grade": eye.nucleus.grade is NucleusGrade.UNKNOWN,
        "eye.pupil_mm": eye.pupil_mm is None and eye.pupil_grade is PupilGrade.UNKNOWN,
        "fitness.tear_sac": fitness.tear_sac is TearSac.NOT_EXAMINED,
        **{path: answer is Answer.UNKNOWN for path, answer in answers.items()},
    }
    return tuple(f"field.{path}" for path, is_lacking in lacking.items() if is_lacking)


def _eye_and_germs(assessment: Assessment) -> Iterator[Fact]:
    """That it is the only seeing eye, and every infection, as the points of the case tell it."""
    for point in assessment.points:
        if point.id == "only-eye":
            yield Fact("pause.this-eye", remark("list.only-eye"), "stop")
        elif point.id in _INFECTED:
            yield from (Fact("pause.infection", fact, "stop") for fact in point.facts)


def _lens_and_pupil(case: Case) -> Iterator[Fact]:
    """A lens that is hard, white or loose, and the pupil; the surgeon's own grade is never taken from millimetres."""
    eye = case.eye
    if eye.nucleus.grade in (NucleusGrade.HARD, NucleusGrade.BRUNESCENT):
        yield Fact("field.eye.nucleus.grade", remark(f"choice.nucleus-grade.{slug(eye.nucleus.grade)}"), "ask")
    for name in ("white", "pseudoexfoliation", "phacodonesis"):
        if getattr(eye, name) is Answer.YES:
            yield Fact(f"field.eye.{name}", remark("pause.yes"), "ask")
    grade = remark(f"choice.pupil-grade.{slug(eye.pupil_grade)}")
    mark: Mark = "ask" if eye.pupil_grade in (PupilGrade.SMALL, PupilGrade.UNKNOWN) else "plain"
    if eye.pupil_mm is not None:
        yield Fact("pause.pupil", remark("pause.pupil-both", size=_with_unit(eye.pupil_mm, "mm"), grade=grade), mark)
    elif eye.pupil_grade is not PupilGrade.UNKNOWN:
        yield Fact("pause.pupil", grade, mark)


def _body(case: Case) -> Iterator[Fact]:
    """Diabetes with the sugar that was measured, and who cannot lie flat or still."""
    if case.health.diabetes is Answer.YES:
        yield Fact("field.health.diabetes", remark("pause.yes"), "ask")
        if case.fitness.sugar_mg_dl is not None:
            yield Fact("field.fitness.sugar_mg_dl", _with_unit(case.fitness.sugar_mg_dl, "mg-dl"))
    for name in ("can_lie_flat", "can_lie_still"):
        if getattr(case.health, name) is Answer.NO:
            yield Fact(f"field.health.{name}", remark("pause.no"), "ask")


def _with_unit(number: float, unit: str) -> Remark:
    return remark("entry.measured", value=number, unit=remark(f"unit.{unit}"))


def _allergies(case: Case) -> Iterator[Fact]:
    allergies = case.health.allergies
    if allergies.asked is Asked.NOT_ASKED:
        yield Fact("pause.allergies", remark("pause.allergies-not-asked"), "ask")
    elif allergies.asked is Asked.NONE:
        yield Fact("pause.allergies", remark("pause.allergies-none"))
    for one in allergies.known:
        words = "pause.allergy-severe" if one.severe is Answer.YES else "pause.allergy"
        said = remark(words, substance=Quoted(one.substance), reaction=Quoted(one.reaction))
        yield Fact("pause.allergies", said, "stop")


def _medicines(case: Case) -> Iterator[Fact]:
    health, fitness = case.health, case.fitness
    for name in ("anticoagulant", "antiplatelet"):
        words, mark = _YES_NO[getattr(health, name)]
        yield Fact(f"pause.{name}", remark(words), mark)
    if fitness.inr is not None:
        slots = {"date": fitness.inr_on} if fitness.inr_on else {}
        yield Fact(
            "pause.anticoagulant", remark("pause.inr" if slots else "pause.inr-no-date", value=fitness.inr, **slots)
        )
    alpha = health.alpha_blocker
    words, mark = _YES_NO[alpha.ever]
    yield Fact("pause.alpha", remark(words), mark)
    if alpha.drugs:
        now = remark(_YES_NO[alpha.taking_now][0])
        yield Fact("pause.alpha", remark("pause.alpha-drugs", drugs=Quoted(", ".join(alpha.drugs)), now=now), "ask")
