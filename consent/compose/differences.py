"""What is different about this eye, as short text units in the order a talk would take them."""

from __future__ import annotations

from collections.abc import Callable

from consent.case import Answer, Case, Glaucoma, NucleusGrade, PupilGrade, Retinopathy
from consent.wording import Remark, remark

_HARD = (NucleusGrade.HARD, NucleusGrade.BRUNESCENT)


def differences(case: Case, only_eye: bool = False) -> tuple[Remark, ...]:
    """The text units that apply to this eye; one saying so where none applies.

    ``only_eye``: the review found that this is the only seeing eye.
    """
    found = tuple(remark(unit) for unit, applies in _UNITS if applies(case))
    if only_eye:
        found += (remark("different.only-eye"),)
    return found or (remark("different.nothing"),)


def _hard(case: Case) -> bool:
    return case.eye.nucleus.grade in _HARD


def _small(case: Case) -> bool:
    return case.eye.pupil_grade is PupilGrade.SMALL


def _diabetic(case: Case) -> bool:
    return case.health.diabetes is Answer.YES


def _first_lens_missing(case: Case) -> bool:
    return case.plan.lens is not None and case.plan.lens.on_shelf is Answer.NO and bool(case.plan.fallback_lenses)


def _phaco_may_change(case: Case) -> bool:
    return _hard(case) and case.plan.operation.is_phaco


# unit -> when it applies. Each unit is one message; the comment names the fact and the evidence it rests on.
_UNITS: tuple[tuple[str, Callable[[Case], bool]], ...] = (
    # nucleus in the surgeon's words; narendran-2009 (brunescent or white), ravindran-2020
    ("different.hard", lambda case: _hard(case) and case.eye.white is not Answer.YES),
    # white cataract; narendran-2009
    ("different.white", lambda case: case.eye.white is Answer.YES),
    # surgeon's own pupil grade; narendran-2009
    ("different.small-pupil", lambda case: _small(case) and not _hard(case)),
    # both at once, told as one story
    ("different.hard-and-small-pupil", lambda case: _small(case) and _hard(case)),
    # alpha-blocker ever taken; a floppy iris, not a torn capsule: Chatziralli 2011
    ("different.prostate-tablet", lambda case: case.health.alpha_blocker.ever is Answer.YES),
    # pseudoexfoliation or phacodonesis; narendran-2009
    (
        "different.weak-threads",
        lambda case: Answer.YES in (case.eye.pseudoexfoliation, case.eye.phacodonesis),
    ),
    # pseudoexfoliation not looked for; narendran-2009
    (
        "different.threads-not-checked",
        lambda case: case.eye.pseudoexfoliation is Answer.UNKNOWN and case.eye.phacodonesis is not Answer.YES,
    ),
    # posterior polar; aswin-2022
    ("different.weak-back", lambda case: case.eye.posterior_polar is Answer.YES),
    # hard nucleus with phacoemulsification planned; common practice, no source
    ("different.may-open-wider", _phaco_may_change),
    # first choice not on the shelf; common practice, no source
    ("different.other-lens", _first_lens_missing),
    # retinopathy unknown behind a dense lens; chu-2016
    (
        "different.diabetes-unseen",
        lambda case: _diabetic(case) and case.eye.retinopathy is Retinopathy.UNKNOWN,
    ),
    # diabetes with the retina seen; chu-2016
    (
        "different.diabetes",
        lambda case: _diabetic(case) and case.eye.retinopathy is not Retinopathy.UNKNOWN,
    ),
    # glaucoma; narendran-2009, steroid-response-2021
    (
        "different.glaucoma",
        lambda case: case.eye.glaucoma not in (Glaucoma.NONE, Glaucoma.UNKNOWN),
    ),
    # guttata; viberg-2019
    ("different.weak-cornea", lambda case: case.eye.guttata is Answer.YES),
    # fundus not seen: sight cannot be promised; common practice, no source
    ("different.back-unseen", lambda case: case.eye.fundus_seen is not Answer.YES),
)


def unit_ids() -> tuple[str, ...]:
    """Every text unit there is."""
    return (*(unit for unit, _ in _UNITS), "different.only-eye", "different.nothing")
