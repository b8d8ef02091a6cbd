"""Invented patients for a list, by the number of a seed: a mix as a centre may see it, no real person.

The shares are chosen so that each sort of eye comes up in a list of twenty; they are no finding about any place.
"""

from __future__ import annotations

import datetime as dt
import random

from consent.case import Case
from consent.case.reading import validate
from consent.errors import CaseError
from tests.editing import Changes, edited, shipped

DAY = dt.date(2027, 2, 24)
_NAMES = ("Shanti", "Rahima", "Ramesh", "Abdul", "Malati", "Bishwanath", "Sita", "Harun", "Kamala", "Gopal")
_FAMILIES = ("Invented", "Example", "Chattopadhyay Invented", "Mondal Invented", "Khatun Invented")
_EYES: tuple[tuple[int, Changes], ...] = (
    (60, {}),
    (15, {"eye.nucleus.grade": "brunescent", "eye.nucleus.locs_opalescence": 5.8}),
    (10, {"eye.white": "yes", "eye.fundus_seen": "no", "eye.nucleus.grade": "unknown"}),
    (10, {"eye.pupil_mm": 3.5, "eye.pupil_grade": "small", "eye.pseudoexfoliation": "yes"}),
    (5, {"other_eye.seeing": "no", "other_eye.acuity": "NPL"}),
)
_PEOPLE: tuple[tuple[int, Changes], ...] = (
    (55, {}),
    (25, {"patient.reads": "no", "patient.writes_name": "no"}),
    (10, {"health.diabetes": "yes"}),
    (10, {"health.antiplatelet": "yes", "plan.companion": "no"}),
)


def invented_cases(count: int, seed: int = 1, day: dt.date = DAY) -> tuple[Case, ...]:
    """``count`` cases, each with a record number of its own; the same seed gives the same."""
    dice = random.Random(seed)
    return tuple(_case(place, dice, day) for place in range(1, count + 1))


def _case(place: int, dice: random.Random, day: dt.date) -> Case:
    changes: dict[str, object] = {
        "patient.name": f"{dice.choice(_NAMES)} {dice.choice(_FAMILIES)}",
        "patient.record_number": f"INV-{place:04}",
        "patient.language": dice.choice(("bn", "bn", "hi")),
        "patient.birth_date": dt.date(dice.randrange(1938, 1975), dice.randrange(1, 13), dice.randrange(1, 29)),
        "plan.date": day,
        "plan.time": dt.time(8 + (place * 10) // 60 % 10, place * 10 % 60),
    }
    for table in (_EYES, _PEOPLE):
        changes |= dice.choices([one for _, one in table], [share for share, _ in table])[0]
    return validate(edited(shipped("case", "examples", "ordinary.toml"), changes), Case, CaseError, "an invented case")
