"""How far the numbers of this case can be trusted."""

from __future__ import annotations

from consent.evidence import Verified
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("figures.no-single-figure")
def _no_single(s: Situation, _: Thresholds) -> list[Remark]:
    rupture = s.risks["capsule_rupture"]
    if rupture.single_figure:
        return []
    return [remark("fact.factor-unknown", factor=remark(f"factor.{name}")) for name in rupture.unknown_factors]


@point("figures.not-read-in-primary")
def _not_primary(s: Situation, _: Thresholds) -> list[Remark]:
    weak: dict[str, Verified] = {}
    order = list(Verified)
    for source in [source for estimate in s.risks.values() for source in estimate.sources]:
        if not source.verified.is_primary:
            weak[source.series] = max(weak.get(source.series, source.verified), source.verified, key=order.index)
    return [remark("fact.figure", figure=name, verified=remark(f"verified.{how}")) for name, how in weak.items()]


@point("figures.outside-model")
def _outside(s: Situation, _: Thresholds) -> list[Remark]:
    rupture = s.risks["capsule_rupture"]
    inside = any(source.reference.endswith("/model") for source in rupture.sources)
    return [] if inside else list(rupture.assumptions)
