"""What must hold for every plan of drops, as plain functions of the order and the plan.

Each works from what was ordered, by closed formulas or by looking at every dose; none asks the engine what is right.
``ALL`` is run on the 20,000 random orders too.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from random import Random

from consent.case import Side
from consent.drops import DaySessions, DropPlan, Ends, Form, Row, Session
from consent.drops.events import make_runs
from consent.drops.regimens import Item, Regimen, Step
from consent.errors import DropsError
from tests.drops.slow_engine import drops_in_a_bottle, is_even_enough, minutes, own_minutes, picks
from tests.property.random_orders import Ordered, random_order

Check = Callable[["Made"], None]
FOREVER = 10_000
STRENGTH = re.compile(r"\d+(\.\d*[1-9])?(%| mg/mL| mg/g| microgram/mL| IU/mL)")


@dataclass(frozen=True)
class Made:
    """A plan and the order it was made of."""

    ordered: Ordered
    plan: DropPlan
    seed: int | None = None

    @cached_property
    def rows(self) -> dict[int, Row]:
        """Rows by number."""
        return {row.number: row for row in self.plan.rows}

    @cached_property
    def kinds(self) -> list[tuple[DaySessions, dict[int, tuple[int, ...]]]]:
        """One day of each kind, with the clock times (minutes) of every row that has any, by its number."""
        seen, found = set(), []
        for day, counts in zip(self.plan.sessions, self.plan.days, strict=True):
            key = (day.sessions, day.moved, day.untimed, counts.counts)
            if key not in seen:
                seen.add(key)
                found.append((day, clocks_of(day)))
        return found

    def fellow(self, row: Row) -> bool:
        """Whether the row comes from the fellow eye's course, which is numbered first."""
        other = self.ordered.order.other_eye
        items = self.ordered.regimens[other[0]].items if other else ()
        return row.number <= sum(2 if item.eyes == "each" else 1 for item in items)

    def surgery_day(self, row: Row) -> int:
        """Day of the operation the row was ordered for."""
        order = self.ordered.order
        return (order.other_eye[1] - order.surgery).days if order.other_eye and self.fellow(row) else 0

    def is_clocked(self, row: Row, day: int) -> bool:
        """Whether the row has clock times on ``day``: not on the day of its eye's surgery, but for its evening."""
        phase = row.phase_on(day)
        days = self.ordered.order.surgery_days
        return phase is not None and (day != days.get(row.side) or phase.evening_only)


def clocks_of(day: DaySessions) -> dict[int, tuple[int, ...]]:
    """Clock times in minutes of every row that has any on ``day``."""
    found: dict[int, list[int]] = {}
    for sitting in day.sessions:
        for number in dict.fromkeys(number for number, _ in sitting.drops):
            found.setdefault(number, []).append(minutes(sitting.at))
    return {number: tuple(clocks) for number, clocks in found.items()}


@dataclass(frozen=True)
class Entered:
    """One step as entered, for one eye: its days counted from the operation at hand, cut where a change ends it."""

    drug: str
    side: Side
    step: Step
    first: int
    last: int

    @property
    def drops(self) -> int:
        """times x drops per dose x days."""
        return self.step.times_a_day * self.step.drops_per_dose * (self.last - self.first + 1)


def windows(ordered: Ordered) -> Iterator[tuple[Regimen, Side, int, int, int]]:
    """Every regimen in force: itself, the eye it is for, its day 0, and its first and last day in force."""
    order = ordered.order
    days = [(change.on - order.surgery).days for change in order.changes]
    ends = [*days, FOREVER]
    yield ordered.regimens[order.regimen], order.side, 0, -FOREVER, ends[0] - 1
    for place, change in enumerate(order.changes):
        yield ordered.regimens[change.regimen], order.side, days[place] - 1, days[place], ends[place + 1] - 1
    if order.other_eye:
        regimen, operated_on = order.other_eye
        yield (
            ordered.regimens[regimen],
            order.side.other,
            (operated_on - order.surgery).days,
            -FOREVER,
            FOREVER,
        )


