"""The drop plan worked out the slow way: day by day, drop by drop, with nothing of the program but its inputs.

Every line is a drug and an eye with a dictionary from dates to doses; a change strikes out the dates that follow it.
Nothing is cut, joined or counted by formula. Compared with the program in ``tests/property/test_slow_engine.py``.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any

from consent.case import DropChange, OwnDrop, Side
from consent.drops.formulary import Drug
from consent.drops.regimens import Regimen

ONE_DAY = dt.timedelta(days=1)
QUARTER, EVENING_FROM = 15, 18 * 60
PLACES = {"solution": 0, "suspension": 1, "emulsion": 1, "gel": 2, "ointment": 3}


class DoesNotFit(Exception):
    """The doses do not fit the hours."""


@dataclass(frozen=True)
class Dose:
    """What one drug gives one eye on one date."""

    times: int
    drops: int
    bedtime: bool
    evening: bool = False


@dataclass
class Line:
    """One drug into one eye: its doses by date, and the drops in the hours before ``surgery``."""

    number: int
    drug: Drug
    eye: Side
    surgery: dt.date
    doses: dict[dt.date, Dose] = field(default_factory=dict)
    before: dict[dt.date, int] = field(default_factory=dict)

    def on(self, date: dt.date) -> int:
        """Drops on ``date``."""
        dose = self.doses.get(date)
        return (dose.times * dose.drops if dose else 0) + self.before.get(date, 0)

    def dates(self) -> list[dt.date]:
        """Dates with a drop, in order."""
        return sorted({*self.doses, *self.before})


@dataclass(frozen=True)
class Given:
    """One drop: its date and clock time (minutes of the day; ``None`` where nobody has said), its eye and its drug."""

    date: dt.date
    minute: int | None
    eye: Side
    drug: str
    number: int


@dataclass
class Bottle:
    """One bottle: the dates of its drops, and the last date it may be used."""

    opened: dt.date
    discard_after: dt.date
    drops: int = 0


@dataclass(frozen=True)
class Inputs:
    """All that a plan follows from; ``order`` and ``settings`` are the program's own inputs, read by name."""

    order: Any
    settings: Any
    marks: Any
    regimens: Mapping[str, Regimen]
    formulary: Mapping[str, Drug]


@dataclass(frozen=True)
class SlowPlan:
    """Every drop in order, the lines, and the bottles of each drug and eye (or drug, where eyes share)."""

    drops: list[Given]
    lines: list[Line]
    bottles: dict[tuple[str, tuple[Side, ...]], list[Bottle]]
    units: dict[tuple[str, tuple[Side, ...]], int]

    def counts(self) -> dict[tuple[dt.date, str, Side], int]:
        """Drops of each date, drug and eye."""
        return dict(Counter((drop.date, drop.drug, drop.eye) for drop in self.drops))


def slow_plan(inputs: Inputs) -> SlowPlan:
    """Return the plan of ``inputs``; raises ``DoesNotFit``."""
    lines = all_lines(inputs)
    drops: list[Given] = []
    for date in all_dates(lines):
        drops += drops_of_the_day(lines, date, inputs)
    bottles, units = all_bottles(lines, inputs)
    return SlowPlan(drops, lines, bottles, units)


def all_dates(lines: list[Line]) -> Iterator[dt.date]:
    """Every date from the first drop to the last."""
    dates = [date for line in lines for date in line.dates()]
    if dates:
        date = min(dates)
        while date <= max(dates):
            yield date
            date += ONE_DAY


# Who gets what, on which date


