"""The anaesthetic against this patient."""

from __future__ import annotations

from consent.case import Answer
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("anaesthesia.needle-bleeding-or-long-eye")
def _needle(s: Situation, t: Thresholds) -> list[Remark]:
    kind, length = s.case.plan.anaesthesia, s.case.eye.axial_length_mm
    if kind is None or not kind.is_needle_block:
        return []
    found = []
    if s.case.health.anticoagulant is Answer.YES:
        found.append(remark("fact.anticoagulant"))
    if length is not None and length >= t["long_mm"]:
        found.append(remark("fact.axial-length", mm=length))
    return found


@point("anaesthesia.cannot-lie")
def _cannot_lie(s: Situation, _: Thresholds) -> list[Remark]:
    health, kind = s.case.health, s.case.plan.anaesthesia
    found = []
    if health.can_lie_flat is Answer.NO:
        found.append(remark("fact.cannot-lie-flat"))
    if kind is not None and kind.is_topical:
        if health.can_lie_still is Answer.NO:
            found.append(remark("fact.cannot-lie-still"))
        if health.cough_or_tremor is Answer.YES:
            found.append(remark("fact.cough-or-tremor"))
    return found


@point("anaesthesia.cannot-follow")
def _cannot_follow(s: Situation, _: Thresholds) -> list[Remark]:
    kind = s.case.plan.anaesthesia
    deaf = s.case.patient.hearing_impaired is Answer.YES
    return [remark("fact.hard-of-hearing")] if deaf and kind is not None and kind.is_topical else []
