"""Random orders of drops, as wide as a clinic could write them: every form, both eyes, changes, landmarks, odd hours.

A ``random.Random`` draws them, so that Hypothesis (``st.randoms``) and a plain seeded loop use the same generator.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from random import Random
from typing import Any

from consent.case import DropChange, OwnDrop, Side
from consent.clinic import Clinic, DropSettings, read_clinic
from consent.clinic.model import DayMarks
from consent.drops import DropPlan, Start
from consent.drops.formulary import Formulary, read_formulary
from consent.drops.orders import Order
from consent.drops.plan import make_plan
from consent.drops.regimens import Regimens, parse_regimens

SOURCED = {"source": "invented", "verified": "memory"}


def invented(form: str, **more: Any) -> dict[str, Any]:
    """A drug no clinic has, for a container the shipped formulary lacks."""
    component = {"generic": f"invented {form}", "strength": "0.5%", "class": "lubricant"}
    shake = form == "suspension"
    return {"components": [component], "form": form, "shake": shake, "preservative": "none", **SOURCED, **more}


FORMULARY = {
    "small-bottle": invented("solution", bottle_ml=0.4, days_after_opening=10, drops_per_ml=40.0, wastage_percent=12.5),
    "short-life": invented("suspension", bottle_ml=2.5, days_after_opening=3),
    "gel-bottle": invented("gel", bottle_ml=10.0, days_after_opening=60),
    "gel-units": invented("gel", unit_dose=True),
    "small-tube": invented("ointment", doses_per_tube=4, days_after_opening=14),
}
CLINIC = read_clinic().model_copy(update={"formulary": FORMULARY})
DRUGS = (
    *FORMULARY,
    "moxifloxacin",
    "prednisolone-acetate",
    "difluprednate",
    "nepafenac",
    "nepafenac-0-3-percent",
    "timolol",
    "levofloxacin-dexamethasone",
    "tobramycin-dexamethasone",
    "dexamethasone-phosphate-unit-dose",
    "chloramphenicol-ointment",
)
OWN_DRUGS = ("timolol", "latanoprost", "small-bottle", "gel-units", "small-tube")
ONCE_EACH_TIME = ("small-tube", "chloramphenicol-ointment")
LOWERING = ("timolol",)


@cache
def formulary() -> Formulary:
    """Every drug an order may name."""
    return read_formulary(CLINIC)


@dataclass(frozen=True)
class Ordered:
    """An order with all it is read against."""

    order: Order
    clinic: Clinic

    @cached_property
    def regimens(self) -> Regimens:
        """The regimens the order may name, read."""
        return parse_regimens(self.clinic.regimens, formulary(), "random")

    @property
    def other_day(self) -> int | None:
        """Day of the fellow eye's operation, counted from the one at hand."""
        return (self.order.other_eye[1] - self.order.surgery).days if self.order.other_eye else None

    def plan(self, **changed: Any) -> DropPlan:
        """The engine's plan, with parts of the order ``changed``."""
        return make_plan(replace(self.order, **changed), self.clinic)

    def with_settings(self, **drops: Any) -> Ordered:
        """The same order at a clinic with other settings."""
        settings = DropSettings(**{**self.clinic.drops.model_dump(), **drops})
        return replace(self, clinic=self.clinic.model_copy(update={"drops": settings}))

    def with_order(self, **changed: Any) -> Ordered:
        """Another order at the same clinic."""
        return replace(self, order=replace(self.order, **changed))