def all_lines(inputs: Inputs) -> list[Line]:
    """The lines, by number: the fellow eye's and the long-standing ones first where there is a fellow eye."""
    order = inputs.order
    this = course(inputs, order.regimen, order.side, order.surgery, order.start)
    fellow: list[Line] = []
    if order.other_eye is not None:
        regimen, operated_on = order.other_eye
        fellow = course(inputs, regimen, order.side.other, operated_on, None)
    last = order.surgery + inputs.settings.long_standing_days * ONE_DAY
    for line in this + fellow:
        last = max([last, *line.dates()])
    for change in order.changes:
        for item in inputs.regimens[change.regimen].items:
            for step in item.steps:
                if step.from_day + step.days - 1 >= 1:
                    last = max(last, change.on + (step.from_day + step.days - 2) * ONE_DAY)
    for drop in order.own_drops:
        if drop.pause_until is not None:
            if drop.pause_until > order.surgery + 120 * ONE_DAY:
                raise DoesNotFit
            last = max(last, drop.pause_until + 13 * ONE_DAY)
    begin = order.surgery
    if order.other_eye is not None:
        begin = min(begin, order.other_eye[1])
    own = long_standing(inputs, order.own_drops, begin, last)
    in_order = [*fellow, *own, *this] if fellow else [*this, *own]
    for place, line in enumerate(in_order):
        line.number = place + 1
    mine = list(this)
    free = len(in_order) + 1
    for change in order.changes:
        free = after_change(inputs, mine, change, free)
    lines = [line for line in [*fellow, *own, *mine] if line.dates()]
    lines.sort(key=lambda line: line.number)
    return lines


def course(inputs: Inputs, regimen_id: str, side: Side, surgery: dt.date, start: Any) -> list[Line]:
    """The lines of a regimen whose day 0 is ``surgery``."""
    regimen = inputs.regimens[regimen_id]
    lines = []
    for item in regimen.items:
        for eye in eyes(item.eyes, side):
            line = Line(0, inputs.formulary[item.drug], eye, surgery)
            for step in item.steps:
                for place in range(step.days):
                    date = surgery + (step.from_day + place) * ONE_DAY
                    line.doses[date] = Dose(step.times_a_day, step.drops_per_dose, step.at_bedtime)
            first = item.steps[0]
            if (start or regimen.start) == "evening of surgery" and eye is side and first.from_day == 1:
                usual = own_minutes(first.times_a_day, hours(inputs), first.at_bedtime)
                left = [minute for minute in usual if minute >= evening(inputs)[0]]
                if left:
                    line.doses[surgery] = Dose(len(left), first.drops_per_dose, first.at_bedtime, evening=True)
            if item.drops_before_surgery:
                line.before[surgery] = item.drops_before_surgery
            lines.append(line)
    return lines


def eyes(word: str, side: Side) -> list[Side]:
    """The eyes an item is for, the operated one first."""
    if word == "operated":
        return [side]
    if word == "other":
        return [side.other]
    return [side, side.other]


def long_standing(inputs: Inputs, own: tuple[OwnDrop, ...], begin: dt.date, last: dt.date) -> list[Line]:
    """A line for each drug and eye, with doses from the day after ``begin`` until ``last``; after a pause, again."""
    surgery = inputs.order.surgery
    lines = []
    for drop in own:
        for eye in drop.sides:
            line = Line(0, inputs.formulary[drop.drug], eye, surgery)
            date = begin + ONE_DAY
            while date <= last and drop.decision in ("continue", "pause"):
                if drop.pause_until is None or date >= drop.pause_until:
                    line.doses[date] = Dose(drop.times_a_day, drop.drops_per_dose, drop.at_bedtime)
                date += ONE_DAY
            lines.append(line)
    return lines


def after_change(inputs: Inputs, mine: list[Line], change: DropChange, free: int) -> int:
    """Strike out all from the day of ``change`` on and write the new regimen in; return the next free number."""
    order = inputs.order
    for line in mine:
        for date in list(line.doses):
            if date >= change.on:
                del line.doses[date]
    for item in inputs.regimens[change.regimen].items:
        for eye in eyes(item.eyes, order.side):
            found = {}
            for step in item.steps:
                for day in range(step.from_day, step.from_day + step.days):
                    if day >= 1:
                        date = change.on + (day - 1) * ONE_DAY
                        found[date] = Dose(step.times_a_day, step.drops_per_dose, step.at_bedtime)
            if not found:
                continue
            for line in mine:
                if line.drug.id == item.drug and line.eye is eye:
                    line.doses.update(found)
                    break
            else:
                mine.append(Line(free, inputs.formulary[item.drug], eye, order.surgery, found))
                free += 1
    mine[:] = [line for line in mine if line.dates()]
    return free


# Which clock times


