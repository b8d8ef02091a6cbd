"""How far the numbers of this case can be trusted."""

from __future__ import annotations

from consent.case import Answer
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


@point("figures.models-disagree")
def _disagree(s: Situation, t: Thresholds) -> list[Remark]:
    rupture = s.risks["capsule_rupture"]
    check = rupture.crosscheck
    if check is None or rupture.probability is None or not rupture.usual or not rupture.personal:
        return []
    own = rupture.probability / rupture.usual
    apart = max(own / check.relative, check.relative / own)
    if apart <= t["times"]:
        return []
    return [remark("fact.models", own=round(own, 1), other=round(check.relative, 1), series=check.series)]


@point("figures.factor-not-in-model")
def _not_in_model(s: Situation, _: Thresholds) -> list[Remark]:
    eye = s.case.eye
    found = {
        "previous-vitrectomy": eye.previous_vitrectomy is Answer.YES,
        "injections": bool(eye.injections_into_eye),
        "trauma": Answer.YES in (eye.previous_trauma, eye.traumatic),
        "corneal-scar": eye.corneal_scar is Answer.YES,
    }
    return [remark("fact.not-in-model", what=remark(f"what.{name}")) for name, present in found.items() if present]
