"""The six worked examples once more, as other programs read them: drop by drop, date by date, bottle by bottle.

Every figure of the tables is worked out by hand (the sums stand beside them in ``test_drop_examples.py``). Settings:
one drop per dose, 20 drops per mL, no loss, 28 days after opening, 5 mL bottles (10 mL for sodium chloride).
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cache
from typing import Any

import pytest

from consent.case import Case, OwnDrop, Side
from consent.clinic import Clinic, DropSettings, read_clinic
from consent.pack import compose_pack
from consent.pack.data import assessment_data
from tests.conftest import shipped_case


def item(drug: str, *steps: tuple[int, int, int], **more: Any) -> dict[str, Any]:
    """One drug: (first day, days, times a day) of each step."""
    rows = [{"from_day": first, "days": days, "times_a_day": times} for first, days, times in steps]
    return {"drug": drug, "steps": rows, "source": "worked example", "verified": "memory", **more}


@dataclass(frozen=True)
class Example:
    """An order, and the tables it must give.

    ``rows``: drug, eye, first date, last date, drops. ``days``: first day, last day, drops a day of each row, in all.
    ``bottles``: rows, mL, and for each bottle the date it is opened, the last date it may be used, the drops taken.
    """

    name: str
    side: Side
    surgery: dt.date
    items: tuple[dict[str, Any], ...]
    rows: tuple[tuple[str, str, str, str, int], ...]
    days: tuple[tuple[int, int, tuple[int, ...], int], ...]
    bottles: tuple[tuple[tuple[int, ...], str, tuple[tuple[str, str, int], ...]], ...]
    total: int
    own_drops: tuple[OwnDrop, ...] = ()
    settings: tuple[tuple[str, Any], ...] = ()

    def date(self, day: int) -> str:
        """The date of a day after surgery."""
        return (self.surgery + dt.timedelta(days=day)).isoformat()


MOXI, PRED = "moxifloxacin 0.5%", "prednisolone acetate 1%"
DEXA, COMBINED = "dexamethasone sodium phosphate 0.1%", "levofloxacin 0.5% + dexamethasone sodium phosphate 0.1%"

ROUTINE = Example(
    "routine eye",
    Side.RIGHT,
    dt.date(2027, 2, 24),
    (item("moxifloxacin", (1, 7, 4)), item("prednisolone-acetate", (1, 7, 4), (8, 7, 3), (15, 7, 2), (22, 7, 1))),
    ((MOXI, "right", "2027-02-25", "2027-03-03", 28), (PRED, "right", "2027-02-25", "2027-03-24", 70)),
    ((1, 7, (4, 4), 8), (8, 14, (0, 3), 3), (15, 21, (0, 2), 2), (22, 28, (0, 1), 1)),
    (
        ((1,), "1.40", (("2027-02-25", "2027-03-24", 28),)),
        ((2,), "3.50", (("2027-02-25", "2027-03-24", 70),)),
    ),
    98,
)

SIX_WEEKS = item("prednisolone-acetate", (1, 7, 6), (8, 7, 5), (15, 7, 4), (22, 7, 3), (29, 7, 2), (36, 7, 1))
SMALL_INCISION = Example(
    "small incision, leap year",
    Side.LEFT,
    dt.date(2028, 2, 25),
    (item("moxifloxacin", (1, 14, 3)), SIX_WEEKS),
    ((MOXI, "left", "2028-02-26", "2028-03-10", 42), (PRED, "left", "2028-02-26", "2028-04-07", 147)),
    (
        (1, 7, (3, 6), 9),
        (8, 14, (3, 5), 8),
        (15, 21, (0, 4), 4),
        (22, 28, (0, 3), 3),
        (29, 35, (0, 2), 2),
        (36, 42, (0, 1), 1),
    ),
    (
        ((1,), "2.10", (("2028-02-26", "2028-03-24", 42),)),
        # 42 + 35 + 5 x 4 = 97 by day 19, three on day 20 (16 March) empty the first
        ((2,), "7.35", (("2028-02-26", "2028-03-24", 100), ("2028-03-16", "2028-04-12", 47))),
    ),
    189,
)
SMALLER_DROPS = replace(
    SMALL_INCISION,
    name="small incision, 30 drops per mL",
    bottles=(
        ((1,), "1.40", (("2028-02-26", "2028-03-24", 42),)),
        # 147 of 150 by volume, but the 28 days end on day 28; the second on day 29, 25 March
        ((2,), "4.90", (("2028-02-26", "2028-03-24", 126), ("2028-03-25", "2028-04-21", 21))),
    ),
    settings=(("drops_per_ml", 30.0),),
)

HARD = Example(
    "hard inflamed eye, over the year's end",
    Side.RIGHT,
    dt.date(2026, 12, 28),
    (
        item("moxifloxacin", (1, 14, 4)),
        item("prednisolone-acetate", (1, 7, 8), (8, 7, 6), (15, 7, 4), (22, 7, 3), (29, 7, 2), (36, 7, 1)),
        item("homatropine", (1, 7, 2)),
        item("sodium-chloride", (1, 7, 4)),
    ),
    (
        (MOXI, "right", "2026-12-29", "2027-01-11", 56),
        (PRED, "right", "2026-12-29", "2027-02-08", 168),
        ("homatropine 2%", "right", "2026-12-29", "2027-01-04", 14),
        ("sodium chloride 5%", "right", "2026-12-29", "2027-01-04", 28),
    ),
    (
        (1, 7, (4, 8, 2, 4), 18),
        (8, 14, (4, 6, 0, 0), 10),
        (15, 21, (0, 4, 0, 0), 4),
        (22, 28, (0, 3, 0, 0), 3),
        (29, 35, (0, 2, 0, 0), 2),
        (36, 42, (0, 1, 0, 0), 1),
    ),
    (
        ((1,), "2.80", (("2026-12-29", "2027-01-25", 56),)),
        # 56 + 42 = 98 by day 14, two on day 15 (12 January) empty the first
        ((2,), "8.40", (("2026-12-29", "2027-01-25", 100), ("2027-01-12", "2027-02-08", 68))),
        ((3,), "0.70", (("2026-12-29", "2027-01-25", 14),)),
        ((4,), "1.40", (("2026-12-29", "2027-01-25", 28),)),
    ),
    266,
)
HARD_WITH_LOSS = replace(
    HARD,
    name="hard inflamed eye, 25 percent lost",
    bottles=(
        HARD.bottles[0],
        # 80 a bottle: opened on day 1, day 12 (9 January) and day 35 (1 February)
        (
            (2,),
            "8.40",
            (("2026-12-29", "2027-01-25", 80), ("2027-01-09", "2027-02-05", 80), ("2027-02-01", "2027-02-28", 8)),
        ),
        *HARD.bottles[2:],
    ),
    settings=(("wastage_percent", 25.0),),
)

DIABETIC = Example(
    "diabetic retinopathy",
    Side.LEFT,
    dt.date(2027, 6, 1),
    (
        item("moxifloxacin", (1, 7, 3)),
        item("dexamethasone-phosphate", (1, 7, 4), (8, 7, 3), (15, 7, 2), (22, 7, 1)),
        item("nepafenac", (-1, 62, 3), drops_before_surgery=1),
    ),
    (
        (MOXI, "left", "2027-06-02", "2027-06-08", 21),
        (DEXA, "left", "2027-06-02", "2027-06-29", 70),
        ("nepafenac 0.1%", "left", "2027-05-31", "2027-07-31", 187),
    ),
    (
        (-1, -1, (0, 0, 3), 3),
        (0, 0, (0, 0, 4), 4),
        (1, 7, (3, 4, 3), 10),
        (8, 14, (0, 3, 3), 6),
        (15, 21, (0, 2, 3), 5),
        (22, 28, (0, 1, 3), 4),
        (29, 60, (0, 0, 3), 3),
    ),
    (
        ((1,), "1.05", (("2027-06-02", "2027-06-29", 21),)),
        ((2,), "3.50", (("2027-06-02", "2027-06-29", 70),)),
        # day -1 to 26, day 27 (28 June) to 54, day 55 (26 July) to 60
        (
            (3,),
            "9.35",
            (("2027-05-31", "2027-06-27", 85), ("2027-06-28", "2027-07-25", 84), ("2027-07-26", "2027-08-22", 18)),
        ),
    ),
    278,
)
DIABETIC_30_DAYS = replace(
    DIABETIC,
    name="diabetic retinopathy, 30 days after opening",
    bottles=(
        ((1,), "1.05", (("2027-06-02", "2027-07-01", 21),)),
        ((2,), "3.50", (("2027-06-02", "2027-07-01", 70),)),
        # day -1 to 28: 30 x 3 + 1 = 91; day 29 (30 June) to 58: 90; day 59 (30 July) and 60: 6
        (
            (3,),
            "9.35",
            (("2027-05-31", "2027-06-29", 91), ("2027-06-30", "2027-07-29", 90), ("2027-07-30", "2027-08-28", 6)),
        ),
    ),
    settings=(("days_after_opening", 30),),
)

EACH_EYE = (("2027-07-16", "2027-08-12", 56), ("2027-08-13", "2027-09-09", 28))  # day 1 and day 29
GLAUCOMA = Example(
    "glaucoma, timolol in both eyes as an item of the regimen",
    Side.RIGHT,
    dt.date(2027, 7, 15),
    (
        item("moxifloxacin", (1, 7, 4)),
        item("loteprednol", (1, 14, 4), (15, 7, 2)),
        item("timolol", (1, 42, 2), eyes="each", ends="long-standing"),
    ),
    (
        (MOXI, "right", "2027-07-16", "2027-07-22", 28),
        ("loteprednol 0.5%", "right", "2027-07-16", "2027-08-05", 70),
        ("timolol 0.5%", "right", "2027-07-16", "2027-08-26", 84),
        ("timolol 0.5%", "left", "2027-07-16", "2027-08-26", 84),
    ),
    ((1, 7, (4, 4, 2, 2), 12), (8, 14, (0, 4, 2, 2), 8), (15, 21, (0, 2, 2, 2), 6), (22, 42, (0, 0, 2, 2), 4)),
    (
        ((1,), "1.40", (("2027-07-16", "2027-08-12", 28),)),
        ((2,), "3.50", (("2027-07-16", "2027-08-12", 70),)),
        ((3,), "4.20", EACH_EYE),
        ((4,), "4.20", EACH_EYE),
    ),
    266,
)
GLAUCOMA_SHARED = replace(
    GLAUCOMA,
    name="glaucoma, one bottle for both eyes",
    # 4 a day: 100 by day 25; day 26 is 10 August
    bottles=(
        *GLAUCOMA.bottles[:2],
        ((3, 4), "8.40", (("2027-07-16", "2027-08-12", 100), ("2027-08-10", "2027-09-06", 68))),
    ),
    settings=(("fresh_bottle_per_eye", False),),
)
GLAUCOMA_OWN = replace(
    GLAUCOMA,
    name="glaucoma, timolol as the patient's own drop that goes on",
    items=GLAUCOMA.items[:2],
    own_drops=(OwnDrop(drug="timolol", eyes="each", times_a_day=2, decision="continue", decided_by="Dr A"),),
)

SHORT = Example(
    "short course",
    Side.RIGHT,
    dt.date(2027, 8, 30),
    (
        item("levofloxacin-dexamethasone", (1, 7, 4)),
        item("dexamethasone-phosphate", (8, 7, 4)),
        item("bromfenac", (1, 14, 2)),
    ),
    (
        (COMBINED, "right", "2027-08-31", "2027-09-06", 28),
        (DEXA, "right", "2027-09-07", "2027-09-13", 28),
        ("bromfenac 0.09%", "right", "2027-08-31", "2027-09-13", 28),
    ),
    ((1, 7, (4, 0, 2), 6), (8, 14, (0, 4, 2), 6)),
    (
        ((1,), "1.40", (("2027-08-31", "2027-09-27", 28),)),
        ((2,), "1.40", (("2027-09-07", "2027-10-04", 28),)),
        ((3,), "1.40", (("2027-08-31", "2027-09-27", 28),)),
    ),
    84,
)

EXAMPLES = (
    ROUTINE,
    SMALL_INCISION,
    SMALLER_DROPS,
    HARD,
    HARD_WITH_LOSS,
    DIABETIC,
    DIABETIC_30_DAYS,
    GLAUCOMA,
    GLAUCOMA_SHARED,
    GLAUCOMA_OWN,
    SHORT,
)
every_example = pytest.mark.parametrize("example", EXAMPLES, ids=lambda example: example.name)


def case_of(example: Example) -> Case:
    """The shipped ordinary case with the eye, the date and the drops of the example."""
    case = shipped_case("ordinary")
    return case.model_copy(
        update={
            "eye": case.eye.model_copy(update={"side": example.side}),
            "plan": case.plan.model_copy(
                update={"side": example.side, "date": example.surgery, "regimen": "worked-example"}
            ),
            "own_drops": example.own_drops,
        }
    )


def clinic_of(example: Example) -> Clinic:
    """The shipped clinic with the regimen and the settings of the example."""
    tables = {"worked-example": {"title": "worked example", "items": list(example.items)}}
    settings = DropSettings(**dict(example.settings))
    return read_clinic().model_copy(update={"regimens": tables, "drops": settings})


@cache
def data_of(name: str) -> dict[str, Any]:
    """The drops of an example as other programs read them."""
    example = next(example for example in EXAMPLES if example.name == name)
    pack = compose_pack(case_of(example), clinic_of(example), ("en",), ("drop-calendar",))
    drops: dict[str, Any] = assessment_data(pack)["drops"]
    return drops


@every_example
def test_rows(example: Example) -> None:
    """Number, drug, eye, first and last date, drops in all."""
    rows = data_of(example.name)["rows"]
    assert [row["number"] for row in rows] == list(range(1, len(rows) + 1))
    found = [(row["drug"], row["eye"], row["first"], row["last"], row["drops"]) for row in rows]
    assert found == list(example.rows)


@every_example
def test_steps(example: Example) -> None:
    """Times a day of each row: the column of the table, its noughts left out, equal neighbours drawn together."""
    for place, row in enumerate(data_of(example.name)["rows"]):
        steps: list[list[Any]] = []
        for first, last, counts, _ in example.days:
            times = counts[place] - (1 if (first, place) == (0, 2) and example.surgery == DIABETIC.surgery else 0)
            if times and steps and steps[-1][2] == times:
                steps[-1][1] = example.date(last)
            elif times:
                steps.append([example.date(first), example.date(last), times])
        assert [[step["first"], step["last"], step["times_a_day"]] for step in row["steps"]] == steps


@every_example
def test_days(example: Example) -> None:
    """Every date from the first drop to the last, with the drops of each row and in all."""
    days = data_of(example.name)["days"]
    table = [
        (day, example.date(day), {str(place): drops for place, drops in enumerate(counts, start=1) if drops}, total)
        for first, last, counts, total in example.days
        for day in range(first, last + 1)
    ]
    assert [(day["day"], day["date"], day["counts"], day["total"]) for day in days] == table


@every_example
def test_drop_by_drop(example: Example) -> None:
    """Each drop stands in a sitting of its date by the number of its bottle, or is named as without a clock time."""
    for day in data_of(example.name)["days"]:
        given = Counter(str(number) for sitting in day["sessions"] for number in sitting["bottles"])
        given.update(day["untimed"])
        assert dict(given) == day["counts"]
        assert not day["untimed"] or day["date"] == example.surgery.isoformat()
        for sitting in day["sessions"]:
            assert len(sitting["after_minutes"]) == len(sitting["bottles"])
            assert sitting["minutes"] == max(sitting["after_minutes"])


@every_example
def test_bottles(example: Example) -> None:
    """Bottle by bottle: opened, thrown away after, drops taken; millilitres; how many."""
    bottles = data_of(example.name)["bottles"]
    found = [
        (
            tuple(line["rows"]),
            Decimal(line["ml"]),
            tuple(zip(line["opened"], line["discard_after"], line["drops_from_each"], strict=True)),
        )
        for line in bottles
    ]
    assert found == [(rows, Decimal(ml), opened) for rows, ml, opened in example.bottles]
    for line, (rows, _, opened) in zip(bottles, example.bottles, strict=True):
        assert line["count"] == len(opened)
        assert line["drops"] == sum(drops for _, _, drops in opened) == sum(example.rows[n - 1][4] for n in rows)


@every_example
def test_totals(example: Example) -> None:
    """Drops and bottles in all; from day 1 on, those before surgery and of its day left out."""
    totals = data_of(example.name)["totals"]
    before = sum((last - first + 1) * total for first, last, _, total in example.days if last <= 0)
    assert totals["drops"] == example.total
    assert totals["from_day_1"] == example.total - before
    assert totals["bottles"] == sum(len(opened) for _, _, opened in example.bottles)


def test_clock_times_of_the_hard_eye() -> None:
    """Day 1, 07:00 to 22:00: eight sittings, 4 drops at the first and the last, 3 at 11:15 and 17:45, else 1."""
    first = data_of(HARD.name)["days"][0]["sessions"]
    assert [(sitting["time"], sorted(sitting["bottles"])) for sitting in first] == [
        ("07:00", [1, 2, 3, 4]),
        ("09:15", [2]),
        ("11:15", [1, 2, 4]),
        ("13:30", [2]),
        ("15:30", [2]),
        ("17:45", [1, 2, 4]),
        ("19:45", [2]),
        ("22:00", [1, 2, 3, 4]),
    ]


def test_the_day_of_surgery_of_the_diabetic_eye() -> None:
    """1 June: three of the course and one before surgery, none by the clock; 31 May and 2 June have their times."""
    before, surgery, after = data_of(DIABETIC.name)["days"][:3]
    assert (surgery["sessions"], surgery["untimed"]) == ([], {"3": 4})
    assert before["untimed"] == after["untimed"] == {}
    assert [sitting["time"] for sitting in before["sessions"]] == ["07:00", "14:30", "22:00"]


def test_own_drops_and_an_item_of_the_regimen_give_the_same_drops() -> None:
    """The two ways to order timolol in both eyes for six weeks."""
    own, ordered = data_of(GLAUCOMA_OWN.name), data_of(GLAUCOMA.name)
    assert {key: own[key] for key in ("rows", "days", "bottles", "totals")} == {
        key: ordered[key] for key in ("rows", "days", "bottles", "totals")
    }
