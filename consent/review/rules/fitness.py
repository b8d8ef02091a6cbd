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


@point("fitness.inr")
def _inr(s: Situation, t: Thresholds) -> list[Remark]:
    """A high INR, or none recorded where a needle is planned in somebody on an anticoagulant."""
    inr, kind = s.case.fitness.inr, s.case.plan.anaesthesia
    if inr is not None:
        return [remark("fact.inr", inr=inr)] if inr > t["inr"] else []
    needle = kind is not None and kind.is_needle_block
    return [remark("fact.inr-not-recorded")] if needle and s.case.health.anticoagulant is Answer.YES else []


@point("fitness.readings-old")
def _old(s: Situation, t: Thresholds) -> list[Remark]:
    fitness = s.case.fitness
    days = {
        "blood-pressure": fitness.blood_pressure_on if fitness.systolic_mmhg is not None else None,
        "sugar": fitness.sugar_on if fitness.sugar_mg_dl is not None else None,
        "inr": fitness.inr_on if fitness.inr is not None else None,
    }
    return [
        remark("fact.reading-of", what=remark(f"what.{name}"), date=day)
        for name, day in days.items()
        if day is not None and (s.case.plan.date - day).days > t["days"]
    ]


@point("health.pregnant")
def _pregnant(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.pregnant")] if s.case.health.pregnant is Answer.YES else []