def sides_of(item: Item, side: Side) -> tuple[Side, ...]:
    """The eyes of an item."""
    return {"operated": (side,), "other": (side.other,), "each": (side, side.other)}[item.eyes]


def entered(ordered: Ordered) -> list[Entered]:
    """Every step in force, once for each eye; steps that a change struck out whole are left out."""
    found = []
    for regimen, side, day_0, first, last in windows(ordered):
        for item in regimen.items:
            for eye in sides_of(item, side):
                for step in item.steps:
                    start = max(first, day_0 + step.from_day)
                    end = min(last, day_0 + step.from_day + step.days - 1)
                    if start <= end:
                        found.append(Entered(item.drug, eye, step, start, end))
    return found


def before_surgery(ordered: Ordered) -> dict[tuple[int, str, Side], int]:
    """Drops in the hours before an operation, by day, drug and eye."""
    found: Counter[tuple[int, str, Side]] = Counter()
    for regimen, side, day_0, first, _ in windows(ordered):
        if first == -FOREVER:
            for item in regimen.items:
                for eye in sides_of(item, side):
                    found[day_0, item.drug, eye] += item.drops_before_surgery
    return dict(+found)


def evening_phases(plan: DropPlan) -> int:
    """Drops of the evenings of surgery."""
    return sum(phase.drops for row in plan.rows for phase in row.phases if phase.evening_only)


# Structure


def rows_are_complete(made: Made) -> None:
    """1. Generic drug, strength with unit, form, eye, drops each time, frequency, first and last date, why it ends."""
    plan = made.plan
    for row in plan.rows:
        assert row.drug.components
        for component in row.drug.components:
            assert component.generic.strip()
            assert STRENGTH.fullmatch(component.strength)
        assert row.drug.form in Form
        assert row.ends in Ends
        assert row.first <= row.last
        for phase in row.phases:
            assert phase.times_a_day >= 1
            assert phase.drops_per_dose >= 1
            assert phase.first <= phase.last


def eye_is_one_word(made: Made) -> None:
    """2. Every eye ordered has its row under that eye, right or left and nothing else; "each" has both."""
    ordered, plan = made.ordered, made.plan
    if ordered.order.changes:
        return
    own = {
        (drop.drug, side)
        for drop in ordered.order.own_drops
        for side in drop.sides
        if drop.decision in ("continue", "pause")
    }
    expected = {(step.drug, step.side) for step in entered(ordered)} | own
    expected |= {(drug, side) for _, drug, side in before_surgery(ordered)}
    assert {(row.drug.id, row.side) for row in plan.rows} == expected


def no_eye_beyond_those_entered(made: Made) -> None:
    """3. A drug is in an eye only if entered so; "each" makes two rows."""
    ordered, plan = made.ordered, made.plan
    own = {(drop.drug, side) for drop in ordered.order.own_drops for side in drop.sides}
    allowed = {(step.drug, step.side) for step in entered(ordered)} | own
    allowed |= {(drug, side) for _, drug, side in before_surgery(ordered)}
    allowed |= {(row.drug.id, row.side) for row in plan.rows if row.phases and row.phases[0].evening_only}
    rows = {(row.drug.id, row.side) for row in plan.rows}
    assert rows <= allowed
    assert allowed - own <= rows


def dates_follow_surgery(made: Made) -> None:
    """4. Day n is n calendar days after surgery, by ordinal numbers."""
    ordered, plan = made.ordered, made.plan
    origin = ordered.order.surgery.toordinal()
    for day in (*plan.days, *plan.sessions):
        assert day.date.toordinal() - origin == day.number
    for row in plan.rows:
        assert (row.first.toordinal() - origin, row.last.toordinal() - origin) == (row.first_day, row.last_day)
        for phase in row.phases:
            assert phase.first.toordinal() - origin == phase.first_day
            assert phase.last.toordinal() - origin == phase.last_day


