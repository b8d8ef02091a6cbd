"""What changed since the talk: the triggers that call for a new look at the decision, worked out from the case."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Case, Understood
from consent.wording import Remark, remark


def plan_changes(case: Case) -> tuple[Remark, ...]:
    """What of the plan is not as it was told at the talk; empty where nothing was noted or all is the same."""
    told, plan = case.talk.told, case.plan
    if told is None:
        return ()
    lens = plan.lens
    pairs = (
        ("side", told.side, case.eye.side, "eye"),
        ("operation", told.operation, plan.operation, "operation"),
        ("anaesthesia", told.anaesthesia, plan.anaesthesia, "anaesthesia"),
        ("lens", told.lens_design, lens.design if lens else None, "lens"),
    )
    found = [
        remark(f"change.{name}", then=remark(f"{words}.{then}"), now=remark(f"{words}.{now}" if now else "change.none"))
        for name, then, now, words in pairs
        if then is not None and then != now
    ]
    power = lens.power_d if lens else None
    if told.lens_power_d is not None and power is not None and told.lens_power_d != power:
        found.append(remark("change.power", then=told.lens_power_d, now=power))
    if told.surgeon is not None and told.surgeon != plan.surgeon.name:
        found.append(remark("change.surgeon", then=told.surgeon, now=plan.surgeon.name))
    if told.date is not None and told.date != plan.date:
        found.append(remark("change.date", then=told.date, now=plan.date))
    return tuple(found)


def review_triggers(case: Case) -> tuple[Remark, ...]:
    """Return what makes a second look matter most in this case (GMC, Decision making and consent, 2020)."""
    return tuple(_triggers(case))


def _triggers(case: Case) -> Iterator[Remark]:
    talk, plan = case.talk, case.plan
    yield from plan_changes(case)
    if talk.by is not None and talk.by != plan.surgeon.name:
        yield remark("trigger.someone-else", by=talk.by)
    if talk.at is not None:
        yield remark("trigger.days", days=(plan.date - talk.at.date()).days)
        if case.measurement.on is not None and case.measurement.on > talk.at.date():
            yield remark("trigger.measured-since", date=case.measurement.on)
        seen = [day for day in (case.fitness.blood_pressure_on, case.fitness.sugar_on) if day is not None]
        if seen and max(seen) > talk.at.date():
            yield remark("trigger.fitness-since", date=max(seen))
        accepted = case.figures_accepted
        if accepted is not None and accepted.at.date() > talk.at.date():
            yield remark("trigger.figures-since", date=accepted.at.date())
    if any(entry.result is Understood.NOT_YET for entry in talk.said_back):
        yield remark("trigger.not-yet")
    if talk.decide_by is not None:
        yield remark("trigger.wanted-time")
