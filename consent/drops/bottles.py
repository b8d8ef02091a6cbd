"""How many bottles: by the drop, and by the days a bottle may stay open."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from consent.case import Side
from consent.clinic import DropSettings
from consent.drops.formulary import Drug
from consent.drops.schedule import Row, date_of
from consent.errors import DropsError, Problem


@dataclass(frozen=True)
class Opening:
    """One bottle or tube: the day it is opened, the last day a drop is taken from it, the drops taken.

    ``discard_after`` is the last date it may be used, however much is left.
    """

    day: int
    last_day: int
    opened: dt.date
    discard_after: dt.date
    drops: int


@dataclass(frozen=True)
class Supply:
    """What is handed out of one drug for one eye, or for both where the clinic lets two eyes share.

    ``drops`` counts applications for an ointment. ``ml`` is the volume of the drops without loss, rounded up to
    0.01 mL for display; ``None`` for unit doses and tubes. Unit doses have no ``openings``.
    """

    drug: Drug
    rows: tuple[int, ...]
    sides: tuple[Side, ...]
    container: Literal["bottle", "tube", "unit dose"]
    count: int
    drops: int
    ml: Decimal | None
    openings: tuple[Opening, ...]


def greedy(use: Iterable[tuple[int, int]], capacity: int, life: int) -> list[tuple[int, int]]:
    """Return (day opened, drops taken) of every bottle.

    ``use`` is (day, drops) in order of days. A bottle opened on day d holds ``capacity`` drops and is used up to
    and including day d + ``life`` - 1; the next is opened with the first drop it cannot give.
    """
    bottles: list[tuple[int, int]] = []
    for day, drops in use:
        left = drops
        while left:
            if not bottles or bottles[-1][1] == capacity or day >= bottles[-1][0] + life:
                bottles.append((day, 0))
            opened, taken = bottles[-1]
            more = min(left, capacity - taken)
            bottles[-1] = (opened, taken + more)
            left -= more
    return bottles


def drops_per_bottle(drug: Drug, settings: DropSettings) -> int:
    """Whole drops (or applications of ointment) that one bottle or tube gives after loss.

    With 20 drops per mL and 25 percent loss a 5 mL bottle gives 100 / 1.25 = 80.
    Raises ``DropsError`` where not one is left.
    """
    full = Fraction(drug.doses_per_tube or 0)
    if drug.bottle_ml is not None:
        full = _exact(drug.bottle_ml) * _drops_per_ml(drug, settings)
    wastage = drug.wastage_percent if drug.wastage_percent is not None else settings.wastage_percent
    capacity = math.floor(full / (1 + _exact(wastage) / 100))
    if capacity < 1:
        raise DropsError(
            Problem(
                f"a bottle of {drug.name} gives no drop at these settings",
                f"formulary.{drug.id}: bottle_ml, drops_per_ml; clinic settings: drops.wastage_percent",
                remedy="correct the bottle size or the loss",
            )
        )
    return capacity


def make_supplies(rows: Sequence[Row], settings: DropSettings) -> tuple[Supply, ...]:
    """Return what to hand out, in row order: each eye its own bottle unless the clinic lets two eyes share."""
    groups: dict[tuple[str, Side | None], list[Row]] = {}
    for row in rows:
        side = row.side if settings.fresh_bottle_per_eye else None
        groups.setdefault((row.drug.id, side), []).append(row)
    return tuple(_supply(group, settings) for group in groups.values())


def _supply(rows: Sequence[Row], settings: DropSettings) -> Supply:
    drug = rows[0].drug
    drops = sum(row.total for row in rows)
    openings = () if drug.unit_dose else _openings(rows, settings)
    ml = None
    if drug.bottle_ml is not None:
        ml = Decimal(math.ceil(drops / _drops_per_ml(drug, settings) * 100)) / 100
    return Supply(
        drug=drug,
        rows=tuple(row.number for row in rows),
        sides=tuple(row.side for row in rows),
        container="unit dose" if drug.unit_dose else "bottle" if drug.bottle_ml is not None else "tube",
        count=_units(rows) if drug.unit_dose else len(openings),
        drops=drops,
        ml=ml,
        openings=openings,
    )


def _openings(rows: Sequence[Row], settings: DropSettings) -> tuple[Opening, ...]:
    drug, surgery = rows[0].drug, rows[0].surgery
    life = drug.days_after_opening or settings.days_after_opening
    first, last = min(row.first_day for row in rows), max(row.last_day for row in rows)
    use = ((day, sum(row.drops_on(day) for row in rows)) for day in range(first, last + 1))
    bottles = greedy(use, drops_per_bottle(drug, settings), life)
    ends = [_last_use(rows, day, following) for (day, _), (following, _) in pairwise([*bottles, (last + 1, 0)])]
    return tuple(
        Opening(day, end, date_of(surgery, day), date_of(surgery, day + life - 1), taken)
        for (day, taken), end in zip(bottles, ends, strict=True)
    )


def _last_use(rows: Sequence[Row], opened: int, following: int) -> int:
    """The last day with drops from ``opened`` to before the day the next bottle is opened."""
    return max(day for day in range(opened, max(following, opened + 1)) if any(row.drops_on(day) for row in rows))


def _units(rows: Iterable[Row]) -> int:
    """Unit doses: one for each time, never kept for the next."""
    return sum(sum(phase.times_a_day * phase.days for phase in row.phases) + row.drops_before_surgery for row in rows)


def _drops_per_ml(drug: Drug, settings: DropSettings) -> Fraction:
    return _exact(drug.drops_per_ml if drug.drops_per_ml is not None else settings.drops_per_ml)


def _exact(number: float) -> Fraction:
    return Fraction(repr(number))
