"""The cap last seen on a bottle, and the cautions of the drugs of a plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest

from consent.case import CapColour, CapSeen, Case, Side
from consent.clinic import Clinic
from consent.drops import plan_drops, read_formulary
from consent.drops.caps import caps_of, last_cap
from consent.drops.cautions import cautions_of
from tests.drops.checking import changed_on, with_parts


def cap(colour: str, day: int, side: str | None = None, drug: str = "moxifloxacin") -> CapSeen:
    return CapSeen(drug=drug, side=Side(side) if side else None, colour=CapColour(colour), on=dt.date(2027, 2, day))


@pytest.mark.parametrize(
    ("caps", "colour"),
    [
        ([], None),
        ([cap("white", 24)], "white"),
        ([cap("white", 24, "left"), cap("pink", 25)], "pink"),  # the later one, though its eye was not noted
        ([cap("white", 25), cap("pink", 24, "left")], "white"),
        ([cap("white", 24), cap("pink", 24)], "pink"),  # of one day the one recorded last
        ([cap("white", 24), cap("pink", 25, "right")], "white"),  # the other eye's bottle
        ([cap("white", 24, drug="timolol")], None),
    ],
)
def test_last_cap(caps: list[CapSeen], colour: str | None, clinic: Clinic, ordinary: Case) -> None:
    """Dave et al 2015, as told on aao.org: people go by the cap, so the drawing shows the one in hand."""
    supply = next(supply for supply in plan_drops(ordinary, clinic).supplies if supply.drug.id == "moxifloxacin")
    assert supply.sides == (Side.LEFT,)
    assert last_cap(caps, supply) == colour
    assert [seen.on for seen in caps_of(caps, supply)] == sorted(seen.on for seen in caps_of(caps, supply))


def test_cautions_are_those_of_the_drugs_still_given(
    clinic: Clinic, ordinary: Case, change: Callable[..., Case]
) -> None:
    """Drug by drug, as formulary.toml has them: quinolone labels, PMID 33428351."""
    plan = plan_drops(ordinary, clinic)
    told = cautions_of(plan)
    assert ("moxifloxacin 0.5%", "Known allergy to any quinolone.") in [(c.drug, c.says) for c in told]
    assert ("PMID 33428351", "abstract") in [(c.source, c.verified) for c in told]
    order = [row.drug.name for row in plan.rows]
    assert [c.drug for c in told] == sorted((c.drug for c in told), key=order.index)
    later: dict[str, Any] = changed_on("2027-03-01")
    later["drop_changes"][0]["regimen"] = "drop-free"
    stopped = plan_drops(with_parts(ordinary, later, change), clinic)
    assert cautions_of(stopped) == ()


def test_every_caution_of_the_formulary_can_be_seen(clinic: Clinic, ordinary: Case) -> None:
    """A drug of both eyes is cautioned about once; none of its cautions is lost."""
    formulary = read_formulary(clinic)
    drops = [
        {"drug": drug.id, "eyes": "each", "times_a_day": 1, "decision": "continue"}
        for drug in formulary.values()
        if drug.cautions
    ]
    case = Case.model_validate({**ordinary.model_dump(by_alias=True), "own_drops": drops}, strict=False)
    case = case.model_copy(update={"plan": case.plan.model_copy(update={"regimen": "drop-free"})})
    told = cautions_of(plan_drops(case, clinic))
    written = [(drug.name, caution.says) for drug in formulary.values() for caution in drug.cautions]
    assert len(written) > 50
    assert [(c.drug, c.says) for c in told] == written
