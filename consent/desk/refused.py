"""Extra steps that the patient does not want, as they were told at the talk: read off the record, kept nowhere else."""

from __future__ import annotations

from typing import Any

from consent.case import ExtraStep
from consent.record.act import Act
from consent.record.state import CaseState

_NO, _BACK = "the patient does not want", "taken back: the patient does not want"
"""What the entry says beside the change of the plan; the record shows it as it stands."""


def refused_steps(case: CaseState) -> tuple[ExtraStep, ...]:
    """The steps that the patient said no to at the talk and that are in nobody's plan again."""
    said: dict[str, bool] = {}
    for told in case.history:
        if told.entry.kind == "changed":
            said |= {str(told.details[key]): key == _NO for key in (_NO, _BACK) if key in told.details}
    planned = case.case.plan.extra_steps
    return tuple(step for step in ExtraStep if said.get(step.value) and step not in planned)


def refuse(case: CaseState, step: ExtraStep) -> Act:
    """The entry that takes ``step`` out of the plan, because the patient does not want it."""
    return _act(case, [one for one in _planned(case) if one != step.value], _NO, step)


def take_back(case: CaseState, step: ExtraStep) -> Act:
    """The entry that puts ``step`` back into the plan, where it comes in the order of the form."""
    wanted = {*_planned(case), step.value}
    return _act(case, [one.value for one in ExtraStep if one.value in wanted], _BACK, step)


def _planned(case: CaseState) -> list[str]:
    return list(case.data["plan"].get("extra_steps", ()))


def _act(case: CaseState, steps: list[str], what: str, step: ExtraStep) -> Act:
    plan: dict[str, Any] = {**case.data["plan"], "extra_steps": steps}
    return Act("changed", case.sequence, {**case.data, "plan": plan}, details={what: step.value})