def random_steps(draw: Random, drug: str, longest: int) -> list[dict[str, Any]]:
    """One to four steps that touch and fall, with a pause or a rise only where it is marked."""
    day = draw.choice((-3, -1, 1, 1, 1, 1, 1, 2, 5))
    times = draw.choice((1, 2, 3, 4, 4, 5, 6, 8, draw.randint(1, 10)))
    drops = 1 if drug in ONCE_EACH_TIME else draw.choice((1, 1, 1, 1, 2))
    steps: list[dict[str, Any]] = []
    for place in range(draw.randint(1, 2 if longest < 7 else 4)):
        step: dict[str, Any] = {"times_a_day": times, "drops_per_dose": drops}
        if place and draw.random() < 0.1:
            day += draw.randint(1, 5)
            step["pause_before"] = True
        if place and (before := steps[-1]["times_a_day"]) < 7 and draw.random() < 0.1:
            step |= {"times_a_day": before + draw.choice((1, 2)), "more_on_purpose": True}
        if step["times_a_day"] == 1 and draw.random() < 0.4:
            step["at_bedtime"] = True
        days = min(longest, draw.choice((1, 2, 3, 5, 7, 7)))
        steps.append({"from_day": day, "days": days, **step})
        day, times = day + days, draw.randint(1, step["times_a_day"])
    return steps


def random_item(draw: Random, drug: str, eyes: str, longest: int) -> dict[str, Any]:
    """One drug of a regimen."""
    ends = draw.choice(("course end", "until review", "long-standing") if drug in LOWERING else (None, "until review"))
    item = {"drug": drug, "eyes": eyes, "steps": random_steps(draw, drug, longest), **SOURCED}
    if ends:
        item["ends"] = ends
    if draw.random() < 0.06:
        item["drops_before_surgery"] = draw.randint(1, 3)
    return item


def random_regimen(draw: Random, most: int, longest: int) -> dict[str, Any]:
    """Up to ``most`` drugs, some of them with one taper for each eye."""
    items = []
    for drug in draw.sample(DRUGS, min(most, draw.choice((1, 1, 2, 2, 3, 4, 6)))):
        if draw.random() < 0.1:
            items += [random_item(draw, drug, eye, longest) for eye in ("operated", "other")]
        else:
            eyes = draw.choice(("operated", "operated", "operated", "other", "each"))
            items.append(random_item(draw, drug, eyes, longest))
    start = draw.choice(("day 1", "day 1", "evening of surgery"))
    return {"title": "random", "start": start, "items": items}


def beyond_surgery(regimen: dict[str, Any]) -> dict[str, Any]:
    """``regimen``, its first drug four days later where no step reaches day 1: a change must give drops."""
    last = max(step["from_day"] + step["days"] - 1 for item in regimen["items"] for step in item["steps"])
    if last < 1:
        for step in regimen["items"][0]["steps"]:
            step["from_day"] += 4
    return regimen


def random_own(draw: Random, surgery: dt.date) -> tuple[OwnDrop, ...]:
    """Up to two long-standing drops and what was decided of each."""
    found = []
    for drug in draw.sample(OWN_DRUGS, draw.choice((0, 0, 0, 1, 1, 2))):
        times = draw.choice((1, 1, 2, 3))
        decision = draw.choice(("continue", "continue", "pause", "stop", "undecided"))
        until = surgery + dt.timedelta(days=draw.randint(-3, 50)) if decision == "pause" else None
        found.append(
            OwnDrop(
                drug=drug,
                eyes=draw.choice(("right", "left", "each")),
                times_a_day=times,
                drops_per_dose=1 if drug in ONCE_EACH_TIME else draw.choice((1, 1, 2)),
                at_bedtime=times == 1 and draw.random() < 0.6,
                decision=decision,
                pause_until=until,
            )
        )
    return tuple(found)


def random_date(draw: Random) -> dt.date:
    """Any date, month ends, year ends and leap days more often than chance."""
    year = draw.randint(2024, 2104)
    if draw.random() < 0.5:
        month, day = draw.choice(((2, 20), (2, 28), (12, 20), (12, 31), (1, 31), (6, 30)))
        return dt.date(year, month, day) + dt.timedelta(days=draw.randint(0, 5))
    return dt.date(year, 1, 1) + dt.timedelta(days=draw.randint(0, 364))


