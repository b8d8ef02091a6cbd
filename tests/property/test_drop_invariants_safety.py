"""Invariants 30 to 37: what the surgeon must see before the calendar is printed."""

from __future__ import annotations

import datetime as dt
import json
from functools import cache
from itertools import combinations
from random import Random
from typing import Any

import pytest
from pydantic import ValidationError

from consent.case import Answer, Case, OwnDrop, PointAnswer, Visit
from consent.case.model import Allergies
from consent.clinic import read_clinic
from consent.compose import utter
from consent.drops import DropPlan, DrugClass, Finding, check_drops, plan_drops
from consent.language import Speaker
from consent.pack import compose_pack
from consent.review import assess
from tests.conftest import shipped_case
from tests.property import drop_checks
from tests.property.drop_checks import Made, on_every_plan, some_plans
from tests.property.random_orders import SOURCED, Ordered, formulary, plain, random_order

SURGERY = dt.date(2027, 2, 24)


def case_of(ordered: Ordered, visits: tuple[Visit, ...] = (), **eye: Any) -> Case:
    """The shipped ordinary case with the eye, the date and the drops of an order."""
    order, case = ordered.order, shipped_case("ordinary")
    return case.model_copy(
        update={
            "eye": case.eye.model_copy(update={"side": order.side, **eye}),
            "plan": case.plan.model_copy(update={"side": order.side, "date": order.surgery, "regimen": order.regimen}),
            "visits": visits,
            "own_drops": order.own_drops,
            "drop_changes": order.changes,
        }
    )


@cache
def simple_plans() -> tuple[Made, ...]:
    """Plans of one operation without a change: every row of theirs is still to be given."""
    found = []
    for made in some_plans():
        ordered = made.ordered.with_order(changes=(), other_eye=None)
        found.append(Made(ordered, ordered.plan(), made.seed))
    return tuple(found)


def fired(plan: DropPlan, case: Case, check_id: str) -> list[Finding]:
    """The findings of one check."""
    return [finding for finding in check_drops(plan, case, formulary()) if finding.id == check_id]


def days_of(plan: DropPlan, place: int) -> set[int]:
    """Days on which the column of a row is not 0."""
    return {day.number for day in plan.days if day.counts[place]}


def test_no_class_twice_goes_unseen() -> None:
    """Invariant 30: two rows of one eye share a class on a day, components counted: exactly then there is a stop."""
    shared = 0
    for made in simple_plans():
        plan, twice = made.plan, set()
        for (a, one), (b, other) in combinations(enumerate(plan.rows), 2):
            classes = {c.drug_class for c in one.drug.components} & {c.drug_class for c in other.drug.components}
            if one.side is other.side and classes and days_of(plan, a) & days_of(plan, b):
                twice.add((one.number, other.number))
        found = fired(plan, case_of(made.ordered), "duplicate-class")
        assert {finding.rows for finding in found} == twice, made.seed
        assert all(finding.severity == "stop" for finding in found)
        shared += bool(twice)
    assert 20 < shared < 280


def test_no_drop_after_its_last_day() -> None:
    """Invariant 31: no antibiotic, alone or combined, goes beyond the days the doctor entered for it."""
    on_every_plan(drop_checks.no_drop_after_its_last_day)


def test_an_antibiotic_is_not_stretched_by_its_steroid_partner() -> None:
    """Invariant 31: a combination stops after day 7, its steroid alone goes on; a taper of the pair is asked about."""
    steps = [{"from_day": 1, "days": 7, "times_a_day": 4}]
    alone = [{"from_day": 8, "days": 7, "times_a_day": 4}, {"from_day": 15, "days": 7, "times_a_day": 2}]
    pair = {"drug": "levofloxacin-dexamethasone", "steps": steps, **SOURCED}
    steroid = {"drug": "dexamethasone-phosphate", "steps": alone, **SOURCED}
    ordered = plain({"own": {"title": "own", "items": [pair, steroid]}}, SURGERY)
    plan = ordered.plan()
    assert [row.last_day for row in plan.rows] == [7, 21]
    assert fired(plan, case_of(ordered), "antibiotic-tapered") == []
    tapered = {**pair, "steps": [*steps, {"from_day": 8, "days": 7, "times_a_day": 2}]}
    ordered = plain({"own": {"title": "own", "items": [tapered]}}, SURGERY)
    (finding,) = fired(ordered.plan(), case_of(ordered), "antibiotic-tapered")
    assert finding.severity in ("stop", "ask")