def hours(inputs: Inputs) -> tuple[int, int, tuple[int, ...]]:
    """First and last usable minute of the day, and the landmarks between them."""
    first, last = minutes(inputs.order.waking_from), minutes(inputs.order.waking_to)
    while first % QUARTER:
        first += 1
    while last % QUARTER:
        last -= 1
    marks = []
    for name in ("breakfast", "mid_morning", "midday_meal", "afternoon", "sunset", "evening_meal"):
        mark = minutes(getattr(inputs.marks, name))
        if inputs.order.by_landmarks and mark - first > 30 and last - mark > 30:
            marks.append(mark)
    return first, last, tuple(marks)


def evening(inputs: Inputs) -> tuple[int, int, tuple[int, ...]]:
    """The same for what is left of the day of surgery."""
    first, last, marks = hours(inputs)
    first = max(first, EVENING_FROM)
    return first, last, tuple(mark for mark in marks if first < mark < last)


def minutes(clock: dt.time) -> int:
    """Minutes since midnight."""
    return 60 * clock.hour + clock.minute


@cache
def own_minutes(times: int, day: tuple[int, int, tuple[int, ...]], bedtime: bool) -> tuple[int, ...]:
    """The times of a drug by itself."""
    first, last, marks = day
    if last < first or (last - first) // QUARTER < times - 1:
        raise DoesNotFit
    if times == 1:
        return (last,) if bedtime else (first,)
    if marks or times == 2:
        best = None
        for inner in picks(marks, times - 2):
            choice = (first, *inner, last)
            if is_even_enough(choice) and (best is None or unevenness(choice) < unevenness(best)):
                best = choice
        if best:
            return best
    return tuple(nearest_quarter(first, (last - first) * place, times - 1) for place in range(times))


def nearest_quarter(first: int, minutes_on: int, shared_by: int) -> int:
    """The quarter of an hour nearest to ``first`` + ``minutes_on`` / ``shared_by``, the later one on a tie."""
    quarter = first
    while (2 * (quarter - first) + QUARTER) * shared_by <= 2 * minutes_on:
        quarter += QUARTER
    return quarter


def picks(things: tuple[int, ...], how_many: int) -> Iterator[tuple[int, ...]]:
    """Every choice of so many things, in order, earlier ones first."""
    if how_many == 0:
        yield ()
        return
    for place, thing in enumerate(things):
        for rest in picks(things[place + 1 :], how_many - 1):
            yield (thing, *rest)


def gaps(choice: tuple[int, ...]) -> list[int]:
    """Minutes between neighbours."""
    return [choice[place + 1] - choice[place] for place in range(len(choice) - 1)]


def unevenness(choice: tuple[int, ...]) -> int:
    """Longest gap less the shortest."""
    return max(gaps(choice)) - min(gaps(choice))


def is_even_enough(choice: tuple[int, ...]) -> bool:
    """Whether no gap is more than twice another."""
    return all(one <= 2 * other for one in gaps(choice) for other in gaps(choice))


@cache
def shared_minutes(own: tuple[int, ...], grid: tuple[int, ...]) -> tuple[int, ...]:
    """The even enough choice from ``grid`` nearest to ``own``, the earlier on a tie; else ``own``."""
    best, least = own, None
    for choice in picks(grid, len(own)):
        away = sum(abs(choice[place] - own[place]) for place in range(len(own)))
        if (least is None or away < least) and is_even_enough(choice):
            best, least = choice, away
    return best


def times_of_the_day(lines: list[Line], date: dt.date, inputs: Inputs) -> dict[int, tuple[int, ...]]:
    """The clock times of every line that has any on ``date``, by its number."""
    times: dict[int, tuple[int, ...]] = {}
    grids: dict[bool, tuple[int, ...]] = {True: (), False: ()}
    for line in lines:
        dose = line.doses.get(date)
        if dose is None:
            continue
        operated_on = inputs.order.surgery
        if line.eye is not inputs.order.side:
            operated_on = inputs.order.other_eye[1] if inputs.order.other_eye else None
        if date == operated_on and not dose.evening:
            continue
        day = evening(inputs) if dose.evening else hours(inputs)
        times[line.number] = own_minutes(dose.times, day, dose.bedtime)
        if not dose.bedtime and len(times[line.number]) > len(grids[dose.evening]):
            grids[dose.evening] = times[line.number]
    if inputs.settings.times == "even":
        return times
    for line in lines:
        if line.number in times and not line.doses[date].bedtime:
            times[line.number] = shared_minutes(times[line.number], grids[line.doses[date].evening])
    return times