def starts_of(ordered: Ordered, flag: str) -> set[tuple[str, int]]:
    """Drug and day on which a step so flagged begins."""
    return {
        (item.drug, day_0 + step.from_day)
        for regimen, _, day_0, _, _ in windows(ordered)
        for item in regimen.items
        for step in item.steps
        if getattr(step, flag)
    }


def starts_of_changes(ordered: Ordered) -> set[tuple[str, int]]:
    """Drug and day on which it begins under a change."""
    return {
        (item.drug, max(first, day_0 + item.steps[0].from_day))
        for regimen, _, day_0, first, _ in windows(ordered)
        if first != -FOREVER
        for item in regimen.items
    } | {
        (item.drug, day_0 + step.from_day)
        for regimen, _, day_0, first, _ in windows(ordered)
        if first != -FOREVER
        for item in regimen.items
        for before, step in pairwise(item.steps)
        if before.last_day < 1 <= step.from_day
    }


def phases_touch(made: Made) -> None:
    """5. Next start = previous end + 1, unless a pause is intended or a change comes between; never an overlap."""
    ordered, plan = made.ordered, made.plan
    paused = starts_of(ordered, "pause_before") | starts_of_changes(ordered)
    for row in plan.rows:
        for before, after in pairwise(row.phases):
            assert after.first_day > before.last_day
            assert after.first_day == before.last_day + 1 or (row.drug.id, after.first_day) in paused


def courses_never_rise(made: Made) -> None:
    """6. Drops a day never rise, unless marked, from the evening of surgery to day 1, or by a change."""
    ordered, plan = made.ordered, made.plan
    risen = starts_of(ordered, "more_on_purpose") | starts_of_changes(ordered)
    for row in plan.rows:
        for before, after in pairwise(row.phases):
            rises = after.drops_a_day > before.drops_a_day
            assert not rises or before.evening_only or (row.drug.id, after.first_day) in risen


def every_row_ends(made: Made) -> None:
    """7. Every row has a last date with a drop, and the plan ends with the last of them."""
    ordered, plan = made.ordered, made.plan
    for row in plan.rows:
        assert row.drops_on(row.last_day) > 0
        assert row.ends is not Ends.CHANGED or ordered.order.changes
    assert plan.last == max((row.last for row in plan.rows), default=None)


def nothing_too_early(made: Made) -> None:
    """8. No drop before a step, the evening of surgery or the drops before surgery; none by the clock before 18:00."""
    ordered, plan = made.ordered, made.plan
    starts: dict[tuple[str, Side], int] = {}
    for step in entered(ordered):
        key = (step.drug, step.side)
        starts[key] = min(starts.get(key, FOREVER), step.first)
    for day, drug, side in before_surgery(ordered):
        starts[drug, side] = min(starts.get((drug, side), FOREVER), day)
    for row in plan.rows:
        evening = [phase.first_day for phase in row.phases if phase.evening_only]
        is_own = any(drop.drug == row.drug.id and row.side in drop.sides for drop in ordered.order.own_drops)
        own = [first_of_own(ordered)] if is_own else []
        assert row.first_day >= min([*evening, *own, starts.get((row.drug.id, row.side), FOREVER)])
        for phase in row.phases:
            assert not phase.evening_only or phase.first_day == phase.last_day
    operated = {row.number for row in plan.rows if row.side is plan.side}
    for sitting in (sitting for day in plan.sessions if day.number == 0 for sitting in day.sessions):
        assert sitting.at >= dt.time(18) or operated.isdisjoint(number for number, _ in sitting.drops)


