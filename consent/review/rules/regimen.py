"""The regimen of drops is the surgeon's choice."""

from __future__ import annotations

from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("regimen.not-chosen")
def _not_chosen(s: Situation, _: Thresholds) -> list[Remark]:
    return [] if s.case.plan.regimen else [remark("fact.no-regimen")]