def drops_of_the_day(lines: list[Line], date: dt.date, inputs: Inputs) -> list[Given]:
    """Every drop of ``date`` in the order it is given, those without a clock time last."""
    times = times_of_the_day(lines, date, inputs)
    drops: list[Given] = []
    ended: dict[Side, int] = {}
    for sitting in sorted({minute for clocks in times.values() for minute in clocks}):
        for eye in Side:
            given = list(one_eye([line for line in lines if line.eye is eye], date, sitting, times, inputs))
            if not given:
                continue
            if eye in ended and sitting - ended[eye] < inputs.settings.gap_minutes:
                raise DoesNotFit
            ended[eye] = max(drop.minute or 0 for drop in given)
            if ended[eye] >= 24 * 60:
                raise DoesNotFit
            drops += given
    timed = Counter(drop.number for drop in drops)
    for line in lines:
        for _ in range(line.on(date) - timed[line.number]):
            drops.append(Given(date, None, line.eye, line.drug.id, line.number))
    return drops


def one_eye(
    lines: list[Line], date: dt.date, sitting: int, times: dict[int, tuple[int, ...]], inputs: Inputs
) -> Iterator[Given]:
    """The drops of one sitting into one eye: thin ones first, ointment last, one after the other."""
    clock = None
    for place in range(4):
        for line in lines:
            if PLACES[line.drug.form] != place or sitting not in times.get(line.number, ()):
                continue
            for _ in range(line.doses[date].drops):
                if clock is None:
                    clock = sitting
                elif line.drug.form == "ointment":
                    clock += max(inputs.settings.gap_minutes, inputs.settings.ointment_gap_minutes)
                else:
                    clock += inputs.settings.gap_minutes
                yield Given(date, clock, line.eye, line.drug.id, line.number)


# How many bottles


def all_bottles(
    lines: list[Line], inputs: Inputs
) -> tuple[dict[tuple[str, tuple[Side, ...]], list[Bottle]], dict[tuple[str, tuple[Side, ...]], int]]:
    """Bottles and single doses of each drug and eye, opened one after the other as the drops are given."""
    sharing: dict[Any, list[Line]] = {}
    for line in lines:
        key = (line.drug.id, line.eye) if inputs.settings.fresh_bottle_per_eye else line.drug.id
        sharing.setdefault(key, []).append(line)
    bottles, units = {}, {}
    for group in sharing.values():
        key = (group[0].drug.id, tuple(line.eye for line in group))
        if group[0].drug.unit_dose:
            units[key] = sum(
                sum(dose.times for dose in line.doses.values()) + sum(line.before.values()) for line in group
            )
        else:
            bottles[key] = opened_in_turn(group, inputs.settings)
    return bottles, units


def opened_in_turn(group: list[Line], settings: Any) -> list[Bottle]:
    """The bottles, drop by drop."""
    drug = group[0].drug
    life = (drug.days_after_opening or settings.days_after_opening) - 1
    full = drops_in_a_bottle(drug, settings)
    bottles: list[Bottle] = []
    for date in all_dates(group):
        for _ in range(sum(line.on(date) for line in group)):
            if not bottles or date > bottles[-1].discard_after or bottles[-1].drops == full:
                bottles.append(Bottle(date, date + life * ONE_DAY))
            bottles[-1].drops += 1
    return bottles


def drops_in_a_bottle(drug: Drug, settings: Any) -> int:
    """Drops that fit what a bottle holds, each with what is lost beside it, one after the other."""
    lost = Fraction(str(settings.wastage_percent if drug.wastage_percent is None else drug.wastage_percent)) / 100
    if drug.bottle_ml is None:
        holds = Fraction(drug.doses_per_tube or 0)
    else:
        per_ml = settings.drops_per_ml if drug.drops_per_ml is None else drug.drops_per_ml
        holds = Fraction(str(drug.bottle_ml)) * Fraction(str(per_ml))
    return so_many_fit(holds, 1 + lost)


@cache
def so_many_fit(holds: Fraction, each: Fraction) -> int:
    """How often ``each`` fits into ``holds``, counted."""
    drops, used = 0, each
    while used <= holds:
        drops += 1
        used += each
    return drops
