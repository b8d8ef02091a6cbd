"""The regimen of drops is the surgeon's choice."""

from __future__ import annotations

from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("regimen.not-chosen")
def _not_chosen(s: Situation, _: Thresholds) -> list[Remark]:
    return [] if s.case.plan.regimen else [remark("fact.no-regimen")]


@point("regimen.drop-free-without-injection")
def _nothing_injected(s: Situation, _: Thresholds) -> list[Remark]:
    regimen = s.clinic.regimens.get(s.case.plan.regimen or "", {})
    drop_free = s.case.plan.regimen == "drop-free" or bool(regimen.get("drop_free"))
    return [remark("fact.nothing-injected")] if drop_free and s.case.plan.injected_antibiotic != "yes" else []
