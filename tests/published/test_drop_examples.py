"""Worked examples of whole drop plans, each figure worked out by hand in the comment beside it.

Settings unless stated: one drop per dose, 20 drops per mL, no loss, 28 days after opening (opened on day d, last used
on day d + 27), 5 mL bottles, so 100 drops a bottle. Day 0 is the day of surgery.
"""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

import consent
from consent.case import Answer, Case, Side, read_case
from consent.clinic import Clinic, DropSettings, read_clinic
from consent.drops import DropPlan, check_drops, even_times, plan_drops, plan_regimen, read_formulary
from consent.drops.spacing import Waking

EXAMPLES = Path(consent.__file__).parent / "case" / "examples"


def settings(**changed: Any) -> DropSettings:
    return DropSettings(**changed)


def clinic_with(regimen: list[dict[str, Any]] | None = None, **drops: Any) -> Clinic:
    regimens = {"example": {"title": "worked example", "items": regimen}} if regimen else {}
    return read_clinic().model_copy(update={"drops": settings(**drops), "regimens": regimens})


def item(drug: str, *steps: tuple[int, int, int], **more: Any) -> dict[str, Any]:
    rows = [{"from_day": first, "days": days, "times_a_day": times} for first, days, times in steps]
    return {"drug": drug, "steps": rows, "source": "worked example", "verified": "memory", **more}


def plan(clinic: Clinic, side: Side, surgery: dt.date, regimen: str = "example") -> DropPlan:
    return plan_regimen(clinic, regimen, side, surgery, dt.time(7), dt.time(22))


def table(made: DropPlan) -> list[tuple[int, int, tuple[int, ...], int]]:
    return [(span.first.number, span.last.number, span.counts, span.total) for span in made.spans]


def opened(made: DropPlan) -> list[list[int]]:
    return [[opening.day for opening in supply.openings] for supply in made.supplies]


def taken(made: DropPlan, supply: int) -> list[int]:
    return [opening.drops for opening in made.supplies[supply].openings]


def millilitres(made: DropPlan) -> list[Decimal | None]:
    return [supply.ml for supply in made.supplies]


def case(name: str) -> Case:
    return read_case(EXAMPLES / f"{name}.toml")


def test_worked_example_routine_eye() -> None:
    """Worked example: antibiotic 4 times a day for 7 days, steroid 4-3-2-1; Wednesday 24 February 2027."""
    made = plan(clinic_with(), Side.RIGHT, dt.date(2027, 2, 24), "weekly-4-3-2-1")
    assert table(made) == [
        (1, 7, (4, 4), 8),
        (8, 14, (0, 3), 3),
        (15, 21, (0, 2), 2),
        (22, 28, (0, 1), 1),
    ]
    assert [row.total for row in made.rows] == [28, 70]  # 4 x 7; 28 + 21 + 14 + 7
    assert made.total == 98  # 56 + 21 + 14 + 7
    # 24 February + 7 days and + 28 days; February 2027 has 28 days
    assert [row.last for row in made.rows] == [dt.date(2027, 3, 3), dt.date(2027, 3, 24)]
    assert millilitres(made) == [Decimal("1.40"), Decimal("3.50")]  # 28 / 20; 70 / 20
    assert opened(made) == [[1], [1]]  # 70 <= 100, and day 28 is the 28th day of the bottle: still allowed
    assert made.supplies[1].openings[0].discard_after == dt.date(2027, 3, 24)
    assert all(row.side is Side.RIGHT for row in made.rows)


def test_worked_example_small_incision() -> None:
    """Worked example: antibiotic 3 times a day for 14 days, steroid 6-5-4-3-2-1; Friday 25 February 2028, leap year."""
    made = plan(clinic_with(), Side.LEFT, dt.date(2028, 2, 25), "weekly-6-5-4-3-2-1")
    assert table(made) == [
        (1, 7, (3, 6), 9),
        (8, 14, (3, 5), 8),
        (15, 21, (0, 4), 4),
        (22, 28, (0, 3), 3),
        (29, 35, (0, 2), 2),
        (36, 42, (0, 1), 1),
    ]
    assert [row.total for row in made.rows] == [42, 147]  # 3 x 14; 42 + 35 + 28 + 21 + 14 + 7
    assert made.total == 189
    assert made.days[3].date == dt.date(2028, 2, 29)  # day 4
    assert [row.last for row in made.rows] == [dt.date(2028, 3, 10), dt.date(2028, 4, 7)]
    assert millilitres(made) == [Decimal("2.10"), Decimal("7.35")]
    # 42 + 35 + 4 x 5 = 97 by day 19, three more on day 20 empty the first bottle; the fourth opens the second
    assert opened(made) == [[1], [1, 20]]
    assert taken(made, 1) == [100, 47]
    assert made.supplies[1].openings[1].discard_after == dt.date(2028, 2, 25) + dt.timedelta(days=47)