def drops_before_surgery_stand_apart(made: Made) -> None:
    """9. Drops before surgery have no clock time and are not in the total from day 1."""
    ordered, plan = made.ordered, made.plan
    before = before_surgery(ordered)
    for day in plan.sessions:
        phases = [
            (row, phase)
            for row in (plan.rows if day.number in (0, ordered.other_day) else ())
            if (phase := row.phase_on(day.number)) and not made.is_clocked(row, day.number)
        ]
        apart = sum(count for (number, _, _), count in before.items() if number == day.number)
        assert sum(count for _, count in day.untimed) == apart + sum(phase.drops_a_day for _, phase in phases)
        if day.number == 0:
            timed = Counter(number for sitting in day.sessions for number, _ in sitting.drops)
            for row in [row for row in plan.rows if row.side is plan.side]:
                assert timed[row.number] == sum(p.drops for p in row.phases if p.evening_only and p.holds(0))
    assert plan.total_from_day_1 == plan.total - sum(day.total for day in plan.days if day.number <= 0)


# Counting


def counts_are_the_formula(made: Made) -> None:
    """10. Sum over days = sum over steps of times x drops x days x eyes, with the drops before and on the evening."""
    ordered, plan = made.ordered, made.plan
    by_formula = sum(step.drops for step in entered(ordered)) + sum(before_surgery(ordered).values())
    by_formula += own_by_formula(ordered)
    assert sum(sum(day.counts) for day in plan.days) == by_formula + evening_phases(plan)
    assert plan.total == sum(row.total for row in plan.rows) == sum(supply.drops for supply in plan.supplies)


def first_of_own(ordered: Ordered) -> int:
    """The day after the first of both operations: long-standing drops are on the calendar from then on."""
    return 1 if ordered.other_day is None else min(1, ordered.other_day + 1)


def own_by_formula(ordered: Ordered) -> int:
    """Drops of the long-standing drops: times x drops x days x eyes, to the clinic's six weeks or the last course."""
    order, settings = ordered.order, ordered.clinic.drops
    ends = [settings.long_standing_days, *(day for day, _, _ in before_surgery(ordered))]
    ends += [(d.pause_until - order.surgery).days + 13 for d in order.own_drops if d.pause_until]
    for regimen, _, day_0, first, _ in windows(ordered):
        lasts = [day_0 + step.last_day for item in regimen.items for step in item.steps]
        ends += [last for last in lasts if last >= first]
    total = 0
    for drop in order.own_drops:
        over = (drop.pause_until - order.surgery).days if drop.pause_until else first_of_own(ordered)
        first = max(first_of_own(ordered), over)
        if drop.decision in ("continue", "pause"):
            total += drop.times_a_day * drop.drops_per_dose * max(0, max(ends) - first + 1) * len(drop.sides)
    return total


def daily_totals_add_up(made: Made) -> None:
    """11. Total of a day = sum of its rows; a row's days = the row's total."""
    plan = made.plan
    for day in plan.days:
        assert day.total == sum(day.counts) == sum(row.drops_on(day.number) for row in plan.rows)
    for column, row in enumerate(plan.rows):
        assert sum(day.counts[column] for day in plan.days) == row.total


def silent_days_are_noughts(made: Made) -> None:
    """12. Every day from the first drop to the last is there, a silent one with 0; the first silent day is last + 1."""
    plan = made.plan
    if plan.days:
        numbers = [day.number for day in plan.days]
        assert numbers == list(range(numbers[0], numbers[-1] + 1)) == [day.number for day in plan.sessions]
        assert plan.days[0].total > 0
        assert plan.days[-1].total > 0
    for row in plan.rows:
        assert row.drops_on(row.last_day + 1) == 0 == row.drops_on(row.first_day - 1)
    assert sum((span.last.number - span.first.number + 1) * span.total for span in plan.spans) == plan.total


def as_many_times_as_doses(made: Made) -> None:
    """13. Clock times of a drug on a day = its frequency that day; every drop has a time or is named as without."""
    plan = made.plan
    for day, clocks in made.kinds:
        untimed = Counter(dict(day.untimed))
        timed = Counter(number for sitting in day.sessions for number, _ in sitting.drops)
        for row in plan.rows:
            clocked = made.is_clocked(row, day.number)
            assert len(clocks.get(row.number, ())) == (row.times_on(day.number) if clocked else 0)
            assert timed[row.number] + untimed[row.number] == row.drops_on(day.number)


