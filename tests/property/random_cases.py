"""Random valid cases: every field of the model gets a value of its own kind, most of them, in every mixture."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator
from enum import Enum
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from annotated_types import Ge, Le
from pydantic import AwareDatetime, BaseModel
from pydantic.fields import FieldInfo

from consent.case import Case
from consent.case.reading import validate
from consent.errors import CaseError

SURGERY = dt.date(2027, 2, 24)
ACUITIES = ("6/6", "6/9", "6/12", "6/18", "6/36", "6/60", "3/60", "CF", "HM", "PL", "NPL", "20/200")
TEXTS = ("Invented words", "Example, one", "R. Example")
SHARE = 0.8
"""How many of the fields that may be left out are filled."""

# Keys whose values hang together with others, or name things of the formulary
ALWAYS: dict[str, Any] = {
    "schema": 1,
    "plan.date": SURGERY.isoformat(),
    "own_drops": [],
    "drop_changes": [],
    "caps_seen": [],
    "answers": [],
    "done": None,
    "day1": None,
    "version": 1,
    "patient.birth_date": None,
    "patient.waking_from": "07:00:00",
    "patient.waking_to": "22:00:00",
    "plan.tablets": [],
    "plan.injected_antibiotic_drug": None,
}
FROM: dict[str, tuple[Any, ...]] = {
    "patient.name": ("Haradhan Example", "Shanti Example", "Abdul Example"),
    "patient.record_number": ("DEMO-1",),
    "patient.language": ("bn", "hi", "en"),
    "talk.language": ("bn", "hi", "en"),
    "patient.age_years": (24, 52, 69, 88),
    "health.allergies": (
        {"asked": "not asked"},
        {"asked": "none"},
        {"asked": "known", "known": [{"substance": "sulfa tablets", "reaction": "rash"}]},
    ),
    "health.alpha_blocker": (
        {},
        {"ever": "no"},
        {"ever": "yes"},
        {"ever": "yes", "drugs": ["tamsulosin"], "taking_now": "yes"},
    ),
    "other_eye": (
        {},
        {"acuity": "6/24", "seeing": "yes", "operated": "no", "axial_length_mm": 23.5, "refraction_d": -0.5},
        {"acuity": "HM", "seeing": "no", "operated": "no", "refraction_d": 3.0},
        {"acuity": "6/9", "operated": "yes", "complication": "yes"},
        {
            "acuity": "6/12",
            "operated": "yes",
            "operated_on": (SURGERY - dt.timedelta(days=21)).isoformat(),
            "regimen": "weekly-4-3-2-1",
            "complication": "no",
        },
    ),
    "visits": (
        [],
        [{"kind": "day 1", "date": (SURGERY + dt.timedelta(days=1)).isoformat()}],
        [
            {"kind": "week 1", "date": (SURGERY + dt.timedelta(days=7)).isoformat()},
            {"kind": "spectacles", "date": (SURGERY + dt.timedelta(days=40)).isoformat()},
        ],
    ),
    "plan.regimen": (None, "weekly-4-3-2-1", "two-hourly-start", "diabetes-nsaid", "drop-free"),
    "plan.theatre_drugs": ([], ["povidone-iodine", "lidocaine"]),
    "health.medicines": ([], ["aspirin 75 mg"], ["warfarin"], ["metformin", "amlodipine"]),
    "eye.glaucoma_drops": ([], ["timolol"]),
    "talk.said_back": (
        [],
        [{"question": "which eye", "result": "first time"}, {"question": "one risk", "result": "not yet"}],
        [
            {"question": name, "result": "after explaining again"}
            for name in ("which eye", "what is done", "one risk", "may refuse", "warning signs")
        ],
    ),
}


def random_cases(seed: int, count: int) -> Iterator[Case]:
    """Yield ``count`` valid cases; what the model refuses is drawn again. The same seed gives the same cases."""
    rng = random.Random(seed)
    found = 0
    while found < count:
        try:
            case = validate(_table(Case, "", rng), Case, CaseError, where="a random case")
        except CaseError:
            continue
        found += 1
        yield case


def _table(model: type[BaseModel], key: str, rng: random.Random) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, entry in model.model_fields.items():
        written = entry.alias or name
        where = f"{key}.{written}" if key else written
        if where in ALWAYS:
            found[written] = ALWAYS[where]
        elif where in FROM:
            found[written] = rng.choice(FROM[where])
        elif entry.is_required() or rng.random() < SHARE:
            found[written] = _value(entry.annotation, entry.metadata, where, rng, entry)
    return found


def _value(kind: Any, limits: list[Any], key: str, rng: random.Random, entry: FieldInfo) -> Any:
    origin = get_origin(kind)
    if origin is Annotated:
        inner, *more = get_args(kind)
        return _value(inner, [*limits, *more], key, rng, entry)
    if origin is Literal:
        return rng.choice(get_args(kind))
    if origin in (Union, UnionType):
        inner = [one for one in get_args(kind) if one is not type(None)]
        return None if rng.random() > SHARE else _value(rng.choice(inner), limits, key, rng, entry)
    if origin is tuple:
        inner = get_args(kind)[0]
        picked = [_value(inner, [], key, rng, entry) for _ in range(rng.choice((0, 1, 1, 2, 3)))]
        return [one for place, one in enumerate(picked) if one not in picked[:place]]
    if isinstance(kind, type) and issubclass(kind, Enum):
        return rng.choice(list(kind)).value
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return _table(kind, key, rng)
    return _plain(kind, limits, key, rng)


def _plain(kind: Any, limits: list[Any], key: str, rng: random.Random) -> Any:
    if kind is bool:
        return rng.random() < 0.5
    if kind in (int, float):
        bounds = [_bounds(one) for one in limits]
        low = max((b[0] for b in bounds if b[0] is not None), default=0)
        high = min((b[1] for b in bounds if b[1] is not None), default=30)
        return rng.randint(int(low), int(high)) if kind is int else round(rng.uniform(low, high), 1)
    if kind is dt.date:
        return (SURGERY + dt.timedelta(days=rng.randint(-40, 40))).isoformat()
    if kind in (dt.datetime, AwareDatetime):
        return f"{(SURGERY + dt.timedelta(days=rng.randint(-40, 1))).isoformat()}T10:15:00+05:30"
    if kind is dt.time:
        return "09:30:00"
    return rng.choice(ACUITIES) if "acuity" in key else rng.choice(TEXTS)


def _bounds(limit: Any) -> tuple[float | None, float | None]:
    if isinstance(limit, Ge):
        return float(limit.ge), None  # type: ignore[arg-type]
    if isinstance(limit, Le):
        return None, float(limit.le)  # type: ignore[arg-type]
    return None, None
