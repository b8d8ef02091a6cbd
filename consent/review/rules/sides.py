"""The right eye: the side named twice, the lens measured for it, a lens already in it."""

from __future__ import annotations

from consent.case import Answer
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("side.disagrees")
def _disagrees(s: Situation, _: Thresholds) -> list[Remark]:
    eye, plan = s.case.eye.side, s.case.plan.side
    return [] if eye is plan else [remark("fact.sides", eye=remark(f"eye.{eye}"), plan=remark(f"eye.{plan}"))]


@point("side.measured-for-other-eye")
def _measured(s: Situation, _: Thresholds) -> list[Remark]:
    side = s.case.measurement.side
    return [] if side in (None, s.case.eye.side) else [remark("fact.measured-side", side=remark(f"eye.{side}"))]


@point("side.lens-already-there")
def _implant(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.lens-already-there")] if s.case.eye.lens_implant_present is not Answer.NO else []