def test_every_stop_and_ask_is_on_the_surgeons_sheet() -> None:
    """Invariant 32: every finding that stops or asks is a point of the review sheet, in words, before any print."""
    clinic, several = read_clinic(), 0
    for seed in range(6):
        ordered = random_order(Random(seed)).with_order(changes=(), other_eye=None, start=None)
        own = clinic.model_copy(update={"regimens": ordered.clinic.regimens, "formulary": ordered.clinic.formulary})
        case = case_of(ordered)
        pack = compose_pack(case, own, ("en",), ("surgeon-review",))
        sheet = "\n".join(pack.documents[0].texts())
        asked = {f"drops.{f.id}" for f in pack.assessment.findings if f.severity in ("stop", "ask")}
        points = {point.id: point for point in pack.points}
        assert asked <= set(points)
        speaker = Speaker("en")
        for name in asked:
            assert utter(speaker, points[name].title).plain in sheet, name
        several += len(asked)
    assert several > 6


WHO = {
    "point": "drops.nsaid-diabetes",
    "key": "0123abcd",
    "by": "Dr A",
    "registration": "INVENTED-1",
    "at": "2027-02-24T10:00:00+05:30",
    "why": "benefit outweighs",
}


@pytest.mark.parametrize("key", ["by", "registration", "at", "why", "point", "key"])
def test_an_override_says_who_when_and_why(key: str) -> None:
    """Invariant 32: an answer to a point without a name, a registration, a moment or a reason is refused."""
    PointAnswer.model_validate_json(json_of(WHO))
    with pytest.raises(ValidationError):
        PointAnswer.model_validate_json(json_of({name: value for name, value in WHO.items() if name != key}))


def json_of(answer: dict[str, str]) -> str:
    """As in a case file."""
    return json.dumps(answer)


def test_an_answer_does_not_hide_the_point() -> None:
    """Invariant 32: an answered point is still among the points, with who, when and why."""
    case = shipped_case("ordinary")
    herpes = case.model_copy(update={"eye": case.eye.model_copy(update={"herpes_keratitis": "active"})})
    clinic = read_clinic()
    point = next(p for p in assess(herpes, clinic).points if p.id == "drops.steroid-herpes")
    answer = PointAnswer.model_validate_json(json_of({**WHO, "point": point.id, "key": point.key}))
    answered = assess(herpes.model_copy(update={"answers": (answer,)}), clinic)
    again = next(p for p in answered.points if p.id == "drops.steroid-herpes")
    assert again.severity is point.severity
    assert again.answer == answer


def test_own_drops_are_answered_for() -> None:
    """Invariant 33: each long-standing drop has a row in each of its eyes, or stands among what is not given."""
    on_every_plan(drop_checks.own_drops_are_answered_for)
    decisions = {drop.decision for made in some_plans() for drop in made.ordered.order.own_drops}
    assert decisions == {"continue", "pause", "stop", "undecided"}


def test_a_long_standing_drop_without_a_decision_is_undecided() -> None:
    """Invariant 33: silence is neither continue nor stop, and the surgeon is asked."""
    drop = OwnDrop(drug="timolol", eyes="each", times_a_day=2)
    assert drop.decision == "undecided"
    case = shipped_case("ordinary").model_copy(update={"own_drops": (drop,)})
    plan = plan_drops(case, read_clinic())
    assert [(told.word, told.side.value) for told in plan.told] == [("undecided", "right"), ("undecided", "left")]
    asked = [f for f in check_drops(plan, case, formulary()) if f.severity in ("stop", "ask") and "own" in f.id]
    assert asked