def runs_hold_every_drop(made: Made) -> None:
    """13, on a telephone: sittings drawn together over days hold every timed drop once, from the print's day on."""
    plan = made.plan
    since = plan.surgery + dt.timedelta(days=plan.issued_from)
    told: Counter[tuple[dt.datetime, int, int]] = Counter()
    for run in make_runs(plan, since):
        for place in range(run.days):
            for row, offset in run.drops:
                told[run.first + dt.timedelta(days=place), row.number, offset] += 1
    given: Counter[tuple[dt.datetime, int, int]] = Counter()
    for day in plan.sessions:
        for sitting in day.sessions if day.date >= since else ():
            given.update((dt.datetime.combine(day.date, sitting.at), *drop) for drop in sitting.drops)
    assert told == given


# Time of day


def waking_minutes(ordered: Ordered) -> tuple[int, int]:
    """Waking and bed in minutes."""
    return minutes(ordered.order.waking_from), minutes(ordered.order.waking_to)


def times_inside_the_day(made: Made) -> None:
    """16. Sittings begin between waking and bed and end before midnight."""
    ordered = made.ordered
    first, last = waking_minutes(ordered)
    for day, _ in made.kinds:
        for sitting in day.sessions:
            assert first <= minutes(sitting.at) <= last
            assert minutes(sitting.at) % 15 == 0
            assert minutes(sitting.at) + sitting.minutes < 24 * 60


def own_of(ordered: Ordered, plan: DropPlan, row: Row, day: int) -> tuple[int, ...]:
    """The row's own times on ``day``, worked out by the slow engine."""
    phase = row.phase_on(day)
    assert phase is not None
    first, last = waking_minutes(ordered)
    hours = (first + -first % 15, last - last % 15)
    if phase.evening_only:
        hours = (max(hours[0], 18 * 60), hours[1])
    marks = tuple(minutes(at) for _, at in plan.landmarks if hours[0] < minutes(at) < hours[1])
    return own_minutes(phase.times_a_day, (*hours, marks if plan.by_landmarks else ()), phase.at_bedtime)


def gaps_are_even(made: Made) -> None:
    """17. Alone a drug is even to 15 minutes; moved or on landmarks, no gap is over twice another; moved is told."""
    ordered, plan = made.ordered, made.plan
    for day, times in made.kinds:
        for number, clocks in times.items():
            row = made.rows[number]
            own = own_of(ordered, plan, row, day.number)
            assert (row.number in day.moved) == (clocks != own)
            gaps = [after - before for before, after in pairwise(clocks)]
            assert min(gaps, default=1) > 0
            if clocks == own and not plan.by_landmarks:
                assert not gaps or max(gaps) - min(gaps) <= 15
            assert is_even_enough(clocks) or clocks == own
            assert not day.moved or ordered.clinic.drops.times == "fewest sessions"


def times_lie_on_landmarks(made: Made) -> None:
    """17, landmarks: where there is an even enough choice of them, from waking to bed, a drug alone is on them."""
    ordered, plan = made.ordered, made.plan
    marks = [minutes(at) for _, at in plan.landmarks]
    assert [marks[0], marks[-1]] == [waking_minutes(ordered)[0] + -waking_minutes(ordered)[0] % 15, marks[-1]]
    for day, times in made.kinds if plan.by_landmarks else ():
        for number, clocks in times.items():
            phase = made.rows[number].phase_on(day.number)
            if number in day.moved or phase is None or phase.evening_only or phase.times_a_day == 1:
                continue
            choices = [c for c in picks(tuple(marks), len(clocks)) if c[0] == marks[0] and c[-1] == marks[-1]]
            assert any(map(is_even_enough, choices)) == (set(clocks) <= set(marks) and is_even_enough(clocks))


