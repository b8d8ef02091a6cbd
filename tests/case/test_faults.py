"""Every fault of a case names the file, the key, the value and what is allowed, all of them at once."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from consent import errors
from consent.case import Case, case_schema
from consent.errors import CaseError, ConsentError, Problem

Raw = Callable[..., dict[str, Any]]
Problems = Callable[[dict[str, Any]], tuple[Problem, ...]]
Accepted = Callable[[dict[str, Any]], Case]


def numbers(schema: dict[str, Any], node: dict[str, Any], path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every number with both limits in the published JSON Schema, with its dotted key."""
    for part in [node, *node.get("anyOf", ()), *node.get("allOf", ())]:
        if "$ref" in part:
            yield from numbers(schema, schema["$defs"][part["$ref"].rpartition("/")[2]], path)
        elif {"minimum", "maximum"} <= part.keys():
            yield path, {**part, "description": node.get("description", "")}
        for key, inner in part.get("properties", {}).items():
            yield from numbers(schema, inner, f"{path}.{key}".lstrip("."))


# Source of the limits: the JSON Schema the program publishes for editors. The reader must say and keep the same ones.
NUMBERS = {path: limits for path, limits in numbers(case_schema(), case_schema()) if not path.startswith("done.lens")}

# Units as the International System writes them, from the ending of the key (BIPM SI brochure; mmHg and dioptre are
# units in clinical use; mg/dL is the unit of Indian laboratories).
UNITS = {
    "_mm": "mm",
    "_mmhg": "mmHg",
    "_d": "dioptres",
    "_mg_dl": "mg/dL",
    "_per_mm2": "per mm2",
}


def with_number(raw: Raw, path: str, value: float) -> dict[str, Any]:
    return raw("ordinary", **{path.replace(".", "__"): value})


def step(limits: dict[str, Any]) -> float:
    return 1 if limits["type"] == "integer" else 0.01


def test_the_walk_over_numbers_finds_them() -> None:
    # Guards the walk: axial length and age, the two numbers of the risk model, are among them.
    assert {"eye.axial_length_mm", "patient.age_years", "plan.lens.power_d", "fitness.inr"} <= NUMBERS.keys()
    assert {"day1.pressure_mmhg", "done.stitches", "measurement.target_d"} <= NUMBERS.keys()


@pytest.mark.parametrize("path", NUMBERS)
@pytest.mark.parametrize("side", ["minimum", "maximum"])
def test_a_number_outside_its_limits_names_key_value_limit_and_unit(
    path: str, side: str, raw: Raw, problems: Problems
) -> None:
    limits = NUMBERS[path]
    bound = limits[side]
    value = round(bound - step(limits) if side == "minimum" else bound + step(limits), 2)
    found = problems(with_number(raw, path, value))
    assert len(found) == 1
    assert found[0].where == f"case.toml: {path}"
    assert repr(value) in found[0].what
    assert f"{bound:g}" in found[0].what.removeprefix(repr(value))
    key = path.rpartition(".")[2]
    for ending, unit in UNITS.items():
        if key.endswith(ending):
            assert unit in found[0].remedy