def test_worked_example_small_incision_with_smaller_drops() -> None:
    """At 30 drops per mL 150 >= 147, so one bottle by volume; the 28 days force a second on day 29."""
    made = plan(clinic_with(drops_per_ml=30.0), Side.LEFT, dt.date(2028, 2, 25), "weekly-6-5-4-3-2-1")
    assert opened(made)[1] == [1, 29]
    assert taken(made, 1) == [126, 21]  # 42 + 35 + 28 + 21; 14 + 7


def test_worked_example_hard_inflamed_eye() -> None:
    """Worked example: steroid 8-6-4-3-2-1 with three more drugs; Monday 28 December 2026, over the year's end."""
    made = plan(clinic_with(), Side.RIGHT, dt.date(2026, 12, 28), "two-hourly-start")
    assert table(made) == [
        (1, 7, (4, 8, 2, 4), 18),
        (8, 14, (4, 6, 0, 0), 10),
        (15, 21, (0, 4, 0, 0), 4),
        (22, 28, (0, 3, 0, 0), 3),
        (29, 35, (0, 2, 0, 0), 2),
        (36, 42, (0, 1, 0, 0), 1),
    ]
    assert [row.total for row in made.rows] == [56, 168, 14, 28]
    assert made.total == 266  # 126 + 70 + 28 + 21 + 14 + 7
    last = [dt.date(2027, 1, 11), dt.date(2027, 2, 8), dt.date(2027, 1, 4), dt.date(2027, 1, 4)]
    assert [row.last for row in made.rows] == last
    assert millilitres(made) == [Decimal("2.80"), Decimal("8.40"), Decimal("0.70"), Decimal("1.40")]
    # steroid: 56 + 42 = 98 by day 14, two on day 15 empty the first bottle
    assert opened(made) == [[1], [1, 15], [1], [1]]
    assert taken(made, 1) == [100, 68]
    assert sum(supply.count for supply in made.supplies) == 5


def test_worked_example_hard_inflamed_eye_with_loss() -> None:
    """With 25 percent loss a bottle gives 100 / 1.25 = 80 drops.

    56 by day 7 and 24 by day 11 empty the first; 18 + 28 + 21 + 12 + 1 = 80 with the first drop of day 35.
    """
    made = plan(clinic_with(wastage_percent=25.0), Side.RIGHT, dt.date(2026, 12, 28), "two-hourly-start")
    assert opened(made)[1] == [1, 12, 35]
    assert taken(made, 1) == [80, 80, 8]


def test_worked_example_sittings_of_a_hard_eye() -> None:
    """Eight sittings from 07:00 to 22:00: four-times drops at the 1st, 3rd, 6th and 8th, twice-a-day at 1st and 8th."""
    made = plan(clinic_with(), Side.RIGHT, dt.date(2026, 12, 28), "two-hourly-start")
    first = made.sessions[0]
    grid = ["07:00", "09:15", "11:15", "13:30", "15:30", "17:45", "19:45", "22:00"]
    assert [f"{session.at:%H:%M}" for session in first.sessions] == grid
    assert [f"{clock:%H:%M}" for clock in first.times_of(1)] == ["07:00", "11:15", "17:45", "22:00"]
    assert [f"{clock:%H:%M}" for clock in first.times_of(4)] == ["07:00", "11:15", "17:45", "22:00"]
    assert [f"{clock:%H:%M}" for clock in first.times_of(3)] == ["07:00", "22:00"]
    assert [len(session.drops) for session in first.sessions] == [4, 1, 3, 1, 1, 3, 1, 4]
    assert max(session.minutes for session in first.sessions) == 15  # four drops, 5 minutes apart
    assert first.moved == (1, 4)  # their own even times are 07:00, 12:00, 17:00, 22:00
    # solutions before the suspension, which is row 2
    assert first.sessions[0].drops == ((1, 0), (3, 5), (4, 10), (2, 15))


def test_worked_example_exact_even_times_cost_two_more_sittings() -> None:
    """Kept at 12:00 and 17:00, the four-times drops add two sittings to the eight."""
    made = plan(clinic_with(times="even"), Side.RIGHT, dt.date(2026, 12, 28), "two-hourly-start")
    assert len(made.sessions[0].sessions) == 10
    assert made.sessions[0].moved == ()


