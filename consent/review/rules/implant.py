"""The artificial lens: on the shelf, agreed, measured, and fit for its place."""

from __future__ import annotations

from consent.case import Answer, ExtraStep, Lens, LensDesign, LensPlace
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


def _this_lens(lens: Lens) -> Remark:
    return remark("fact.this-lens", design=remark(f"lens.{lens.design}"), place=remark(f"place.{lens.place}"))


def _lens_fact(lens: Lens) -> Remark:
    return remark("fact.lens", design=remark(f"lens.{lens.design}"), place=remark(f"place.{lens.place}"))


def _lenses(s: Situation) -> list[Lens]:
    plan = s.case.plan
    return [*([plan.lens] if plan.lens else []), *plan.fallback_lenses]


@point("lens.none-chosen")
def _none_chosen(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.no-lens-chosen")] if s.case.plan.lens is None else []


@point("lens.no-agreed-fallback")
def _no_fallback(s: Situation, _: Thresholds) -> list[Remark]:
    plan = s.case.plan
    missing = plan.lens is not None and plan.lens.on_shelf is Answer.NO
    agreed = plan.fallback_in_consent is Answer.YES and bool(plan.fallback_lenses)
    return [_lens_fact(plan.lens)] if plan.lens and missing and not agreed else []


@point("lens.not-on-shelf")
def _not_on_shelf(s: Situation, _: Thresholds) -> list[Remark]:
    plan = s.case.plan
    if plan.lens is None or plan.lens.on_shelf is not Answer.NO:
        return []
    return [_lens_fact(plan.lens), *(_fallback_fact(lens) for lens in plan.fallback_lenses)]


@point("lens.shelf-not-checked")
def _shelf(s: Situation, _: Thresholds) -> list[Remark]:
    lens = s.case.plan.lens
    return [remark("fact.shelf-not-checked")] if lens and lens.on_shelf is Answer.UNKNOWN else []


@point("lens.first-choice-without-power")
def _first_without_power(s: Situation, _: Thresholds) -> list[Remark]:
    lens = s.case.plan.lens
    return [_lens_fact(lens)] if lens and (lens.a_constant is None or lens.power_d is None) else []


@point("measurement.eye-not-recorded")
def _eye_not_recorded(s: Situation, _: Thresholds) -> list[Remark]:
    planned = s.case.plan.lens is not None and s.case.plan.lens.power_d is not None
    return [remark("fact.side-not-recorded")] if planned and s.case.measurement.side is None else []


def _fallback_fact(lens: Lens) -> Remark:
    power = lens.power_d if lens.power_d is not None else "-"
    return remark("fact.fallback", design=remark(f"lens.{lens.design}"), power=power)


@point("lens.single-piece-in-sulcus")
def _sulcus(s: Situation, _: Thresholds) -> list[Remark]:
    done = s.case.done
    placed = _lenses(s) if done is None else [done.lens] if done.lens else []
    return [
        _this_lens(lens) for lens in placed if lens.design is LensDesign.SINGLE_PIECE and lens.place is LensPlace.SULCUS
    ]


@point("lens.fallback-without-power")
def _without_power(s: Situation, _: Thresholds) -> list[Remark]:
    lenses = s.case.plan.fallback_lenses
    return [_this_lens(lens) for lens in lenses if lens.a_constant is None or lens.power_d is None]


@point("lens.larger-wound-not-agreed")
def _larger_wound(s: Situation, _: Thresholds) -> list[Remark]:
    if ExtraStep.LARGER_INCISION in s.case.plan.extra_steps:
        return []
    return [_this_lens(lens) for lens in _lenses(s) if lens.design is not LensDesign.SINGLE_PIECE]


def _apart(one: float, two: float) -> float:
    """Distance as printed: 23.5 and 23.2 are 0.3 apart, not a little more."""
    return round(abs(one - two), 6)


@point("measurement.eyes-differ")
def _eyes_differ(s: Situation, t: Thresholds) -> list[Remark]:
    found = []
    one, two = s.case.eye.axial_length_mm, s.case.other_eye.axial_length_mm
    if one is not None and two is not None and _apart(one, two) > t["length_mm"]:
        found.append(remark("fact.lengths-differ", one=one, two=two))
    k_one, k_two = s.case.measurement.corneal_power_d, s.case.measurement.other_eye_corneal_power_d
    if k_one is not None and k_two is not None and _apart(k_one, k_two) > t["corneal_power_d"]:
        found.append(remark("fact.corneas-differ", one=k_one, two=k_two))
    return found


@point("measurement.not-recorded")
def _not_recorded(s: Situation, _: Thresholds) -> list[Remark]:
    """A lens power with nothing that shows how it was worked out."""
    lens, measured = s.case.plan.lens, s.case.measurement
    if lens is None or lens.power_d is None:
        return []
    missing = {
        "axial-length": s.case.eye.axial_length_mm is None,
        "corneal-power": measured.corneal_power_d is None,
        "formula": measured.formula is None,
        "method": measured.method is None,
        "day": measured.on is None,
    }
    return [remark("fact.not-recorded", what=remark(f"what.{name}")) for name, absent in missing.items() if absent]


@point("measurement.old")
def _old(s: Situation, t: Thresholds) -> list[Remark]:
    on = s.case.measurement.on
    old = on is not None and (s.case.plan.date - on).days > t["days"]
    return [remark("fact.measured-on", date=on)] if old else []


@point("measurement.target-far")
def _target(s: Situation, t: Thresholds) -> list[Remark]:
    target, other = s.case.measurement.target_d, s.case.other_eye.refraction_d
    if target is None or other is None or _apart(target, other) <= t["dioptres"]:
        return []
    return [remark("fact.target", target=target, other=other)]