def steroid_days(made: Made) -> int:
    """Days with a steroid in the operated eye."""
    days: set[int] = set()
    for place, row in enumerate(made.plan.rows):
        steroid = any(component.drug_class is DrugClass.STEROID for component in row.drug.components)
        if steroid and row.side is made.ordered.order.side:
            days |= days_of(made.plan, place)
    return len(days)


def test_a_long_steroid_course_has_a_pressure_visit_or_asks() -> None:
    """Invariant 34: over 14 days, or in an eye at risk: a pressure visit on days 7 to 35, or the surgeon is asked."""
    draw, asked, silent = Random(34), 0, 0
    for made in simple_plans():
        day = draw.choice((3, 7, 13, 14, 21, 28, 29, 36))
        visit = Visit(kind="pressure", date=made.ordered.order.surgery + dt.timedelta(days=day))
        at_risk = draw.random() < 0.5
        case = case_of(made.ordered, (visit,), steroid_response_self=Answer.YES if at_risk else Answer.NO)
        asks = fired(made.plan, case, "steroid-without-pressure-visit")
        asks += fired(made.plan, case, "steroid-responder-visits")
        days = steroid_days(made)
        if days > 14 or (at_risk and days):
            assert asks or 7 <= day <= 35, made.seed
            asked += bool(asks)
        else:
            assert not asks, made.seed
            silent += 1
    assert asked > 10
    assert silent > 20


def test_a_long_nsaid_course_has_a_reason_and_a_cornea_visit_or_asks() -> None:
    """Invariant 35: NSAID beyond day 14: the reason is asked for and so is a visit for the cornea; else neither."""
    steps = [{"from_day": 1, "days": 30, "times_a_day": 3}]
    item = {"drug": "nepafenac", "steps": steps, **SOURCED}

    def asked(item: dict[str, Any], *visits: Visit) -> dict[str, str]:
        ordered = plain({"own": {"title": "own", "items": [item]}}, SURGERY)
        findings = check_drops(ordered.plan(), case_of(ordered, visits), formulary())
        return {f.id: f.severity for f in findings if f.id in ("nsaid-over-14-days", "nsaid-without-cornea-visit")}

    assert asked(item) == {"nsaid-over-14-days": "ask", "nsaid-without-cornea-visit": "ask"}
    cornea = Visit(kind="cornea", date=SURGERY + dt.timedelta(days=20))
    assert asked({**item, "reason": "diabetic macular oedema"}, cornea) == {"nsaid-over-14-days": "note"}
    assert asked({**item, "steps": [{"from_day": 1, "days": 14, "times_a_day": 3}]}) == {}


def test_allergies_not_asked_are_not_none() -> None:
    """Invariant 36: a case without a word on allergies is asked about; with "none" it is not."""
    for made in simple_plans()[:40]:
        case = case_of(made.ordered)
        blank = case.model_copy(update={"health": case.health.model_copy(update={"allergies": Allergies()})})
        assert [f.severity for f in fired(made.plan, blank, "allergies-not-asked")] == ["ask"]
        assert fired(made.plan, case, "allergies-not-asked") == []


def test_a_plan_without_drops_still_tells_the_rest() -> None:
    """Invariant 37: drop-free: warning signs, shield, visits and telephone on the sheet to take home."""
    case = shipped_case("ordinary")
    free = case.model_copy(update={"plan": case.plan.model_copy(update={"regimen": "drop-free"})})
    pack = compose_pack(free, read_clinic(), ("en",), ("going-home", "drop-calendar"))
    home, calendar = ("\n".join(document.texts()) for document in pack.documents)
    for words in ("You see less than the day before", "shield", "Measure the eye pressure", "00000"):
        assert words in home
    assert "no drops to put in at home" in calendar
