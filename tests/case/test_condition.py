"""Conditions on a case: each kind of test, where a key leads, and what the loader refuses.

What the language means is the project's own rule; the only published part is acuity, ISO 8596: the logMAR is the
base-10 logarithm of the smallest angle seen, in minutes of arc.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from pydantic import ValidationError

from consent.case import Case
from consent.case.condition import Condition, values_at
from tests.editing import case_maker, shipped
from tests.property.random_cases import random_cases

make_case = case_maker()


def condition(*tables: dict[str, Any]) -> Condition:
    """The condition as a rule file would give it."""
    return Condition.model_validate_json(json.dumps(tables))


def holds(changes: dict[str, Any], *tables: dict[str, Any]) -> bool:
    """Whether the ordinary example with ``changes`` meets the condition."""
    return condition(*tables).holds(make_case(changes))


LENS = {"design": "three-piece", "material": "acrylic"}
RIGID = {"design": "rigid", "material": "PMMA", "power_d": 20.0}
HELPER = {"name": "R. Example", "role": "nurse", "task": "hands instruments"}
ONE_ALLERGY = {"asked": "known", "known": [{"substance": "sulfa tablets"}]}
TWO_ALLERGIES = {"asked": "known", "known": [{"substance": "latex"}, {"substance": "iodine", "severe": "yes"}]}
ROWS: list[tuple[str, dict[str, Any], Any, bool]] = [
    # a list of values: one of them; a key left out has the answer "unknown", which is a value like any other
    ("eye.white", {"eye.white": "yes"}, ["yes"], True),
    ("eye.white", {"eye.white": "no"}, ["yes"], False),
    ("eye.white", {"eye.white": "unknown"}, ["yes"], False),
    ("eye.white", {"eye.white": "unknown"}, ["no", "unknown"], True),
    ("eye.ultrasound", {}, ["not done"], True),
    ("eye.herpes_keratitis", {"eye.herpes_keratitis": "past"}, ["past", "active"], True),
    ("plan.operation", {}, ["phacoemulsification with trabeculectomy"], False),
    # numbers: from at_least on, below the upper limit, nothing recorded is no number
    ("eye.pupil_mm", {"eye.pupil_mm": 4.0}, {"at_least": 4.0}, True),
    ("eye.pupil_mm", {"eye.pupil_mm": 3.9}, {"at_least": 4.0}, False),
    ("eye.pupil_mm", {"eye.pupil_mm": 4.0}, {"below": 4.0}, False),
    ("eye.pupil_mm", {"eye.pupil_mm": 3.9}, {"below": 4.0}, True),
    ("eye.pupil_mm", {"eye.pupil_mm": 3.0}, {"at_least": 3.0, "below": 4.0}, True),
    ("eye.pupil_mm", {"eye.pupil_mm": 2.9}, {"at_least": 3.0, "below": 4.0}, False),
    ("eye.pupil_mm", {"eye.pupil_mm": 4.0}, {"at_least": 3.0, "below": 4.0}, False),
    ("eye.pupil_mm", {"eye.pupil_mm": None}, {"below": 10.0}, False),
    ("eye.injections_into_eye", {"eye.injections_into_eye": 0}, {"at_least": 0.0}, True),
    ("eye.injections_into_eye", {"eye.injections_into_eye": 0}, {"at_least": 1.0}, False),
    ("measurement.target_d", {"measurement.target_d": -2.0}, {"below": -1.75}, True),
    ("age_years", {"patient.birth_date": "1961-02-25"}, {"below": 66.0}, True),
    ("age_years", {"patient.birth_date": "1961-02-24"}, {"below": 66.0}, False),
    # any value but these
    ("eye.glaucoma", {"eye.glaucoma": "open angle"}, {"not": ["none", "unknown"]}, True),
    ("eye.glaucoma", {"eye.glaucoma": "unknown"}, {"not": ["none", "unknown"]}, False),
    ("other_eye.regimen", {}, {"not": ["nothing"]}, False),
    ("plan.extra_steps", {"plan.extra_steps": ["stitch"]}, {"not": ["nothing"]}, True),
    ("plan.extra_steps", {"plan.extra_steps": []}, {"not": ["nothing"]}, False),
    ("plan.extra_steps", {"plan.extra_steps": ["stitch", "no lens today"]}, {"not": ["stitch"]}, False),
    ("plan.extra_steps", {"plan.extra_steps": ["no lens today"]}, {"not": ["stitch"]}, True),
    # words within a text, great and small letters alike
    ("health.medicines", {"health.medicines": ["Aspirin 75 mg"]}, {"holds_one_of": ["aspirin"]}, True),
    ("health.medicines", {"health.medicines": ["aspirin 75 mg"]}, {"holds_one_of": ["warfarin", "ASPIRIN"]}, True),
    ("health.medicines", {"health.medicines": ["metformin"]}, {"holds_one_of": ["aspirin"]}, False),
    ("health.medicines", {"health.medicines": ["metformin", "warfarin"]}, {"holds_one_of": ["warfarin"]}, True),
    ("health.medicines", {"health.medicines": []}, {"holds_one_of": ["aspirin"]}, False),
    # ISO 8596: 6/60 is 1.0 logMAR, 6/120 is 1.3; counting fingers and less are worse than any chart
    ("eye.acuity_corrected", {"eye.acuity_corrected": "6/120"}, {"worse_than_logmar": 1.0}, True),
    ("eye.acuity_corrected", {"eye.acuity_corrected": "6/60"}, {"worse_than_logmar": 1.0}, False),
    ("eye.acuity_corrected", {"eye.acuity_corrected": "decimal 0.05"}, {"worse_than_logmar": 1.3}, True),
    ("eye.acuity_corrected", {"eye.acuity_corrected": "1.30 logMAR"}, {"worse_than_logmar": 1.3}, False),
    ("eye.acuity_corrected", {"eye.acuity_corrected": "CF 1 m"}, {"worse_than_logmar": 2.0}, True),
    ("eye.acuity_corrected", {"eye.acuity_corrected": "NPL"}, {"worse_than_logmar": 2.0}, True),
    ("eye.acuity_corrected", {"eye.acuity_corrected": None}, {"worse_than_logmar": 0.0}, False),
    # "nothing": a key left out, an empty list, a table not there; "something": a table that is there
    ("measurement.target_d", {"measurement.target_d": None}, ["nothing"], True),
    ("measurement.target_d", {"measurement.target_d": 0.0}, ["nothing"], False),
    ("patient.what_matters", {"patient.what_matters": []}, ["nothing"], True),
    ("patient.what_matters", {"patient.what_matters": ["work"]}, ["nothing"], False),
    ("patient.interpreter", {}, ["nothing"], True),
    ("patient.interpreter", {"patient.interpreter": {"name": "I. Example"}}, ["nothing"], False),
    ("patient.interpreter", {"patient.interpreter": {"name": "I. Example"}}, ["something"], True),
    ("patient.interpreter", {}, ["something"], False),
    ("plan.fallback_lenses", {"plan.fallback_lenses": [LENS]}, ["something"], True),
    ("plan.fallback_lenses", {"plan.fallback_lenses": []}, ["something"], False),
    ("plan.lens.design", {"plan.lens": None}, ["nothing"], True),
    ("plan.lens.design", {"plan.lens": None}, ["rigid"], False),
    ("health.alpha_blocker.drugs", {"health.alpha_blocker": {"ever": "yes"}}, ["nothing", "other"], True),
    # lists on the way: one member is enough
    ("plan.fallback_lenses.design", {"plan.fallback_lenses": [LENS, RIGID]}, ["rigid"], True),
    ("plan.fallback_lenses.design", {"plan.fallback_lenses": [LENS]}, ["rigid"], False),
    ("plan.fallback_lenses.power_d", {"plan.fallback_lenses": [LENS, RIGID]}, {"at_least": 20.0}, True),
    ("plan.fallback_lenses.power_d", {"plan.fallback_lenses": [LENS]}, {"at_least": -15.0}, False),
    ("health.allergies.known.severe", {"health.allergies": TWO_ALLERGIES}, ["yes"], True),
    ("health.allergies.known.severe", {"health.allergies": ONE_ALLERGY}, ["yes"], False),
    ("health.allergies.known.substance", {"health.allergies": TWO_ALLERGIES}, {"holds_one_of": ["IODINE"]}, True),
    ("plan.others.role", {"plan.others": [HELPER]}, ["surgeon", "nurse"], True),
    ("talk.said_back.result", {}, ["not yet"], False),
]


@pytest.mark.parametrize(("key", "changes", "test", "expected"), ROWS)
def test_one_key(key, changes, test, expected):
    assert holds(changes, {key: test}) is expected


WHITE, HARD = {"eye.white": ["yes"]}, {"eye.nucleus.grade": ["hard"]}
WHITE_OR_HARD = [
    ({}, False, False),
    ({"eye.white": "yes"}, True, False),
    ({"eye.nucleus.grade": "hard"}, True, False),
    ({"eye.white": "yes", "eye.nucleus.grade": "hard"}, True, True),
]


@pytest.mark.parametrize(("changes", "either", "both"), WHITE_OR_HARD)
def test_several_tables_are_or_and_several_keys_are_and(changes, either, both):
    assert holds(changes, WHITE, HARD) is either
    assert holds(changes, WHITE | HARD) is both


def test_keys_are_named_once_and_in_order():
    assert condition(HARD | WHITE, WHITE | {"age_years": {"below": 40.0}}).keys() == (
        "eye.nucleus.grade",
        "eye.white",
        "age_years",
    )


@pytest.mark.parametrize(
    ("changes", "key", "expected"),
    [
        ({"health.allergies": TWO_ALLERGIES}, "health.allergies.known.substance", ("latex", "iodine")),
        ({"eye.pupil_mm": 4.5}, "eye.pupil_mm", (4.5,)),
        ({"eye.pupil_mm": None}, "eye.pupil_mm", ()),
        ({"plan.lens": None}, "plan.lens.design", ()),
        ({"plan.fallback_lenses": [LENS, RIGID]}, "plan.fallback_lenses.power_d", (20.0,)),
        ({"patient.birth_date": "1961-02-24"}, "age_years", (66,)),
        ({}, "no.such.key", ()),
    ],
)
def test_what_stands_under_a_key(changes, key, expected):
    assert values_at(make_case(changes), key) == expected


REFUSED: list[tuple[list[Any], str]] = [
    ([{"eye.colour": ["brown"]}], "no case has the key eye.colour"),
    ([{"eye.pupil_mm.size": ["4"]}], "no case has the key eye.pupil_mm.size"),
    ([{"": ["yes"]}], "no case has the key"),
    ([{"eye.white": ["perhaps"]}], 'eye.white is never "perhaps"'),
    ([{"eye.white": ["yes", "Yes"]}], 'eye.white is never "Yes"'),
    ([{"eye.white": {"not": ["perhaps"]}}], 'eye.white is never "perhaps"'),
    ([{"eye.herpes_keratitis": ["recent"]}], 'eye.herpes_keratitis is never "recent"'),
    ([{"plan.fallback_lenses.design": ["soft"]}], 'plan.fallback_lenses.design is never "soft"'),
    ([{"eye.white": ["something"]}], 'eye.white is never "something"'),
    ([{"patient.interpreter": ["yes"]}], 'patient.interpreter is never "yes"'),
    ([{"eye.white": []}], "eye.white names no value"),
    ([{"eye.white": {"not": []}}], "at least 1 item"),
    ([{"health.medicines": {"holds_one_of": []}}], "at least 1 item"),
    ([{"eye.white": {"at_least": 1.0}}], "eye.white is not a number"),
    ([{"patient.name": {"below": 1.0}}], "patient.name is not a number"),
    ([{"invented": {"at_least": 1.0}}], "invented is not a number"),
    ([{"eye.pupil_mm": {}}], "a range needs at_least, below, or both"),
    ([{"eye.pupil_mm": {"holds_one_of": ["4"]}}], "eye.pupil_mm is not a text"),
    ([{"eye.white": {"worse_than_logmar": 1.0}}], "eye.white is not a text"),
    ([{"eye.pupil_mm": {"about": 4.0}}], "Extra inputs are not permitted"),
    ([{"eye.pupil_mm": {"at_least": "4"}}], "valid number"),
    ([{"eye.white": "yes"}], "should be a valid array"),
    ([{}], "at least 1 item"),
    ([WHITE, {"eye.colour": ["brown"]}], "no case has the key eye.colour"),
]


@pytest.mark.parametrize(("tables", "said"), REFUSED, ids=[json.dumps(tables) for tables, _ in REFUSED])
def test_what_no_case_can_meet_is_refused_with_its_reason(tables, said):
    with pytest.raises(ValidationError) as caught:
        condition(*tables)
    assert said in str(caught.value)


def test_every_fault_is_named_at_once():
    with pytest.raises(ValidationError) as caught:
        condition({"eye.colour": ["brown"], "eye.white": ["perhaps"]}, {"eye.pupil_mm": {"holds_one_of": ["4"]}})
    for said in ("eye.colour", "perhaps", "eye.pupil_mm is not a text"):
        assert said in str(caught.value)


# A second reading of every shipped condition: plain dictionaries of the file and of the case, no model in between

TABLES = (
    ("compose", "story.toml"),
    ("compose", "teach_back.toml"),
    ("review", "options.toml"),
    ("review", "steps.toml"),
    ("review", "contradictions.toml"),
    *(("review", "elements", f"{name}.toml") for name in ("IN", "UK", "US", "EU", "SM", "ST", "UN", "RK")),
)


def conditions_in(value: Any) -> list[list[dict[str, Any]]]:
    """The raw conditions in a shipped file: what stands under ``when``, ``one`` and ``other``."""
    if isinstance(value, list):
        return [found for entry in value for found in conditions_in(entry)]
    if not isinstance(value, dict):
        return []
    here = [entry for key, entry in value.items() if key in ("when", "one", "other") and isinstance(entry, list)]
    return here + [found for key, entry in value.items() for found in conditions_in(entry)]


def plainly(data: dict[str, Any], tables: list[dict[str, Any]]) -> bool:
    return any(all(plainly_one(data, key, test) for key, test in table.items()) for table in tables)


def plainly_one(data: dict[str, Any], key: str, test: Any) -> bool:
    found: list[Any] = [data]
    for name in key.split("."):
        found = [value.get(name) for value in found]
        found = [inner for value in found for inner in (value if isinstance(value, list) else [value])]
        found = [value for value in found if value is not None]
    words = ["something" if isinstance(value, dict) else value for value in found] or ["nothing"]
    match test:
        case list():
            return not set(words).isdisjoint(test)
        case {"not": named}:
            return set(words).isdisjoint(named)
        case {"holds_one_of": named}:
            return any(name.lower() in word.lower() for name in named for word in words)
    low, high = test.get("at_least", float("-inf")), test.get("below", float("inf"))
    return any(low <= value < high for value in found)


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    return list(random_cases(seed=8596, count=150))


@pytest.mark.parametrize("file", TABLES, ids="/".join)
def test_every_shipped_condition_read_a_second_way(file, cases):
    plain = [{**case.model_dump(mode="json"), "age_years": case.patient.age_on(case.plan.date)} for case in cases]
    for tables in conditions_in(shipped(*file)):
        rule = condition(*tables)
        assert [rule.holds(case) for case in cases] == [plainly(data, tables) for data in plain]


def test_the_second_reading_is_put_to_every_kind_of_test(cases):
    """And most conditions are met by some of the cases and not by others, so that agreement says something."""
    found = [tables for file in TABLES for tables in conditions_in(shipped(*file))]
    tests = [test for tables in found for table in tables for test in table.values()]
    kinds = {kind for test in tests for kind in (test if isinstance(test, dict) else ["list"])}
    assert kinds == {"list", "at_least", "below", "not", "holds_one_of"}
    answers = [{condition(*tables).holds(case) for case in cases} for tables in found]
    assert len([both for both in answers if both == {True, False}]) > 0.9 * len(found) > 150
