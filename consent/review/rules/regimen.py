"""The regimen of drops is the surgeon's choice."""

from __future__ import annotations

from consent.case import Answer
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("regimen.not-chosen")
def _not_chosen(s: Situation, _: Thresholds) -> list[Remark]:
    return [] if s.case.regimen else [remark("fact.no-regimen")]


@point("regimen.other-eye-not-said")
def _other_eye_not_said(s: Situation, t: Thresholds) -> list[Remark]:
    other = s.case.other_eye
    if other.operated is not Answer.YES or other.operated_on is None or other.regimen is not None:
        return []
    days = (s.case.plan.date - other.operated_on).days
    return [remark("fact.other-eye-operated", days=days)] if 0 <= days <= t["days"] else []
