"""What sight the eye can regain, and what losing it would mean."""

from __future__ import annotations

from consent.case import Acuity, Answer, LightProjection, Retinopathy, Ultrasound
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


def _acuity(s: Situation) -> Acuity | None:
    return s.case.eye.corrected or s.case.eye.unaided


@point("sight.no-light")
def _no_light(s: Situation, _: Thresholds) -> list[Remark]:
    acuity = _acuity(s)
    return [remark("fact.acuity", acuity=acuity.written)] if acuity and acuity.word == "NPL" else []


@point("sight.back-of-eye-unseen")
def _unseen(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    unseen = eye.fundus_seen is not Answer.YES and eye.ultrasound is Ultrasound.NOT_DONE
    return [remark("fact.back-unseen")] if unseen else []


@point("sight.cannot-be-promised")
def _not_promised(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    found = []
    if eye.light_projection is LightProjection.INACCURATE:
        found.append(remark("fact.projection-inaccurate"))
    if eye.afferent_pupil_defect is Answer.YES:
        found.append(remark("fact.afferent-defect"))
    if eye.ultrasound is Ultrasound.ABNORMAL:
        found.append(remark("fact.ultrasound-abnormal"))
    return found


@point("sight.projection-not-tested")
def _projection(s: Situation, _: Thresholds) -> list[Remark]:
    acuity = _acuity(s)
    poor = acuity is not None and acuity.word is not None
    untested = s.case.eye.light_projection is LightProjection.NOT_TESTED
    return [remark("fact.acuity", acuity=acuity.written)] if acuity and poor and untested else []


@point("only-eye")
def _only_eye(s: Situation, t: Thresholds) -> list[Remark]:
    other = s.case.other_eye
    acuity = other.parsed
    poor = acuity is not None and (acuity.logmar is None or acuity.logmar > t["worse_than_logmar"])
    if not (poor or other.seeing is Answer.NO or "only good eye" in s.case.patient.what_matters):
        return []
    grade, trainee = s.case.plan.surgeon.grade, s.case.plan.trainee_may_operate
    found = [remark("fact.other-eye", acuity=acuity.written if acuity else "-")]
    if grade is None or grade.is_trainee or trainee is not Answer.NO:
        found.append(remark("fact.only-eye-not-senior"))
    return found


@point("other-eye.complication")
def _complication(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.other-eye-complication")] if s.case.other_eye.complication is Answer.YES else []


@point("diabetes.retinopathy-unknown")
def _retinopathy(s: Situation, _: Thresholds) -> list[Remark]:
    diabetic = s.case.health.diabetes is Answer.YES
    unknown = s.case.eye.retinopathy is Retinopathy.UNKNOWN
    return [remark("fact.retinopathy-unknown")] if diabetic and unknown else []


@point("eye.pressure-high")
def _pressure(s: Situation, t: Thresholds) -> list[Remark]:
    pressure = s.case.eye.pressure_mmhg
    return [remark("fact.pressure", mmhg=pressure)] if pressure is not None and pressure >= t["mmhg"] else []


@point("eye.length-unusual")
def _length(s: Situation, t: Thresholds) -> list[Remark]:
    length = s.case.eye.axial_length_mm
    unusual = length is not None and not t["short_mm"] <= length <= t["long_mm"]
    return [remark("fact.axial-length", mm=length)] if unusual else []