DIABETIC = [
    item("moxifloxacin", (1, 7, 3)),
    item("dexamethasone-phosphate", (1, 7, 4), (8, 7, 3), (15, 7, 2), (22, 7, 1)),
    item("nepafenac", (-1, 62, 3), drops_before_surgery=1),
]


def test_worked_example_diabetic_retinopathy() -> None:
    """Worked example: NSAID from the day before to day 60, one more drop before surgery; Tuesday 1 June 2027."""
    made = plan(clinic_with(DIABETIC), Side.LEFT, dt.date(2027, 6, 1))
    assert table(made) == [
        (-1, -1, (0, 0, 3), 3),
        (0, 0, (0, 0, 4), 4),
        (1, 7, (3, 4, 3), 10),
        (8, 14, (0, 3, 3), 6),
        (15, 21, (0, 2, 3), 5),
        (22, 28, (0, 1, 3), 4),
        (29, 60, (0, 0, 3), 3),
    ]
    assert [row.total for row in made.rows] == [21, 70, 187]  # 3 x 7; 28 + 21 + 14 + 7; 62 x 3 + 1
    assert made.total == 278
    assert made.total_from_day_1 == 271  # 278 - 3 - 4
    assert made.rows[2].first == dt.date(2027, 5, 31)
    assert [row.last for row in made.rows] == [dt.date(2027, 6, 8), dt.date(2027, 6, 29), dt.date(2027, 7, 31)]
    assert millilitres(made) == [Decimal("1.05"), Decimal("3.50"), Decimal("9.35")]
    # day -1 to day 26 is 28 days and 28 x 3 + 1 = 85 drops; day 27 to day 54, 84 drops; day 55 to day 60, 18 drops
    assert opened(made) == [[1], [1], [-1, 27, 55]]
    assert taken(made, 2) == [85, 84, 18]
    assert sum(supply.count for supply in made.supplies) == 5


def test_worked_example_diabetic_retinopathy_with_thirty_days() -> None:
    """Thirty days: day -1 to 28, 29 to 58, 59 to 60: still three bottles."""
    made = plan(clinic_with(DIABETIC, days_after_opening=30), Side.LEFT, dt.date(2027, 6, 1))
    assert opened(made)[2] == [-1, 29, 59]


def test_worked_example_diabetic_retinopathy_findings() -> None:
    """NSAID beyond 14 days without a reason, the diabetic's cornea, NSAID with steroid."""
    clinic = clinic_with(DIABETIC)
    eye = case("ordinary")
    health = eye.health.model_copy(update={"diabetes": Answer.YES})
    eye = eye.model_copy(update={"health": health, "plan": eye.plan.model_copy(update={"regimen": "example"})})
    fired = {finding.id for finding in check_drops(plan_drops(eye, clinic), eye, read_formulary(clinic))}
    assert {"nsaid-over-14-days", "nsaid-diabetes", "nsaid-with-steroid"} <= fired


GLAUCOMA = [
    item("moxifloxacin", (1, 7, 4)),
    item("loteprednol", (1, 14, 4), (15, 7, 2)),
    item("timolol", (1, 42, 2), eyes="each", ends="long-standing"),
]


def test_worked_example_glaucoma_in_both_eyes() -> None:
    """Worked example: timolol goes on in both eyes, days 1 to 42; Thursday 15 July 2027, right eye."""
    made = plan(clinic_with(GLAUCOMA), Side.RIGHT, dt.date(2027, 7, 15))
    assert table(made) == [
        (1, 7, (4, 4, 2, 2), 12),
        (8, 14, (0, 4, 2, 2), 8),
        (15, 21, (0, 2, 2, 2), 6),
        (22, 42, (0, 0, 2, 2), 4),
    ]
    assert [row.total for row in made.rows] == [28, 70, 84, 84]  # 4 x 7; 56 + 14; 2 x 42 in each eye
    assert [row.side for row in made.rows] == [Side.RIGHT, Side.RIGHT, Side.RIGHT, Side.LEFT]
    assert made.total == 266  # 84 + 56 + 42 + 84
    last = [dt.date(2027, 7, 22), dt.date(2027, 8, 5), dt.date(2027, 8, 26), dt.date(2027, 8, 26)]
    assert [row.last for row in made.rows] == last
    # each eye its own bottle: 84 <= 100 by volume, but day 29 is past the 28 days
    assert opened(made) == [[1], [1], [1, 29], [1, 29]]
    assert taken(made, 2) == [56, 28]
    assert sum(supply.count for supply in made.supplies) == 6


