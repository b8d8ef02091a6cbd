"""Merge patches held against the table of RFC 7396, and against what they are for."""

from __future__ import annotations

import json
import typing
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel

from consent.case import Case
from consent.record.identity import IDENTITY, NOT_IDENTITY
from consent.record.patch import difference, is_within, joined, merge, overlap, parted, paths, said
from consent.record.state import case_of, data_of
from tests.conftest import NAMES, shipped_case

APPENDIX_A = """
{"a":"b"}         | {"a":"c"}                  | {"a":"c"}
{"a":"b"}         | {"b":"c"}                  | {"a":"b","b":"c"}
{"a":"b"}         | {"a":null}                 | {}
{"a":"b","b":"c"} | {"a":null}                 | {"b":"c"}
{"a":["b"]}       | {"a":"c"}                  | {"a":"c"}
{"a":"c"}         | {"a":["b"]}                | {"a":["b"]}
{"a":{"b":"c"}}   | {"a":{"b":"d","c":null}}   | {"a":{"b":"d"}}
{"a":[{"b":"c"}]} | {"a":[1]}                  | {"a":[1]}
["a","b"]         | ["c","d"]                  | ["c","d"]
{"a":"b"}         | ["c"]                      | ["c"]
{"a":"foo"}       | null                       | null
{"a":"foo"}       | "bar"                      | "bar"
{"e":null}        | {"a":1}                    | {"e":null,"a":1}
[1,2]             | {"a":"b","c":null}         | {"a":"b"}
{}                | {"a":{"bb":{"ccc":null}}}  | {"a":{"bb":{}}}
"""
"""RFC 7396, Appendix A: original, patch, result."""
ROWS = [tuple(json.loads(cell) for cell in line.split("|")) for line in APPENDIX_A.strip().splitlines()]

NAME = st.sampled_from(["a", "b", "c", "d"])
LEAF = st.one_of(st.booleans(), st.integers(0, 2), st.sampled_from([0.0, 1.0, 1.5]), st.sampled_from(["", "x", "1"]))
VALUE = st.recursive(
    LEAF | st.lists(LEAF, max_size=2), lambda inner: st.dictionaries(NAME, inner, max_size=3), max_leaves=8
)
TREE = st.dictionaries(NAME, VALUE, max_size=4)
NULLS = st.recursive(LEAF | st.none(), lambda inner: st.dictionaries(NAME, inner, min_size=1, max_size=3), max_leaves=8)
PATCH = st.dictionaries(NAME, NULLS, max_size=4)
WHOLES = st.lists(st.lists(NAME, min_size=1, max_size=3).map(".".join), max_size=3)


@pytest.mark.parametrize(("original", "patch", "result"), ROWS)
def test_merge_is_that_of_the_rfc(original: Any, patch: Any, result: Any) -> None:
    kept = json.dumps(original)
    assert merge(original, patch) == result
    assert json.dumps(original) == kept, "the original was changed"


def test_the_whole_table_is_here() -> None:
    assert len(ROWS) == 15


@given(TREE, TREE)
def test_the_difference_makes_the_one_of_the_other(before: dict[str, Any], after: dict[str, Any]) -> None:
    """Compared as JSON texts, for Python holds True and 1 and 1.0 to be one."""
    made = merge(before, difference(before, after))
    assert json.dumps(made, sort_keys=True) == json.dumps(after, sort_keys=True)


@given(TREE)
def test_there_is_no_difference_to_itself(tree: dict[str, Any]) -> None:
    assert difference(tree, json.loads(json.dumps(tree))) == {}


@given(PATCH, WHOLES)
def test_the_halves_of_a_patch_make_the_whole_again(patch: dict[str, Any], wholes: list[str]) -> None:
    """What a patch takes away (null) is taken away by one of its halves and stands in the whole."""
    rest, taken = parted(patch, wholes)
    assert joined(rest, taken) == patch
    assert set(paths(patch)) <= set(paths(rest)) | set(paths(taken))
    assert all(is_within(path, wholes) for path in paths(taken))
    assert not any(is_within(path, wholes) for path in paths(rest))


@given(TREE, TREE, WHOLES)
def test_halves_put_on_one_after_the_other_do_what_the_whole_does(
    before: dict[str, Any], after: dict[str, Any], wholes: list[str]
) -> None:
    rest, taken = parted(difference(before, after), wholes)
    assert merge(merge(before, rest), taken) == after


