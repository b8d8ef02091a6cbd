"""What was done, read off the form after surgery: nothing that was found is answered before somebody answers it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any
from zoneinfo import ZoneInfo

from consent.case import Case, Lens
from consent.desk.entry import Entered, read_entry
from consent.desk.fields import Field, field
from consent.desk.form import Sent
from consent.wording import Remark, remark

FOUND = ("done.capsule_torn", "done.vitreous_lost", "done.piece_retained")
"""What the surgeon must say of every operation."""
PLANNED = ("done.side", "done.operation", "done.by")
STEPS = "done.steps"
MORE = ("done.piece_size", "done.stitches", "done.devices", "done.injected", "done.complication", "done.regimen")
TOLD = ("done.told.by", "done.told.at")
REFERRAL = tuple(
    f"done.referral.{name}"
    for name in ("to", "telephone", "called_by", "spoke_with", "called_at", "expected_on", "expected_at")
)
OTHER_LENS = ("done.lens.design", "done.lens.material", "done.lens.place", "done.lens.power_d")
LENS, NO_STEP = "lens", "no-step"
"""Names of two fields of the form: which lens is in the eye, and that no further step was taken."""


@dataclass(frozen=True)
class LensChoice:
    """A lens that was agreed to beforehand. ``value``: as the form sends it."""

    value: str
    lens: Lens
    planned: bool


def fields_after() -> tuple[Field, ...]:
    """Every question of the form."""
    paths = (*PLANNED, *FOUND, STEPS, *OTHER_LENS, *MORE, *TOLD, *REFERRAL, "done.as_planned")
    return tuple(field(path) for path in paths)


def agreed_lenses(case: Case) -> tuple[LensChoice, ...]:
    """The lens of the plan and those agreed to instead of it."""
    planned = () if case.plan.lens is None else (LensChoice("planned", case.plan.lens, planned=True),)
    others = (LensChoice(f"fallback-{n}", lens, planned=False) for n, lens in enumerate(case.plan.fallback_lenses))
    return (*planned, *others)


def read_done(form: Sent, data: Mapping[str, Any], case: Case, zone: ZoneInfo) -> Entered:
    """The case in ``data`` with what was done, and what is wrong or not answered yet by the name of its field."""
    chosen = form.text(LENS)
    fields = tuple(one for one in fields_after() if chosen == "other" or one.path not in OTHER_LENS)
    # Drops other than planned are a print of their own: the record gives it its version when it is entered.
    before = {**data, "done": {}, "version": case.version + 1}
    read = read_entry(form, fields, before, zone)
    done = dict(read.data.get("done") or {}) | _lens(chosen, case)
    if done.get("operation") == case.plan.operation:
        del done["operation"]
    faults = {**read.faults, **{name: fault for name, fault in _unanswered(form) if name not in read.faults}}
    return replace(read, data={**read.data, "done": done}, faults=faults)


def _lens(chosen: str, case: Case) -> dict[str, Any]:
    if chosen == "none":
        return {"no_lens": "yes"}
    lens = next((one.lens for one in agreed_lenses(case) if one.value == chosen), None)
    if lens is not None:
        return {"lens": lens.model_dump(mode="json", exclude_none=True), "no_lens": "no"}
    return {"no_lens": "no"} if chosen == "other" else {}


def _unanswered(form: Sent) -> Iterator[tuple[str, Remark]]:
    for name in (*FOUND, "done.side", "done.as_planned"):
        if not form.text(name):
            yield name, remark("done.fault.answer")
    if not form.text(LENS):
        yield LENS, remark("done.fault.answer")
    if form.text(LENS) == "other" and not form.text("done.lens.design"):
        yield "done.lens.design", remark("done.fault.answer")
    if bool(form.texts(STEPS)) == (form.text(NO_STEP) == "yes"):
        yield STEPS, remark("done.fault.steps")


def print_of(data: Mapping[str, Any]) -> str:
    """A few signs that stand for what was done: what is recorded is what was looked at."""
    text = json.dumps(data.get("done"), sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