@pytest.mark.parametrize("path", NUMBERS)
@pytest.mark.parametrize("side", ["minimum", "maximum"])
def test_a_number_at_its_limit_is_accepted(path: str, side: str, raw: Raw, accepted: Accepted) -> None:
    # JSON Schema validation, sections 6.2.2 and 6.2.4: minimum and maximum are inclusive.
    data = with_number(raw, path, NUMBERS[path][side])
    held: Any = accepted(data)
    for part in path.split("."):
        held = getattr(held, part)
    assert held == NUMBERS[path][side]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_number_that_is_no_number_is_refused(value: float, raw: Raw, problems: Problems) -> None:
    # TOML 1.0.0 can write nan and inf; IEEE 754: comparisons with nan are false, so a limit alone would let it through.
    found = problems(raw("ordinary", eye__axial_length_mm=value))
    assert [problem.where for problem in found] == ["case.toml: eye.axial_length_mm"]


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        # a value of another type (TOML 1.0.0 types), which is never guessed at
        ("eye__axial_length_mm", "23.2", "number"),
        ("patient__age_years", 65.5, "integer"),
        ("health__diabetes", True, "'yes', 'no' or 'unknown'"),
        ("eye", "left", "object"),
        ("visits", {"kind": "day 1"}, "array"),
        ("plan__date", "24 February 2027", "date"),
        ("plan__date", "2027-02-30", "date"),  # ISO 8601-1: no such day
        ("plan__time", "25:00:00", "time"),  # RFC 3339, section 5.6: hours 00-23
        ("talk__at", "yesterday", "datetime"),
        # text
        ("patient__name", "", "at least 1 character"),
        ("patient__name", "x" * 201, "at most 200 characters"),
        ("patient__record_number", "../../etc/passwd", "pattern"),
        ("patient__language", "xx-nowhere", "language tag"),  # BCP 47; not in CLDR
        ("eye__acuity_corrected", "0.1", "is not an acuity"),
    ],
)
def test_a_wrong_value_names_file_key_and_what_is_allowed(
    key: str, value: object, said: str, raw: Raw, problems: Problems
) -> None:
    found = problems(raw("ordinary", **{key: value}))
    assert len(found) == 1
    assert found[0].where == f"case.toml: {key.replace('__', '.')}"
    assert said in f"{found[0].what} {found[0].remedy}"
    if isinstance(value, str) and value:
        assert value in found[0].what


@pytest.mark.parametrize("key", ["patient.name", "patient.language", "eye.side", "plan.side", "plan.date"])
def test_a_key_that_is_needed_is_named(key: str, raw: Raw, problems: Problems, removed: object) -> None:
    # Without these no sheet could name patient, eye and day (WHO surgical safety checklist 2009: identity, site,
    # procedure and consent are confirmed before anaesthesia).
    found = problems(raw("ordinary", **{key.replace(".", "__"): removed}))
    assert [problem.where for problem in found] == [f"case.toml: {key}"]
    assert "needed" in found[0].what


def misspelt(key: str) -> str:
    """The commonest slip of a typist: two neighbouring letters the other way round (Damerau 1964, CACM 7:171-176)."""
    middle = len(key) // 2
    return key[: middle - 1] + key[middle] + key[middle - 1] + key[middle + 1 :]


def long_keys(data: dict[str, Any], path: str = "") -> Iterator[str]:
    for key, value in data.items():
        here = f"{path}.{key}".lstrip(".")
        if isinstance(value, dict):
            yield from long_keys(value, here)
        elif len(key) >= 5 and misspelt(key) != key:
            yield here


def test_a_misspelt_key_is_answered_with_the_right_one(raw: Raw, problems: Problems) -> None:
    keys = list(long_keys(raw("hard")))
    assert len(keys) > 80
    for key in keys:
        table, _, name = key.rpartition(".")
        wrong = f"{table}.{misspelt(name)}".lstrip(".")
        found = [fault for fault in problems(raw("hard", **{wrong.replace(".", "__"): "x"})) if "known" in fault.what]
        assert [fault.where for fault in found] == [f"case.toml: {wrong}"]
        assert f'"{name}"' in found[0].remedy


def test_a_key_like_no_other_is_to_be_removed(raw: Raw, problems: Problems) -> None:
    # No suggestion is better than a misleading one.
    found = problems(raw("ordinary", eye__qqqq="x"))
    assert [fault.where for fault in found] == ["case.toml: eye.qqqq"]
    assert "did you mean" not in found[0].remedy


def test_a_key_in_the_wrong_table_is_not_known_there(raw: Raw, problems: Problems) -> None:
    # diabetes belongs to the patient's health, not to the eye.
    found = problems(raw("ordinary", eye__diabetes="yes"))
    assert [fault.where for fault in found] == ["case.toml: eye.diabetes"]
    assert "not known" in found[0].what