def test_worked_example_glaucoma_with_one_shared_bottle() -> None:
    """One bottle for both eyes: 4 drops a day, 100 by day 25, the second opened on day 26; 168 / 20 = 8.40 mL."""
    made = plan(clinic_with(GLAUCOMA, fresh_bottle_per_eye=False), Side.RIGHT, dt.date(2027, 7, 15))
    assert opened(made)[2] == [1, 26]
    assert made.supplies[2].rows == (3, 4)
    assert made.supplies[2].ml == Decimal("8.40")


def short_course(steroid_from: int) -> list[dict[str, Any]]:
    return [
        item("levofloxacin-dexamethasone", (1, 7, 4)),
        item("dexamethasone-phosphate", (steroid_from, 7, 4)),
        item("bromfenac", (1, 14, 2)),
    ]


def test_worked_example_short_course() -> None:
    """Worked example: combination for 7 days, its steroid alone for 7 more; Monday 30 August 2027."""
    made = plan(clinic_with(short_course(8)), Side.RIGHT, dt.date(2027, 8, 30))
    assert table(made) == [(1, 7, (4, 0, 2), 6), (8, 14, (0, 4, 2), 6)]
    assert [row.total for row in made.rows] == [28, 28, 28]
    assert made.total == 84
    assert [row.last for row in made.rows] == [dt.date(2027, 9, 6), dt.date(2027, 9, 13), dt.date(2027, 9, 13)]
    assert millilitres(made) == [Decimal("1.40")] * 3
    assert opened(made) == [[1], [8], [1]]
    assert sum(supply.count for supply in made.supplies) == 3


@pytest.mark.parametrize(("steroid_from", "fires"), [(8, False), (7, True)])
def test_worked_example_short_course_duplicate_steroid(steroid_from: int, fires: bool) -> None:
    """Days 1-7 and 8-14 do not overlap; from day 7 the steroid of the combination is given twice."""
    eye = case("ordinary")
    eye = eye.model_copy(update={"plan": eye.plan.model_copy(update={"regimen": "example"})})
    clinic = clinic_with(short_course(steroid_from))
    findings = check_drops(plan_drops(eye, clinic), eye, read_formulary(clinic))
    duplicate = [finding for finding in findings if finding.id == "duplicate-class"]
    assert bool(duplicate) is fires
    if fires:
        assert duplicate[0].severity == "stop"
        assert duplicate[0].rows == (1, 2)
        assert "left eye, days 7 to 7" in duplicate[0].facts


def test_shipped_ordinary_case_is_the_routine_example() -> None:
    """The ordinary case: 28 and 70 drops, and nothing that stops or asks."""
    made = plan_drops(case("ordinary"), read_clinic())
    assert [row.total for row in made.rows] == [28, 70]
    assert [f for f in check_drops(made, case("ordinary"), read_formulary(read_clinic())) if f.severity != "note"] == []


def test_shipped_hard_case_is_the_hard_example() -> None:
    """The hard case: 266 drops."""
    assert plan_drops(case("hard"), read_clinic()).total == 266


# W + (B - W) * i / (n - 1), rounded to the quarter of an hour; the rows for 07:00-22:00 and for 08:00-20:00
EVEN = {
    1: ("07:00", "08:00"),
    2: ("07:00 22:00", "08:00 20:00"),
    3: ("07:00 14:30 22:00", "08:00 14:00 20:00"),
    4: ("07:00 12:00 17:00 22:00", "08:00 12:00 16:00 20:00"),
    5: ("07:00 10:45 14:30 18:15 22:00", "08:00 11:00 14:00 17:00 20:00"),
    6: ("07:00 10:00 13:00 16:00 19:00 22:00", "08:00 10:30 12:45 15:15 17:30 20:00"),
    7: ("07:00 09:30 12:00 14:30 17:00 19:30 22:00", "08:00 10:00 12:00 14:00 16:00 18:00 20:00"),
    8: ("07:00 09:15 11:15 13:30 15:30 17:45 19:45 22:00", "08:00 09:45 11:30 13:15 14:45 16:30 18:15 20:00"),
}


@pytest.mark.parametrize("times_a_day", sorted(EVEN))
@pytest.mark.parametrize("window", [0, 1])
def test_even_times(times_a_day: int, window: int) -> None:
    """The printed table of even spacing, to the minute."""
    waking = (Waking(dt.time(7), dt.time(22), 15), Waking(dt.time(8), dt.time(20), 15))[window]
    assert " ".join(f"{clock:%H:%M}" for clock in even_times(times_a_day, waking)) == EVEN[times_a_day][window]