@pytest.mark.parametrize(
    ("ours", "theirs", "both"),
    [
        (("eye.pupil_mm",), ("eye.pupil_mm",), ("eye.pupil_mm",)),
        (("eye.pupil_mm",), ("eye",), ("eye.pupil_mm",)),
        (("eye",), ("eye.pupil_mm",), ("eye",)),
        (("eye.pupil_mm", "plan.place"), ("plan.place", "health"), ("plan.place",)),
        (("eye.pupil_mm",), ("eye.pupil",), ()),
        (("eye",), ("eyes", "ey"), ()),
        (("eye",), (), ()),
        ((), ("eye",), ()),
    ],
)
def test_overlap(ours: tuple[str, ...], theirs: tuple[str, ...], both: tuple[str, ...]) -> None:
    assert overlap(ours, iter(theirs)) == both


@given(TREE, TREE, TREE)
def test_what_does_not_overlap_can_be_put_on_in_either_order(
    before: dict[str, Any], one: dict[str, Any], other: dict[str, Any]
) -> None:
    """Why two people may write to one case: where ``overlap`` finds nothing, neither takes anything from the other."""
    ours, theirs = difference(before, one), difference(before, other)
    if not overlap(tuple(paths(ours)), paths(theirs)):
        assert merge(merge(before, ours), theirs) == merge(merge(before, theirs), ours)


# Which half a part of the case belongs to


def texts(model: type[BaseModel], before: str = "") -> Iterator[str]:
    """The dotted name of every field of ``model`` and its parts that may hold a free text."""
    for name, field in model.model_fields.items():
        yield from _texts(field.annotation, f"{before}{field.alias or name}")


def _texts(annotation: Any, path: str) -> Iterator[str]:
    if annotation is str:
        yield path
    elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield from texts(annotation, f"{path}.")
    elif typing.get_origin(annotation) is not typing.Literal:
        for inner in typing.get_args(annotation):
            yield from _texts(inner, path)


TEXTS = sorted(set(texts(Case)))


def test_the_walk_finds_texts_at_every_depth() -> None:
    assert {"patient.name", "visits.note", "health.allergies.known.reaction", "plan.surgeon.name"} & set(TEXTS)
    assert len(TEXTS) > 60


@pytest.mark.parametrize("path", TEXTS)
def test_each_text_of_the_case_is_of_the_patient_or_is_not(path: str) -> None:
    assert is_within(path, IDENTITY) is not (path in NOT_IDENTITY)


def test_no_name_in_the_lists_is_of_nothing() -> None:
    assert set(NOT_IDENTITY) <= set(TEXTS)
    known = {name for path in every_field(Case) for name in _upwards(path)}
    assert set(IDENTITY) <= known


def every_field(model: type[BaseModel], before: str = "") -> Iterator[str]:
    """The dotted name of every field of ``model`` and its parts."""
    for name, field in model.model_fields.items():
        path = f"{before}{field.alias or name}"
        yield path
        for part in _models(field.annotation):
            yield from every_field(part, f"{path}.")


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _models(inner)


def _upwards(path: str) -> Iterator[str]:
    parts = path.split(".")
    for end in range(1, len(parts) + 1):
        yield ".".join(parts[:end])


@pytest.mark.parametrize("name", NAMES)
def test_a_case_is_kept_and_read_again_unchanged(name: str) -> None:
    case = shipped_case(name)
    data = json.loads(json.dumps(data_of(case)))
    assert case_of(data) == case
    assert data_of(case_of(data)) == data


@pytest.mark.parametrize("name", NAMES)
def test_the_halves_of_a_case_are_the_case(name: str) -> None:
    case = shipped_case(name)
    rest, taken = parted(data_of(case), IDENTITY)
    assert case_of(merge(rest, taken)) == case
    known = (case.patient.name, case.patient.record_number, case.patient.telephone)
    for one in filter(None, known):
        assert one in json.dumps(taken) and one not in json.dumps(rest)


def test_an_empty_list_says_nothing_only_where_there_was_nothing() -> None:
    """What a list held is taken away by an empty one: whoever does that has changed it."""
    before = {"answers": ["one"], "talk": {"said_back": ["eye"]}, "visits": []}
    emptied = {"answers": [], "talk": {"said_back": [], "questions": []}, "drop_changes": [], "a.b": {"c": []}}
    assert list(said(emptied, before)) == ["answers", "talk.said_back"]
    assert list(said({"visits": None, "plan": {"date": "x"}}, before)) == ["visits", "plan.date"]
