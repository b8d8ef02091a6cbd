"""Reading a case: what the file says is what the case holds, and a file that is no case says so."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from consent.case import Case, read_case
from consent.errors import CaseError

Raw = Callable[..., dict[str, Any]]
NAMES = ("ordinary", "hard")


def leaves(value: object, path: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], object]]:
    """Every value of a table with the keys that lead to it."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from leaves(inner, (*path, key))
    elif isinstance(value, list | tuple):
        for index, inner in enumerate(value):
            yield from leaves(inner, (*path, index))
    else:
        yield path, value


@pytest.mark.parametrize("name", NAMES)
def test_the_case_holds_every_value_of_its_file(name: str, examples: Path) -> None:
    # Source of each expected value: the shipped file itself, read by the standard library's TOML reader.
    read = read_case(examples / f"{name}.toml").model_dump(by_alias=True)
    written = dict(leaves(tomllib.loads((examples / f"{name}.toml").read_text(encoding="utf-8"))))
    held = dict(leaves(read))
    assert len(written) > 100
    assert {path: held.get(path, "absent") for path in written} == written


def test_every_shipped_example_is_read_and_is_marked_as_invented(examples: Path) -> None:
    # No real person may stand in a public repository (GDPR, article 4(1); Digital Personal Data Protection Act 2023).
    files = sorted(examples.iterdir())
    assert {file.stem for file in files} >= set(NAMES)
    assert all(read_case(file).invented for file in files)


@pytest.mark.parametrize("name", NAMES)
def test_the_same_case_as_json_is_equal(
    name: str, raw: Raw, as_json: Callable[..., str], examples: Path, tmp_path: Path
) -> None:
    # TOML 1.0.0 dates are RFC 3339 text in JSON (RFC 8259 has no date type).
    file = tmp_path / f"{name}.json"
    file.write_text(as_json(raw(name)), encoding="utf-8")
    assert read_case(file) == read_case(examples / f"{name}.toml")


def test_two_different_cases_are_not_equal(examples: Path) -> None:
    # Guards the test above: equality of cases looks at what they hold.
    assert read_case(examples / "ordinary.toml") != read_case(examples / "hard.toml")


@pytest.mark.parametrize("name", NAMES)
def test_a_case_written_out_reads_back_equal(name: str, examples: Path, tmp_path: Path) -> None:
    # Round trip: writing and reading are each other's inverse.
    first = read_case(examples / f"{name}.toml")
    file = tmp_path / "again.json"
    file.write_text(first.model_dump_json(by_alias=True), encoding="utf-8")
    assert read_case(file) == first


def test_text_outside_ascii_is_kept(raw: Raw, accepted: Callable[..., Case], tmp_path: Path) -> None:
    # RFC 3629 (UTF-8): a Bengali name keeps its code points.
    file = tmp_path / "bengali.json"
    name = "শান্তি উদাহরণ"
    data = raw("ordinary", patient__name=name)
    assert accepted(data).patient.name == name
    file.write_text(json.dumps(data, default=str, ensure_ascii=False), encoding="utf-8")
    assert read_case(file).patient.name == name


def test_a_case_is_not_changed_after_reading(examples: Path) -> None:
    # A signed sheet must stay what was read: pydantic's frozen models refuse assignment.
    case = read_case(examples / "ordinary.toml")
    with pytest.raises(ValueError, match="frozen"):
        case.patient.name = "Someone Else"


def fault(path: Path) -> str:
    with pytest.raises(CaseError) as caught:
        read_case(path)
    assert len(caught.value.problems) == 1
    problem = caught.value.problems[0]
    assert path.name in problem.where
    assert problem.remedy
    return problem.what


def test_a_missing_file_says_so(tmp_path: Path) -> None:
    # POSIX.1-2017 errno: ENOENT.
    assert "No such file" in fault(tmp_path / "absent.toml")


def test_a_folder_is_not_a_case(tmp_path: Path) -> None:
    # POSIX.1-2017 errno: EISDIR.
    folder = tmp_path / "folder.toml"
    folder.mkdir()
    assert "directory" in fault(folder)


