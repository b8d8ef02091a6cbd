"""The published JSON Schema of a case: valid, and of one mind with the reader."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import jsonschema
import pytest

from consent.case import case_schema
from consent.errors import Problem

Raw = Callable[..., dict[str, Any]]
Text = Callable[[dict[str, Any]], str]
Problems = Callable[[dict[str, Any]], tuple[Problem, ...]]
DRAFT = jsonschema.Draft202012Validator


def faults(data: object) -> list[str]:
    validator = DRAFT(case_schema(), format_checker=jsonschema.FormatChecker(formats=["date"]))
    return [error.json_path for error in validator.iter_errors(data)]


def test_it_is_a_valid_schema_of_draft_2020_12() -> None:
    # Source: the meta-schema at json-schema.org/draft/2020-12/schema, as jsonschema ships it.
    assert case_schema()["$schema"] == DRAFT.META_SCHEMA["$id"]
    DRAFT.check_schema(case_schema())


def test_it_can_be_written_as_json() -> None:
    assert json.loads(json.dumps(case_schema())) == case_schema()


@pytest.mark.parametrize("name", ["ordinary", "hard"])
def test_it_accepts_the_shipped_examples(name: str, raw: Raw, as_json: Text) -> None:
    assert faults(json.loads(as_json(raw(name)))) == []


@pytest.mark.parametrize(
    ("changes", "path"),
    [
        ({"unheard_of": 1}, "$"),
        ({"eye__unheard_of": 1}, "$.eye"),
        ({"plan__lens__colour": "blue"}, "$.plan.lens"),
        ({"eye__axial_length_mm": 3.0}, "$.eye.axial_length_mm"),
        ({"eye__axial_length_mm": "23"}, "$.eye.axial_length_mm"),
        ({"patient__age_years": 17}, "$.patient.age_years"),
        ({"health__diabetes": "perhaps"}, "$.health.diabetes"),
        ({"eye__nucleus__grade": "rock"}, "$.eye.nucleus.grade"),
        ({"plan__date": "2027-02-30"}, "$.plan.date"),
        ({"schema": 2}, "$.schema"),
        ({"patient__record_number": "../x"}, "$.patient.record_number"),
    ],
)
def test_what_it_rejects_the_reader_rejects_too(
    changes: dict[str, Any], path: str, raw: Raw, as_json: Text, problems: Problems
) -> None:
    # Two independent judges: python-jsonschema on the schema, and the reader.
    data = raw("ordinary", **changes)
    assert faults(json.loads(as_json(data))) == [path]
    assert len(problems(data)) == 1


@pytest.mark.parametrize("key", ["patient", "eye", "plan", "schema"])
def test_it_asks_for_what_the_reader_asks_for(
    key: str, raw: Raw, as_json: Text, problems: Problems, removed: object
) -> None:
    data = raw("ordinary", **{key: removed})
    assert faults(json.loads(as_json(data))) == ["$"]
    assert [fault.where for fault in problems(data)] == [f"case.toml: {key}"]


def test_every_number_says_its_unit_or_has_it_in_its_name() -> None:
    # ISO 80000-1: a quantity is a number and a unit.
    missing = [
        f"{name}.{key}"
        for name, part in case_schema()["$defs"].items()
        for key, field in part.get("properties", {}).items()
        if any(option.get("type") in {"number", "integer"} for option in [field, *field.get("anyOf", ())])
        and not field.get("description")
        and not key.endswith("_years")
    ]
    assert missing == []