def random_clock(draw: Random, first: int, last: int) -> dt.time:
    """A clock time between two minutes of the day, on the quarter of the hour more often than not."""
    minute = draw.randint(first, last)
    if draw.random() < 0.7:
        minute -= minute % 15
    return dt.time(minute // 60, minute % 60)


def random_changes(draw: Random, surgery: dt.date) -> tuple[DropChange, ...]:
    """None, one or two changes after surgery, in order."""
    days = sorted(draw.sample(range(1, draw.choice((8, 8, 22))), draw.choice((0, 0, 0, 1, 1, 2))))
    return tuple(
        DropChange(on=surgery + dt.timedelta(days=day), regimen=draw.choice(("next", "after")), by="Dr A", why="why")
        for day in days
    )


def random_settings(draw: Random) -> DropSettings:
    """Settings of a clinic."""
    return DropSettings(
        times="even" if draw.random() < 0.2 else "fewest sessions",
        gap_minutes=draw.choice((5, 5, 5, 5, 6, 8)),
        ointment_gap_minutes=draw.choice((10, 10, 10, 12, 15)),
        drops_per_ml=draw.choice((20.0, 20.0, 10.0, 15.8, 33.3, 60.0)),
        wastage_percent=draw.choice((0.0, 0.0, 10.0, 25.0, 100.0)),
        days_after_opening=draw.choice((28, 28, 30, 14, 7, 1)),
        long_standing_days=draw.choice((7, 7, 7, 14, 42)),
        fresh_bottle_per_eye=draw.random() < 0.7,
    )


EARLY_MARKS = DayMarks(
    breakfast=dt.time(6, 30),
    mid_morning=dt.time(9),
    midday_meal=dt.time(11, 45),
    afternoon=dt.time(15),
    sunset=dt.time(17, 30),
    evening_meal=dt.time(19, 15),
)


def random_order(draw: Random) -> Ordered:
    """An order and the clinic it is given at: one in five with up to six drugs over weeks, the others small."""
    surgery = random_date(draw)
    most, longest = draw.choice(((6, 7), (3, 4), (2, 4), (2, 3), (1, 5)))
    ago = draw.choice((None, None, None, None, 0, draw.randint(1, 8), draw.randint(1, 8), draw.randint(9, 40)))
    tables: Mapping[str, dict[str, Any]] = {
        "this": random_regimen(draw, most, longest),
        "other": random_regimen(draw, 3, longest) if ago is not None else {},
        "next": beyond_surgery(random_regimen(draw, 3, longest)),
        "after": beyond_surgery(random_regimen(draw, 3, longest)),
    }
    changes = random_changes(draw, surgery)
    used = {"this", *(["other"] if ago is not None else []), *(change.regimen for change in changes)}
    short = draw.random() < 0.05
    order = Order(
        regimen="this",
        side=draw.choice(tuple(Side)),
        surgery=surgery,
        waking_from=random_clock(draw, 270, 480),
        waking_to=random_clock(draw, 1020, 1140) if short else random_clock(draw, 1200, 1365),
        start=draw.choice((None, None, Start.DAY_1, Start.EVENING)),
        other_eye=None if ago is None else ("other", surgery - dt.timedelta(days=ago)),
        own_drops=random_own(draw, surgery),
        changes=changes,
        by_landmarks=draw.random() < 0.4,
    )
    update = {
        "regimens": {name: table for name, table in tables.items() if name in used},
        "drops": random_settings(draw),
        "day_marks": draw.choice((DayMarks(), EARLY_MARKS)),
    }
    return Ordered(order, CLINIC.model_copy(update=update))


def plain(tables: dict[str, dict[str, Any]], surgery: dt.date, **more: Any) -> Ordered:
    """The regimen "own" of ``tables`` for the right eye, waking 07:00 to 22:00, at the shipped clinic."""
    order = Order("own", Side.RIGHT, surgery, dt.time(7), dt.time(22))
    return Ordered(replace(order, **more), CLINIC.model_copy(update={"regimens": tables}))