def into_one_eye(made: Made, sitting: Session, side: Side) -> list[tuple[Row, int]]:
    """The drops of a sitting into one eye, in order, with their minutes."""
    drops = [(made.rows[number], offset) for number, offset in sitting.drops]
    return [(row, offset) for row, offset in drops if row.side is side]


def drops_lie_apart(made: Made) -> None:
    """18. Two drops into one eye 5 minutes apart or more, ointment last and 10 or more; so are sittings."""
    ordered = made.ordered
    settings = ordered.clinic.drops
    for day, _ in made.kinds:
        for side in Side:
            given = [
                (minutes(sitting.at) + offset, row)
                for sitting in day.sessions
                for row, offset in into_one_eye(made, sitting, side)
            ]
            for (before, _), (after, _) in pairwise(given):
                assert after - before >= max(5, settings.gap_minutes)
            for sitting in day.sessions:
                drops = into_one_eye(made, sitting, side)
                for (one, before), (row, after) in pairwise(drops):
                    assert one.drug.form is not Form.OINTMENT or row.drug.form is Form.OINTMENT
                    assert row.drug.form is not Form.OINTMENT or after - before >= 10


PLACE = {"solution": 0, "suspension": 1, "emulsion": 1, "gel": 2, "ointment": 3}


def thin_drops_first(made: Made) -> None:
    """19. Solution, then suspension or emulsion, gel, ointment; ties by the number of the bottle."""
    for day, _ in made.kinds:
        for sitting in day.sessions:
            for side in Side:
                order = [(PLACE[row.drug.form], row.number) for row, _ in into_one_eye(made, sitting, side)]
                assert order == sorted(order)


def fewest_sittings(made: Made) -> None:
    """20. Sittings = most doses of a drug that day; a bedtime dose may add one, and a drug that fits no even choice.

    The evening of surgery shares its sittings among its own drops.
    """
    ordered = made.ordered
    if ordered.clinic.drops.times != "fewest sessions":
        return
    for day, times in made.kinds:
        phases = {number: p for number in times if (p := made.rows[number].phase_on(day.number))}
        at_bed = {number for number, phase in phases.items() if phase.at_bedtime}
        needed: set[int] = set()
        grids: set[int] = set()
        for evening in (True, False):
            group = {number: times[number] for number, phase in phases.items() if phase.evening_only is evening}
            grid = max((clocks for number, clocks in group.items() if number not in at_bed), key=len, default=())
            grids |= set(grid)
            needed |= set(grid)
            for number, clocks in group.items():
                if number not in at_bed and not set(clocks) <= set(grid):
                    assert not any(map(is_even_enough, picks(grid, len(clocks))))
                needed |= set(clocks)
        assert [minutes(sitting.at) for sitting in day.sessions] == sorted(needed)
        assert at_bed or needed == grids or any(not set(clocks) <= grids for clocks in times.values())


def length_of_sittings(made: Made) -> None:
    """21. A sitting's length is from its first drop to its last, and the longest is given."""
    plan = made.plan
    longest = 0
    for day in plan.sessions:
        for sitting in day.sessions:
            offsets = [offset for _, offset in sitting.drops]
            assert min(offsets) == 0
            assert sitting.minutes == max(offsets)
            if day.number >= plan.issued_from:
                longest = max(longest, sitting.minutes)
    assert plan.longest_minutes == longest


# Bottles


def enough_is_handed_out(made: Made) -> None:
    """23. What the bottles hold at the planning drops per mL, after loss, covers every drop."""
    ordered, plan = made.ordered, made.plan
    for supply in plan.supplies:
        if supply.container == "unit dose":
            assert supply.count * 2 >= supply.drops
        else:
            full = drops_in_a_bottle(supply.drug, ordered.clinic.drops)
            assert supply.count * full >= supply.drops == sum(opening.drops for opening in supply.openings)
            assert all(0 < opening.drops <= full for opening in supply.openings)


