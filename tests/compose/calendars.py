"""A composed drop calendar as its reader has it: the wall page, the pictures, the bottles, the days to cross off."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from consent.compose import Document
from consent.compose.document import Block, Columns, Para
from consent.compose.drop_bottles import Bottles, RulesBox
from consent.compose.drop_pictures import PicturedStep
from consent.compose.drop_steps import Mark
from consent.compose.drop_strips import DayRow, Strip
from consent.compose.drop_wall import DrugLine, DrugLines, MonthGrid, Poster
from consent.language import brief_date
from consent.review import Assessment

SOURCED = {"source": "invented", "verified": "memory"}
STAFF = re.compile(
    r"(?P<date>.+): (?:our staff put in (?P<given>\d+) drops? of bottle (?P<a>\d+) \((?P<b>LEFT|RIGHT) eye\)\."
    r"|bottle (?P<c>\d+) \((?P<d>LEFT|RIGHT) eye\), (?P<told>\d+) drops?(?: in all, each|,) when our staff say\.)"
)


def item(drug: str, *steps: tuple[int, int, int], **more: Any) -> dict[str, Any]:
    """One drug of an invented regimen: (first day, days, times a day) of each step; ``drops`` each time."""
    drops = more.pop("drops", 1)
    rows = [{"from_day": f, "days": d, "times_a_day": t, "drops_per_dose": drops} for f, d, t in steps]
    return {"drug": drug, "steps": rows, **SOURCED, **more}


# Invented; day 0 is the day of surgery
REGIMENS: dict[str, dict[str, Any]] = {
    "evening": {
        "title": "from the evening of surgery",
        "start": "evening of surgery",
        "items": [item("moxifloxacin", (1, 7, 4)), item("prednisolone-acetate", (1, 7, 6), (8, 7, 2))],
    },
    "with-a-gap": {
        "title": "one drug ends before the other begins",
        "items": [item("moxifloxacin", (1, 3, 4)), item("loteprednol", (6, 10, 2))],
    },
    "with-ointment": {
        "title": "drops and an ointment",
        "items": [item("moxifloxacin", (1, 10, 3)), item("chloramphenicol-ointment", (1, 5, 1))],
    },
    "long": {"title": "one step longer than a page", "items": [item("prednisolone-acetate", (1, 40, 2))]},
    "both-eyes": {
        "title": "glaucoma drops in both eyes go on, an antibiotic in the operated eye",
        "items": [
            item("timolol", (-7, 40, 2), eyes="each", ends="long-standing"),
            item("moxifloxacin", (1, 7, 4)),
        ],
    },
    "go-on": {"title": "nothing but a glaucoma drop", "items": [item("timolol", (1, 28, 2), ends="long-standing")]},
    "until-review": {
        "title": "a glaucoma drop until the review",
        "items": [item("timolol", (1, 14, 2), ends="until review")],
    },
    "two-drops": {
        "title": "two drops each time",
        "items": [item("prednisolone-acetate", (1, 7, 6), (8, 7, 3), drops=2), item("moxifloxacin", (1, 7, 4))],
    },
    "before-surgery": {
        "title": "drops in the hours before surgery",
        "items": [
            item("moxifloxacin", (1, 7, 4), drops_before_surgery=3),
            item("bromfenac", (-2, 16, 2), drops_before_surgery=1),
        ],
    },
    "evening-and-before": {
        "title": "drops before surgery, and again from the evening",
        "start": "evening of surgery",
        "items": [item("moxifloxacin", (1, 7, 4), drops_before_surgery=3)],
    },
    "unit-doses": {
        "title": "single doses beside a bottle",
        "items": [item("invented-unit", (1, 7, 4), (8, 7, 2)), item("moxifloxacin", (1, 7, 4))],
    },
}

FORMULARY: dict[str, dict[str, Any]] = {
    "invented-unit": {
        "components": [{"generic": "invented lubricant", "strength": "0.5%", "class": "lubricant"}],
        "form": "solution",
        "shake": False,
        "unit_dose": True,
        "preservative": "none",
        **SOURCED,
    }
}


@dataclass(frozen=True)
class Calendar:
    """A plan and the sheet composed from it, in English."""

    assessment: Assessment
    document: Document

    def blocks(self, kind: type) -> list[Any]:
        """Blocks of ``kind`` in the order of the sheet, those in columns too."""
        flat = [block for section in self.document.sections for top in section.blocks for block in _flat(top)]
        return [block for block in flat if isinstance(block, kind)]

    @property
    def strips(self) -> list[Strip]:
        return self.blocks(Strip)

    @property
    def day_rows(self) -> list[DayRow]:
        return [day for strip in self.strips for day in strip.days]

    @property
    def lines(self) -> list[DrugLine]:
        """The bottles of the wall page, in its order."""
        return [row for block in self.blocks(DrugLines) for row in block.rows]

    @property
    def pictured(self) -> list[PicturedStep]:
        return self.blocks(PicturedStep)

    @property
    def month(self) -> MonthGrid:
        (month,) = self.blocks(MonthGrid)
        return month

    @property
    def bottles(self) -> Bottles:
        (bottles,) = self.blocks(Bottles)
        return bottles

    @property
    def poster(self) -> Poster:
        (poster,) = self.blocks(Poster)
        return poster

    @property
    def rules(self) -> list[str]:
        """The rules beside the bottles."""
        (box,) = self.blocks(RulesBox)
        return [rule[0].plain for rule in box.items]

    @property
    def marks(self) -> list[Mark]:
        """Every mark of the sheet: wall page, month, pictures, bottle table, strips."""
        return [
            *(row.mark for row in self.lines),
            *(mark for week in self.month.weeks for cell in week if cell for mark in cell.opens),
            *(drop.mark for step in self.pictured for round_ in step.rounds for eye in round_.eyes for drop in eye),
            *(mark for row in self.bottles.rows for mark in row.marks),
            *(mark for day in self.day_rows for sitting in sittings_of(day) for mark in sitting),
        ]

    @property
    def dates(self) -> dict[str, dt.date]:
        """Dates by the words they are printed in."""
        surgery = self.assessment.case.plan.date
        near = [surgery + dt.timedelta(days=day) for day in range(-30, 200)]
        printed = {brief_date(day, "en", "latin"): day for day in near}
        assert len(printed) == len(near)
        return printed

    def by_date(self) -> dict[dt.date, Counter[int]]:
        """Marks of each date, read off the printed rows: how often each bottle's number stands there."""
        found: dict[dt.date, Counter[int]] = {}
        for row in self.day_rows:
            date = self.dates[row.date[0].plain]
            assert date not in found, "a day stands twice"
            found[date] = Counter(int(mark.text[0].plain) for sitting in sittings_of(row) for mark in sitting)
        return found

    def times_by_date(self) -> dict[dt.date, Counter[int]]:
        """In how many rounds of each date a bottle's number stands."""
        return {
            self.dates[row.date[0].plain]: Counter(
                number for sitting in sittings_of(row) for number in {int(mark.text[0].plain) for mark in sitting}
            )
            for row in self.day_rows
        }

    def given_by_staff(self) -> dict[dt.date, Counter[int]]:
        """Drops of each bottle that the sheet says our staff put in, by date."""
        found: dict[dt.date, Counter[int]] = {}
        for para in self.blocks(Para):
            if match := STAFF.fullmatch(para.text[0].plain):
                counted = found.setdefault(self.dates[match["date"]], Counter())
                counted[int(match["a"] or match["c"])] += int(match["given"] or match["told"])
        return found

    def line_of(self, number: int) -> DrugLine:
        """The line of a bottle on the wall page."""
        (row,) = [row for row in self.lines if row.mark.number == number]
        return row

    def when(self, number: int) -> str:
        """From when to when a bottle is used, as its line says."""
        return self.line_of(number).when[0].plain

    def said_of(self, number: int) -> str:
        """All that the line of a bottle says."""
        row = self.line_of(number)
        return " | ".join([row.name, *(line[0].plain for line in (row.purpose, row.when, *row.notes))])

    def steps(self) -> Iterator[tuple[list[dt.date], dict[int, int]]]:
        """The dates of each step of the picture page, and in how many of its rounds each bottle stands."""
        for step in self.pictured:
            first, _, last = step.when[0].plain.partition(" to ")
            start, end = self.dates[first], self.dates[last or first]
            days = [start + dt.timedelta(days=day) for day in range((end - start).days + 1)]
            counts: Counter[int] = Counter()
            for round_ in step.rounds:
                counts.update({drop.mark.number for eye in round_.eyes for drop in eye})
            yield days, dict(sorted(counts.items()))


def _flat(block: Block) -> Iterator[Block]:
    if isinstance(block, Columns):
        yield from (*block.left, *block.right)
    else:
        yield block


def sittings_of(row: DayRow) -> list[tuple[Mark, ...]]:
    """The rounds of a day, eye after eye, as its reader crosses them off; empty cells left out."""
    return [sitting for eye in row.eyes for sitting in eye.sittings if sitting]