@pytest.mark.parametrize(
    ("key", "wrong", "right"),
    [
        ("eye__nucleus__grade", "brunesent", "brunescent"),
        ("plan__operation", "phacoemulsifcation", "phacoemulsification"),
        ("eye__glaucoma", "open-angle", "open angle"),
        ("plan__surgeon__grade", "Consultant", "consultant"),
        ("eye__light_projection", "innaccurate", "inaccurate"),
    ],
)
def test_a_misspelt_answer_is_answered_with_the_right_one(
    key: str, wrong: str, right: str, raw: Raw, problems: Problems
) -> None:
    found = problems(raw("ordinary", **{key: wrong}))
    assert len(found) == 1
    assert repr(wrong) in found[0].what
    assert right in found[0].remedy.partition("Allowed")[0]


def test_a_fault_inside_a_list_gives_its_place(raw: Raw, problems: Problems) -> None:
    # Places count from 0, as in JSON Pointer (RFC 6901).
    data = raw("ordinary")
    data["visits"][2] = {"kind": "day 1", "dat": dt.date(2027, 3, 15)}
    assert {fault.where for fault in problems(data)} == {"case.toml: visits.2.date", "case.toml: visits.2.dat"}


def test_all_faults_are_reported_together(raw: Raw, problems: Problems, removed: object) -> None:
    data = raw(
        "ordinary",
        patient__name=removed,
        eye__axial_length_mm=232.0,
        eye__pupl_grade="large",
        health__asthma="perhaps",
        plan__date="soon",
    )
    found = problems(data)
    assert {fault.where for fault in found} == {
        "case.toml: patient.name",
        "case.toml: eye.axial_length_mm",
        "case.toml: eye.pupl_grade",
        "case.toml: health.asthma",
        "case.toml: plan.date",
    }
    assert len(found) == 5


def test_the_message_of_the_error_holds_every_problem(raw: Raw, problems: Problems) -> None:
    found = problems(raw("ordinary", eye__axial_length_mm=2.0, eye__side="middle"))
    text = str(CaseError(found))
    assert len(found) == 2
    assert all(fault.where in text and fault.what in text and fault.remedy in text for fault in found)


def test_waking_hours_that_run_backwards_are_refused(raw: Raw, problems: Problems) -> None:
    found = problems(raw("ordinary", patient__waking_from=dt.time(22), patient__waking_to=dt.time(7)))
    assert [fault.where for fault in found] == ["case.toml: patient"]
    assert "waking_to" in found[0].what


def test_every_kind_of_error_has_its_own_exit_code() -> None:
    # A caller must tell a broken case from a broken clinic by the exit status alone (POSIX.1-2017, exit: 0 is success,
    # 1-125 are free for the program).
    found = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, ConsentError)]
    # A narrower kind, such as something that is not in the record, is told apart by pages and not by the exit status.
    kinds = [kind for kind in found if "exit_code" in vars(kind)]
    assert all(set(kind.__mro__[1:]) & set(kinds) for kind in set(found) - set(kinds))
    codes = [kind.exit_code for kind in kinds]
    assert len(kinds) >= 5
    assert len(set(codes)) == len(codes)
    assert all(1 <= code <= 125 for code in codes)


# Unicode 16.0, chapter 23: bidirectional controls, and characters that show nothing.
HIDDEN = {
    "\u202eamit": "turn letters round",
    "am\u2067it": "turn letters round",
    "am\u00adit": "hidden signs",
    "\u3164": "shows nothing",
    "\u2800\uffa0": "shows nothing",
    "\u200b": "shows nothing",
    "\u2060\ufeff": "shows nothing",
    "\u200d": "shows nothing",
}


@pytest.mark.parametrize("name", HIDDEN)
def test_a_name_that_shows_nothing_or_turns_the_line_round_is_refused(raw: Raw, problems: Problems, name: str) -> None:
    data = raw()
    data["patient"]["name"] = name
    (problem,) = problems(data)
    assert "patient.name" in problem.where
    assert HIDDEN[name] in problem.what


@pytest.mark.parametrize("name", ["\u09b0\u200d\u09cd\u09af\u09be", "\u0627\u062d\u200f\u0645\u062f", "O\u2019Example"])
def test_joiners_inside_a_name_and_right_to_left_scripts_are_no_hidden_signs(
    raw: Raw, accepted: Accepted, name: str
) -> None:
    data = raw()
    data["patient"]["name"] = name
    assert accepted(data).patient.name == name