def nothing_from_an_old_bottle(made: Made) -> None:
    """24. Drop by drop, none comes from a bottle after day opened + life - 1; 25. nor is one opened before it must."""
    ordered, plan = made.ordered, made.plan
    settings = ordered.clinic.drops
    for supply in plan.supplies:
        life = supply.drug.days_after_opening or settings.days_after_opening
        rows = [made.rows[number] for number in supply.rows]
        first, last = min(row.first_day for row in rows), max(row.last_day for row in rows)
        drops = [day for day in range(first, last + 1) for row in rows for _ in range(row.drops_on(day))]
        before = None
        for opening in supply.openings:
            mine, drops = drops[: opening.drops], drops[opening.drops :]
            assert mine[0] == opening.day
            assert mine[-1] <= opening.day + life - 1
            if before is not None:
                full = before.drops == drops_in_a_bottle(supply.drug, settings)
                assert full or opening.day > before.day + life - 1
            before = opening
        assert not supply.openings or not drops


def never_fewer_than_the_volume(made: Made) -> None:
    """25. Never fewer bottles than drops / drops in a bottle, rounded up."""
    ordered, plan = made.ordered, made.plan
    for supply in plan.supplies:
        if supply.openings:
            assert supply.count >= -(-supply.drops // drops_in_a_bottle(supply.drug, ordered.clinic.drops))


def bottles_carry_their_dates(made: Made) -> None:
    """26. Each bottle its open-on and discard-after date; unit doses are counted in units, one each time."""
    ordered, plan = made.ordered, made.plan
    settings = ordered.clinic.drops
    for supply in plan.supplies:
        life = supply.drug.days_after_opening or settings.days_after_opening
        for opening in supply.openings:
            assert (opening.opened - ordered.order.surgery).days == opening.day
            assert opening.discard_after - opening.opened == dt.timedelta(days=life - 1)
        if supply.drug.unit_dose:
            rows = [made.rows[number] for number in supply.rows]
            times = sum(phase.times_a_day * phase.days for row in rows for phase in row.phases)
            assert supply.count == times + sum(before_drops(row) for row in rows)
            assert (supply.openings, supply.ml, supply.container) == ((), None, "unit dose")
        else:
            assert supply.count == len(supply.openings) >= 1


def before_drops(row: Row) -> int:
    """Drops before surgery of a row."""
    return row.total - sum(phase.drops for phase in row.phases)


def eyes_do_not_share(made: Made) -> None:
    """27. With a fresh bottle for each eye no supply is for two eyes; else a drug is handed out once."""
    ordered, plan = made.ordered, made.plan
    keys = [(supply.drug.id, set(supply.sides)) for supply in plan.supplies]
    if ordered.clinic.drops.fresh_bottle_per_eye:
        assert all(len(sides) == 1 for _, sides in keys)
    else:
        assert len({drug for drug, _ in keys}) == len(keys)
    assert sorted(number for supply in plan.supplies for number in supply.rows) == sorted(r.number for r in plan.rows)


def millilitres_are_for_show(made: Made) -> None:
    """29. mL = drops / drops per mL, rounded up to 0.01; by whole drops the bottles are decided (23 to 25)."""
    ordered, plan = made.ordered, made.plan
    for supply in plan.supplies:
        if supply.drug.bottle_ml is None:
            assert supply.ml is None
        else:
            per_ml = supply.drug.drops_per_ml or ordered.clinic.drops.drops_per_ml
            assert supply.ml is not None
            assert -1e-9 < float(supply.ml) - supply.drops / per_ml < 0.01
            assert supply.ml == round(supply.ml, 2)


# Safety, changes, the other eye


def no_drop_after_its_last_day(made: Made) -> None:
    """31. Every day with a drop of an antibiotic, alone or combined, lies in a step as entered: none is stretched."""
    ordered, plan = made.ordered, made.plan
    allowed = {(s.drug, s.side, day) for s in entered(ordered) for day in range(s.first, s.last + 1)}
    allowed |= {(drug, side, day) for day, drug, side in before_surgery(ordered)}
    for row in plan.rows:
        if any(component.drug_class.is_antibiotic for component in row.drug.components):
            evenings = {phase.first_day for phase in row.phases if phase.evening_only}
            for day in set(row.days()) - evenings:
                assert (row.drug.id, row.side, day) in allowed


def own_drops_are_answered_for(made: Made) -> None:
    """33. Every long-standing drop has a row in each of its eyes, or it is told what became of it."""
    ordered, plan = made.ordered, made.plan
    rows = {(row.drug.id, row.side) for row in plan.rows}
    told = Counter((note.word, note.drug.id, note.side) for note in plan.told if note.word != "changed")
    for drop in ordered.order.own_drops:
        for side in drop.sides:
            if drop.decision == "continue" or (drop.pause_until and drop.pause_until <= plan.issued_on):
                assert (drop.drug, side) in rows
            else:
                assert told.pop((drop.decision, drop.drug, side)) == 1
    assert not told


def changes_are_told(made: Made) -> None:
    """44. A row ended by a change ends the day before it and is told; no row goes on beyond it as it was."""
    ordered, plan = made.ordered, made.plan
    days = [(change.on - ordered.order.surgery).days for change in ordered.order.changes]
    told = {note.number: note for note in plan.told if note.word == "changed"}
    for row in plan.rows:
        assert (row.number in told) == (row.ends is Ends.CHANGED)
        if row.ends is Ends.CHANGED:
            assert row.last_day < max(days)
            assert told[row.number].date == row.last
    assert plan.changed_on == tuple(change.on for change in ordered.order.changes)
    assert plan.issued_from == days[-1] if days else plan.issued_from <= 0


def numbers_are_apart(made: Made) -> None:
    """1. No two rows have one number, and rows stand in the order of their numbers."""
    plan = made.plan
    numbers = [row.number for row in plan.rows]
    assert numbers == sorted(set(numbers))
    assert min(numbers, default=1) >= 1


ALL: tuple[Check, ...] = (
    rows_are_complete,
    eye_is_one_word,
    no_eye_beyond_those_entered,
    dates_follow_surgery,
    phases_touch,
    courses_never_rise,
    every_row_ends,
    nothing_too_early,
    drops_before_surgery_stand_apart,
    counts_are_the_formula,
    daily_totals_add_up,
    silent_days_are_noughts,
    as_many_times_as_doses,
    runs_hold_every_drop,
    times_inside_the_day,
    gaps_are_even,
    times_lie_on_landmarks,
    drops_lie_apart,
    thin_drops_first,
    fewest_sittings,
    length_of_sittings,
    enough_is_handed_out,
    nothing_from_an_old_bottle,
    never_fewer_than_the_volume,
    bottles_carry_their_dates,
    eyes_do_not_share,
    millilitres_are_for_show,
    no_drop_after_its_last_day,
    own_drops_are_answered_for,
    changes_are_told,
    numbers_are_apart,
)


def check_all(ordered: Ordered, plan: DropPlan) -> None:
    """Every check on one plan."""
    made = Made(ordered, plan)
    for check in ALL:
        check(made)


@cache
def some_plans(how_many: int = 300) -> tuple[Made, ...]:
    """Plans of so many random orders from fixed seeds; those that do not fit their hours are few and left out."""
    found = []
    for seed in range(how_many):
        ordered = random_order(Random(seed))
        with suppress(DropsError):
            found.append(Made(ordered, ordered.plan(), seed))
    assert len(found) > 0.9 * how_many
    return tuple(found)


def on_every_plan(check: Check) -> None:
    """Run ``check`` on each of them; a failure names the seed of the order."""
    for made in some_plans():
        try:
            check(made)
        except AssertionError as error:
            error.add_note(f"random_order(Random({made.seed}))")
            raise