def test_a_file_over_one_megabyte_is_refused_before_it_is_parsed(tmp_path: Path) -> None:
    # SI prefix (BIPM SI brochure, table 7): one megabyte is 10^6 bytes. The bytes are no TOML, so only size can refuse.
    file = tmp_path / "large.toml"
    file.write_bytes(b"\xff" * 1_000_001)
    assert "larger than one megabyte" in fault(file)


def test_a_file_of_one_megabyte_is_parsed(raw: Raw, as_json: Callable[..., str], tmp_path: Path) -> None:
    # The limit itself is allowed: white space after a JSON value has no meaning (RFC 8259, section 2).
    file = tmp_path / "just.json"
    file.write_text(as_json(raw("ordinary")).ljust(1_000_000), encoding="ascii")
    assert file.stat().st_size == 1_000_000
    assert read_case(file).patient.record_number == "DEMO-0001"


@pytest.mark.parametrize("encoding", ["latin-1", "utf-16"])
def test_a_file_in_another_encoding_is_refused(encoding: str, examples: Path, tmp_path: Path) -> None:
    # TOML 1.0.0: a TOML file must be a valid UTF-8 document.
    file = tmp_path / "other.toml"
    text = (examples / "ordinary.toml").read_text(encoding="utf-8").replace("Shanti", "Shànti")
    file.write_bytes(text.encode(encoding))
    assert "not UTF-8" in fault(file)


@pytest.mark.parametrize(
    ("name", "text", "kind"),
    [
        ("unclosed.toml", "[patient\n", "TOML"),
        ("yaml.toml", "patient:\n  name: A\n", "TOML"),
        ("twice.toml", 'schema = 1\nname = "A"\nname = "B"\n', "TOML"),  # TOML 1.0.0: a key is defined once
        ("date.toml", "schema = 1\nday = 2026-02-30\n", "TOML"),  # 30 February is no date (ISO 8601-1)
        ("unclosed.json", '{"schema": 1', "JSON"),
        ("single.json", "{'schema': 1}", "JSON"),  # RFC 8259, section 7: strings stand in double quotes
        ("empty.json", "", "JSON"),
    ],
)
def test_a_broken_file_says_which_kind_it_should_be_and_where(name: str, text: str, kind: str, tmp_path: Path) -> None:
    file = tmp_path / name
    file.write_text(text, encoding="utf-8")
    what = fault(file)
    assert f"not {kind}" in what
    assert "line" in what or "end of document" in what


@pytest.mark.parametrize("text", ["[]", "1", '"case"', "null"])
def test_json_that_is_no_object_is_refused(text: str, tmp_path: Path) -> None:
    # RFC 8259, section 2: each is a JSON text; none has keys.
    file = tmp_path / "list.json"
    file.write_text(text, encoding="utf-8")
    assert "no table of keys" in fault(file)


@pytest.mark.parametrize("version", [0, 2, 99, "1", 1.5])
def test_another_schema_number_is_the_only_thing_said(
    version: object, raw: Raw, as_json: Callable[..., str], tmp_path: Path
) -> None:
    # A later format may have other keys, so its keys are not judged: one problem, naming both numbers.
    file = tmp_path / "later.json"
    file.write_text(as_json(raw("ordinary", schema=version, unheard_of="key")), encoding="utf-8")
    what = fault(file)
    assert f"schema = {version!r}" in what
    assert "reads schema = 1" in what


def test_an_empty_file_names_what_a_case_cannot_do_without(tmp_path: Path) -> None:
    # A case is one patient, one eye and one operation, in a format with a number.
    file = tmp_path / "empty.toml"
    file.write_text("", encoding="utf-8")
    with pytest.raises(CaseError) as caught:
        read_case(file)
    named = {problem.where for problem in caught.value.problems}
    assert named == {f"empty.toml: {key}" for key in ("schema", "patient", "eye", "plan")}
