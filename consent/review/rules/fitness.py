"""Whether the patient is fit for surgery on the day."""

from __future__ import annotations

from consent.case import Answer, TearSac
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("infection.lid-or-sac")
def _lid_or_sac(s: Situation, _: Thresholds) -> list[Remark]:
    found = []
    if s.case.eye.lid_infection is Answer.YES:
        found.append(remark("fact.lid-infection"))
    if s.case.fitness.tear_sac is TearSac.PUS:
        found.append(remark("fact.sac-pus"))
    return found


@point("infection.sac-not-clear")
def _sac(s: Situation, _: Thresholds) -> list[Remark]:
    sac = s.case.fitness.tear_sac
    if sac is TearSac.BLOCKED_CLEAR:
        return [remark("fact.sac-blocked")]
    return [remark("fact.sac-not-examined")] if sac is TearSac.NOT_EXAMINED else []


@point("infection.elsewhere")
def _elsewhere(s: Situation, _: Thresholds) -> list[Remark]:
    fitness = s.case.fitness
    found = []
    if fitness.fever is Answer.YES:
        found.append(remark("fact.fever"))
    if fitness.infection_elsewhere is Answer.YES:
        found.append(remark("fact.infection-elsewhere"))
    return found


@point("fitness.blood-pressure")
def _blood_pressure(s: Situation, t: Thresholds) -> list[Remark]:
    systolic, diastolic = s.case.fitness.systolic_mmhg, s.case.fitness.diastolic_mmhg
    high = (systolic or 0) >= t["systolic_mmhg"] or (diastolic or 0) >= t["diastolic_mmhg"]
    return [remark("fact.blood-pressure", systolic=systolic or "-", diastolic=diastolic or "-")] if high else []


@point("fitness.sugar-high")
def _sugar_high(s: Situation, t: Thresholds) -> list[Remark]:
    sugar = s.case.fitness.sugar_mg_dl
    return [remark("fact.sugar", value=sugar)] if sugar is not None and sugar >= t["mg_dl"] else []


@point("fitness.sugar-low")
def _sugar_low(s: Situation, t: Thresholds) -> list[Remark]:
    sugar = s.case.fitness.sugar_mg_dl
    return [remark("fact.sugar", value=sugar)] if sugar is not None and sugar < t["mg_dl"] else []


@point("fitness.recent-heart-or-stroke")
def _recent(s: Situation, _: Thresholds) -> list[Remark]:
    recent = s.case.fitness.heart_attack_or_stroke_within_3_months is Answer.YES
    return [remark("fact.recent-heart-or-stroke")] if recent else []


@point("fitness.not-recorded")
def _not_recorded(s: Situation, _: Thresholds) -> list[Remark]:
    fitness = s.case.fitness
    missing = {
        "fever": fitness.fever is Answer.UNKNOWN,
        "heart-or-stroke": fitness.heart_attack_or_stroke_within_3_months is Answer.UNKNOWN,
        "blood-pressure": fitness.systolic_mmhg is None or fitness.diastolic_mmhg is None,
        "sugar": fitness.sugar_mg_dl is None and s.case.health.diabetes is not Answer.NO,
    }
    return [remark("fact.not-recorded", what=remark(f"what.{name}")) for name, absent in missing.items() if absent]
