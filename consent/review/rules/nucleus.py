"""Hard lens, small pupil, weak cornea, loose zonule: what this eye asks of the operation."""

from __future__ import annotations

from consent.case import Answer, Case, NucleusGrade, Operation, PupilGrade
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark

_FLOPPY = frozenset({"tamsulosin", "silodosin"})


def is_hard(case: Case) -> bool:
    """Whether the nucleus is hard or brunescent, in the surgeon's words."""
    return case.eye.nucleus.grade in (NucleusGrade.HARD, NucleusGrade.BRUNESCENT)


def _pupil_fact(case: Case) -> Remark:
    return remark("fact.pupil", mm=case.eye.pupil_mm)


def _nucleus_fact(case: Case) -> Remark:
    return remark("fact.nucleus", grade=remark(f"nucleus.{case.eye.nucleus.grade}"))


def _no_expansion(case: Case) -> bool:
    return case.plan.pupil_expansion is not Answer.YES


@point("pupil.small-for-hard-lens")
def _small_for_hard(s: Situation, t: Thresholds) -> list[Remark]:
    mm = s.case.eye.pupil_mm
    if mm is None or mm > t["mm"] or not is_hard(s.case) or not _no_expansion(s.case):
        return []
    return [_pupil_fact(s.case), _nucleus_fact(s.case), remark("fact.no-expansion")]


@point("pupil.very-small")
def _very_small(s: Situation, t: Thresholds) -> list[Remark]:
    mm, case = s.case.eye.pupil_mm, s.case
    if mm is None or is_hard(case) or not _no_expansion(case):
        return []
    floppy = bool(_FLOPPY & set(case.health.alpha_blocker.drugs)) or case.eye.pseudoexfoliation is Answer.YES
    limit = t["mm_with_floppy_iris_or_exfoliation"] if floppy else t["mm"]
    return [_pupil_fact(case), remark("fact.no-expansion")] if mm <= limit else []


@point("pupil.small-incision")
def _small_incision(s: Situation, t: Thresholds) -> list[Remark]:
    mm = s.case.eye.pupil_mm
    manual = s.case.plan.operation is Operation.SMALL_INCISION
    fires = manual and is_hard(s.case) and mm is not None and mm < t["mm"]
    return [_pupil_fact(s.case), _nucleus_fact(s.case)] if fires else []


@point("pupil.grade-missing")
def _grade_missing(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    return [_pupil_fact(s.case)] if eye.pupil_mm is not None and eye.pupil_grade is PupilGrade.UNKNOWN else []


@point("pupil.not-recorded")
def _not_recorded(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    nothing = eye.pupil_mm is None and eye.pupil_grade is PupilGrade.UNKNOWN
    return [remark("fact.pupil-not-recorded")] if nothing else []


@point("nucleus.no-dye-or-other-operation")
def _no_dye(s: Situation, _: Thresholds) -> list[Remark]:
    case = s.case
    dense = case.eye.nucleus.grade is NucleusGrade.BRUNESCENT or case.eye.white is Answer.YES
    planned = Answer.YES in (case.plan.dye, case.plan.other_operation_considered)
    return [_nucleus_fact(case)] if dense and not planned else []


@point("cornea.weak-with-hard-lens")
def _weak_cornea(s: Situation, t: Thresholds) -> list[Remark]:
    eye = s.case.eye
    cells = eye.endothelial_cells_per_mm2
    found = []
    if eye.guttata is Answer.YES:
        found.append(remark("fact.guttata"))
    if cells is not None and cells < t["cells_per_mm2"]:
        found.append(remark("fact.cells", count=cells))
    return [*found, _nucleus_fact(s.case)] if found and is_hard(s.case) else []


@point("polar")
def _polar(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.posterior-polar")] if s.case.eye.posterior_polar is Answer.YES else []


@point("zonule.loose-no-ring")
def _loose(s: Situation, _: Thresholds) -> list[Remark]:
    plan = s.case.plan
    prepared = plan.capsular_tension_ring is Answer.YES and bool(plan.fallback_lenses)
    loose = s.case.eye.phacodonesis is Answer.YES
    return [remark("fact.phacodonesis")] if loose and not prepared else []


@point("alpha-blocker")
def _alpha_blocker(s: Situation, _: Thresholds) -> list[Remark]:
    blocker = s.case.health.alpha_blocker
    if blocker.ever is not Answer.YES:
        return []
    return [remark("fact.alpha-blocker", drugs=", ".join(blocker.drugs) or "-")]
