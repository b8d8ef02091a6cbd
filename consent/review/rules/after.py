"""After surgery: what day 1 and what was done call for."""

from __future__ import annotations

from consent.case import Answer, Done, parse_acuity
from consent.review.plan_and_fact import differences, events
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


def _done(s: Situation) -> Done | None:
    return s.case.done


@point("after.other-side")
def _other_side(s: Situation, _: Thresholds) -> list[Remark]:
    done = _done(s)
    other = done is not None and done.side is not None and done.side is not s.case.plan.side
    return [remark("fact.operated-side", eye=remark(f"eye.{done.side}"))] if done and other else []


@point("after.step-not-agreed")
def _not_agreed(s: Situation, _: Thresholds) -> list[Remark]:
    return [found.told for found in differences(s.case) if not found.agreed]


@point("after.called-as-planned")
def _called_as_planned(s: Situation, _: Thresholds) -> list[Remark]:
    done = _done(s)
    if done is None or done.as_planned is not Answer.YES:
        return []
    happened = [remark(f"fact.happened.{name}") for name in events(s.case)]
    return [*(found.told for found in differences(s.case)), *happened]


@point("after.not-told")
def _not_told(s: Situation, _: Thresholds) -> list[Remark]:
    done = _done(s)
    if done is None or done.told is not None or not done.went_wrong:
        return []
    happened = [remark(f"fact.happened.{name}") for name in events(s.case)]
    return happened or [remark("fact.happened.complication", text=done.complication or "")]


@point("after.piece-without-referral")
def _no_referral(s: Situation, _: Thresholds) -> list[Remark]:
    done = _done(s)
    alone = done is not None and done.piece_retained is Answer.YES and done.referral is None
    return [remark("fact.happened.piece_retained")] if alone else []


@point("after.referral-not-telephoned")
def _not_telephoned(s: Situation, _: Thresholds) -> list[Remark]:
    referral = s.case.done.referral if s.case.done else None
    if referral is None:
        return []
    missing = {
        "spoke-with": referral.spoke_with is None,
        "called-at": referral.called_at is None,
        "expected-on": referral.expected_on is None,
    }
    return [remark(f"fact.referral.{name}") for name, absent in missing.items() if absent]


@point("after.jelly-without-retina-visit")
def _no_retina_visit(s: Situation, _: Thresholds) -> list[Remark]:
    done = _done(s)
    lost = done is not None and done.vitreous_lost is Answer.YES
    seen = any(visit.kind == "retina" for visit in s.case.visits)
    return [remark("fact.happened.vitreous_lost")] if lost and not seen else []
