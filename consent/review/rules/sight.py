"""What sight the eye can regain, and what losing it would mean."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Acuity, Answer, Case, Glaucoma, LightProjection, NucleusGrade, Retinopathy, Ultrasound
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
    return [*found, *_care_of_an_only_eye(s)]


def _care_of_an_only_eye(s: Situation) -> Iterator[Remark]:
    """What an only eye needs and the case does not show: a companion, a shield, a visit within a day."""
    if s.case.plan.companion is not Answer.YES:
        yield remark("fact.only-eye-no-companion")
    if not s.clinic.aftercare.shield_nights:
        yield remark("fact.only-eye-no-shield")
    if not seen_within_a_day(s.case):
        yield remark("fact.only-eye-not-seen-next-day")


def seen_within_a_day(case: Case) -> bool:
    """Whether a visit lies on the day of surgery or the next."""
    return any(0 <= (visit.date - case.plan.date).days <= 1 for visit in case.visits)


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


@point("sight.worse-than-cataract")
def _worse(s: Situation, t: Thresholds) -> list[Remark]:
    eye, acuity = s.case.eye, s.case.eye.corrected
    if eye.acuity_explained is Answer.NO:
        return [remark("fact.not-explained-by-cataract", acuity=acuity.written if acuity else "-")]
    poor = acuity is not None and (acuity.logmar is None or acuity.logmar > t["worse_than_logmar"])
    thin = eye.nucleus.grade in (NucleusGrade.SOFT, NucleusGrade.MEDIUM)
    dense = Answer.YES in (eye.white, eye.posterior_polar, eye.posterior_subcapsular, eye.corneal_scar)
    if acuity is None or not poor or not thin or dense or eye.acuity_explained is Answer.YES:
        return []
    return [remark("fact.acuity", acuity=acuity.written), remark("fact.thin-cataract")]


@point("eye.infection-or-sore")
def _sore(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    found = {
        remark("fact.herpes-active"): eye.herpes_keratitis == "active",
        remark("fact.cornea-infected"): eye.other_corneal_infection is Answer.YES,
        remark("fact.epithelium-open"): eye.epithelial_defect is Answer.YES,
    }
    return [said for said, there in found.items() if there]


@point("eye.uveitis")
def _uveitis(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.uveitis")] if s.case.eye.uveitis is Answer.YES else []


@point("eye.retina-to-treat-first")
def _retina_first(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    found = []
    if eye.macular_oedema is Answer.YES:
        found.append(remark("fact.macular-oedema"))
    if eye.retinopathy in (Retinopathy.SEVERE, Retinopathy.PROLIFERATIVE):
        found.append(remark("fact.retinopathy", grade=remark(f"retinopathy.{eye.retinopathy}")))
    return found


@point("eye.angle-closure")
def _angle(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.angle-closure")] if s.case.eye.glaucoma is Glaucoma.ANGLE_CLOSURE else []


@point("eye.shallow-chamber")
def _shallow(s: Situation, t: Thresholds) -> list[Remark]:
    depth = s.case.eye.chamber_depth_mm
    return [remark("fact.chamber", mm=depth)] if depth is not None and depth < t["mm"] else []


@point("eye.injured-before")
def _injured(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    return [remark("fact.injured-before")] if Answer.YES in (eye.traumatic, eye.previous_trauma) else []


@point("eye.bag-may-be-touched")
def _touched(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    found = []
    if eye.previous_vitrectomy is Answer.YES:
        found.append(remark("fact.vitrectomy"))
    if eye.injections_into_eye:
        found.append(remark("fact.injections", count=eye.injections_into_eye))
    return found


@point("eye.refractive-surgery")
def _refractive(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.refractive-surgery")] if s.case.eye.refractive_surgery is Answer.YES else []


@point("other-eye.just-operated")
def _just_operated(s: Situation, t: Thresholds) -> list[Remark]:
    on = s.case.other_eye.operated_on
    days = (s.case.plan.date - on).days if on is not None else None
    return [remark("fact.other-eye-operated", days=days)] if days is not None and 0 <= days < t["days"] else []


@point("other-eye.result-not-recorded")
def _no_result(s: Situation, _: Thresholds) -> list[Remark]:
    other = s.case.other_eye
    unknown = other.complication is Answer.UNKNOWN or other.acuity is None
    return [remark("fact.other-eye-result")] if other.operated is Answer.YES and unknown else []
