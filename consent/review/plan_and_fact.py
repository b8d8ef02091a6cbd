"""The plan was a forecast, what was done is a fact: where the two differ, and whether that had been agreed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from consent.case import Answer, Case, ExtraStep, Lens, Operation
from consent.wording import Remark, remark


@dataclass(frozen=True)
class Difference:
    """One way in which fact and plan differ. ``agreed``: the patient had agreed to it beforehand."""

    told: Remark
    agreed: bool


_EVENTS = ("capsule_torn", "vitreous_lost", "piece_retained", "no_lens")


def events(case: Case) -> tuple[str, ...]:
    """What did not go to plan in the eye, cause before consequence, by key of ``done``; empty where nothing did."""
    done = case.done
    return tuple(name for name in _EVENTS if done is not None and getattr(done, name) is Answer.YES)


def differences(case: Case) -> tuple[Difference, ...]:
    """Return each step taken and each choice that is not as planned, in the order of the operation."""
    return tuple(_differences(case)) if case.done is not None else ()


def _differences(case: Case) -> Iterator[Difference]:
    plan, done = case.plan, case.done
    if done is None:
        return
    agreed = frozenset(case.agreed_steps)
    if done.operation is not None and done.operation is not plan.operation:
        told = remark("fact.other-operation", operation=remark(f"operation.{done.operation}"))
        by_hand = plan.operation.is_phaco and done.operation in (Operation.SMALL_INCISION, Operation.EXTRACAPSULAR)
        yield Difference(told, by_hand and ExtraStep.LARGER_INCISION in agreed)
    yield from _lens(case)
    for step in unplanned_steps(case):
        yield Difference(remark("fact.step-taken", step=remark(f"step.{step}.short")), step in agreed)


def steps_taken(case: Case) -> tuple[ExtraStep, ...]:
    """The extra steps that were taken; stitches that were counted are one."""
    done = case.done
    if done is None:
        return ()
    counted = (ExtraStep.STITCH,) if done.stitches and ExtraStep.STITCH not in done.steps else ()
    return (*done.steps, *counted)


def unplanned_steps(case: Case) -> tuple[ExtraStep, ...]:
    """The steps taken that neither were planned nor are told with the lens."""
    plan, done = case.plan, case.done
    if done is None:
        return ()
    told = {
        ExtraStep.OTHER_LENS_PLACE: done.lens is not None,
        ExtraStep.NO_LENS_TODAY: done.no_lens is Answer.YES,
        ExtraStep.PUPIL_DEVICE: plan.pupil_expansion is Answer.YES,
        ExtraStep.CAPSULE_RING: plan.capsular_tension_ring is Answer.YES,
    }
    return tuple(step for step in steps_taken(case) if not told.get(step, False))


def _lens(case: Case) -> Iterator[Difference]:
    plan, done = case.plan, case.done
    if done is None:
        return
    if done.no_lens is Answer.YES:
        yield Difference(remark("fact.no-lens-placed"), ExtraStep.NO_LENS_TODAY in case.agreed_steps)
    elif done.lens is not None and (plan.lens is None or unlike(done.lens, plan.lens)):
        named = any(not unlike(done.lens, lens) for lens in plan.fallback_lenses)
        accepted = plan.fallback_in_consent is Answer.YES and named
        yield Difference(_placed(done.lens), accepted or ExtraStep.OTHER_LENS_PLACE in case.agreed_steps)


def _placed(lens: Lens) -> Remark:
    slots = {"design": remark(f"lens.{lens.design}"), "place": remark(f"place.{lens.place}")}
    if lens.power_d is None:
        return remark("fact.other-lens", **slots)
    return remark("fact.other-lens-power", power=lens.power_d, **slots)


def unlike(one: Lens, other: Lens) -> bool:
    """Whether two lenses differ in design, place or power; a power that nobody has entered differs from none."""
    powers = {one.power_d, other.power_d} - {None}
    return (one.design, one.place) != (other.design, other.place) or len(powers) > 1
