"""After surgery: what day 1 and what was done call for."""

from __future__ import annotations

from consent.case import Answer, parse_acuity
from consent.review.point import Situation, Thresholds, point, thresholds
from consent.wording import Remark, remark


def _pressure(s: Situation) -> float | None:
    return s.case.day1.pressure_mmhg if s.case.day1 else None


@point("after.pressure-high")
def _high(s: Situation, t: Thresholds) -> list[Remark]:
    pressure, very_high = _pressure(s), thresholds("after.pressure-very-high", s.clinic)["mmhg"]
    fires = pressure is not None and t["mmhg"] <= pressure < very_high
    return [remark("fact.pressure", mmhg=pressure)] if fires else []


@point("after.pressure-very-high")
def _very_high(s: Situation, t: Thresholds) -> list[Remark]:
    pressure = _pressure(s)
    return [remark("fact.pressure", mmhg=pressure)] if pressure is not None and pressure >= t["mmhg"] else []


@point("after.leak-or-infection")
def _leak(s: Situation, _: Thresholds) -> list[Remark]:
    day1 = s.case.day1
    found = []
    if day1 and day1.leak is Answer.YES:
        found.append(remark("fact.leak"))
    if day1 and day1.hypopyon is Answer.YES:
        found.append(remark("fact.hypopyon"))
    return found


@point("after.poor-sight")
def _poor_sight(s: Situation, t: Thresholds) -> list[Remark]:
    day1 = s.case.day1
    if day1 is None or day1.acuity_pinhole is None or day1.poor_sight_explained is Answer.YES:
        return []
    logmar = parse_acuity(day1.acuity_pinhole).logmar
    poor = logmar is None or logmar > t["worse_than_logmar"]
    return [remark("fact.acuity", acuity=day1.acuity_pinhole)] if poor else []


@point("after.stitch-without-visit")
def _stitch(s: Situation, _: Thresholds) -> list[Remark]:
    stitches = (s.case.done.stitches or 0) if s.case.done else 0
    planned = any(visit.kind == "stitch" for visit in s.case.visits)
    return [remark("fact.stitches", count=stitches)] if stitches and not planned else []
