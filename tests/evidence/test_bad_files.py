"""Bad series files, one fault each: the loader names the file and the key, and says what is wrong.

A second table of faults beside ``test_loader_refuses.py``: other kinds of value, other kinds of figure, broken files.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from consent.errors import EvidenceError
from consent.evidence import read_library

NAME = "invented-2021.toml"

# An invented series with one figure of each kind: a rate with counts, a ratio, a spread, a mean change, and a model.
GOOD = """
id = "invented-2021"
citation = "Example B. A second invented series. J Invented 2021;2(1):5-9."
doi = "10.1234/example.2021"
pmid = "12345678"
design = "invented"
setting = "nowhere"
years = "2021"
region = "nowhere"
operations = 4000
definition = "an invented event"
notes = ["invented"]

[[figures]]
id = "rate"
outcome = "event"
group = "all"
measure = "rate"
value = 1.25
unit = "percent"
events = 50
eyes = 4000
horizon = "one year"
verified = "full-text table"
use = "default"

[[figures]]
id = "ratio"
outcome = "event"
group = "old, against young"
measure = "odds ratio"
value = 2.00
unit = "ratio"
low = 1.50
high = 2.67
interval = "printed"
horizon = "one year"
verified = "abstract"
use = "sensitivity"

[[figures]]
id = "spread"
outcome = "event"
group = "lowest to highest report"
measure = "rate"
unit = "percent"
low = 0.50
high = 4.50
interval = "spread over reports"
horizon = "one year"
verified = "quoted"
read_in = "a review"
use = "display"

[[figures]]
id = "change"
outcome = "cells"
group = "all"
measure = "mean change"
value = -0.12
unit = "ratio"
horizon = "one year"
verified = "abstract"
use = "display"

[model]
outcome = "event"
reference_probability = "rate"
overall_probability = "rate"
operations = ["any"]
youngest_years = 40
verified = "abstract"
use = "default"

[[model.factors]]
id = "length"
[[model.factors.levels]]
id = "under 26 mm"
from_mm = 18.0
odds_ratio = 1.00
[[model.factors.levels]]
id = "26 mm and over"
from_mm = 26.0
odds_ratio = 1.50

[[model.factors]]
id = "sex"
levels = [{ id = "female", odds_ratio = 1.00 }, { id = "male", odds_ratio = 1.25 }]
"""

RATIO, SPREAD, CHANGE = ('id = "ratio"', 'id = "spread"', 'id = "change"')

# What is changed (after the line given first, if any), the key the error names, words of the error.
BAD: dict[str, tuple[str, str, str, str, str]] = {
    # ---- the series ----
    "capital letter in the id": ("", '"invented-2021"', '"Invented-2021"', "id", "pattern"),
    "underscore in the id": ("", '"invented-2021"', '"invented_2021"', "id", "pattern"),
    "empty citation": ("", 'citation = "Example B. A second invented', 'citation = ""\n#', "citation", "1 character"),
    "DOI with a blank": ("", "10.1234/example.2021", "10.1234/example 2021", "doi", "pattern"),
    "PMID with letters": ("", '"12345678"', '"PMC12345678"', "pmid", "pattern"),
    "PMID as a number": ("", '"12345678"', "12345678", "pmid", "valid string"),
    "year as a number": ("", 'years = "2021"', "years = 2021", "years", "valid string"),
    "no operations": ("", "operations = 4000", "operations = 0", "operations", "greater than 0"),
    "operations with a decimal point": ("", "operations = 4000", "operations = 4000.5", "operations", "integer"),
    "operations in words": ("", "operations = 4000", 'operations = "about 4000"', "operations", "integer"),
    "operations as a truth value": ("", "operations = 4000", "operations = true", "operations", "integer"),
    "a note that is no list": ("", 'notes = ["invented"]', 'notes = "invented"', "notes", "array"),
    "an empty note": ("", 'notes = ["invented"]', 'notes = [""]', "notes.0", "1 character"),
    "a key of another kind of file": ("", 'region = "nowhere"', 'region = "nowhere"\nname = "x"', "name", "not known"),
    # ---- a figure ----
    "figure id with a blank": ("", 'id = "rate"', 'id = "the rate"', "figures.0.id", "pattern"),
    "value in words": ("", "value = 1.25", 'value = "1.25"', "figures.0.value", "number"),
    "value without end": ("", "value = 1.25", "value = inf", "figures.0.value", "finite number"),
    "value as a truth value": ("", "value = 1.25", "value = true", "figures.0.value", "number"),
    "events below 0": ("", "events = 50", "events = -50", "figures.0.events", "greater than or equal to 0"),
    "half an event": ("", "events = 50", "events = 50.5", "figures.0.events", "integer"),
    "no eyes": ("", "eyes = 4000", "eyes = 0", "figures.0.eyes", "greater than 0"),
    "eyes without events": ("", "events = 50\n", "", "figures.0", "events and eyes go together"),
    "a share given as a proportion": ("", "value = 1.25", "value = 0.0125", "figures.0", "50 of 4000 is 1.25 percent"),
    "a rate in per mille": ("", 'unit = "percent"', 'unit = "per mille"', "figures.0.unit", "one of the answers"),
    "a rate called a ratio": ("", 'unit = "percent"', 'unit = "ratio"', "figures.0", "a rate is in percent"),
    "empty horizon": ("", 'horizon = "one year"', 'horizon = ""', "figures.0.horizon", "1 character"),
    "a misspelt degree of checking": ("", '"full-text table"', '"full text table"', "figures.0.verified", "full-text"),
    "the plural of a key": ("", 'group = "all"', 'group = "all"\ngroups = "all"', "figures.0.groups", '"group"'),
    "a ratio of 0": (RATIO, "value = 2.00", "value = 0.0", "figures.1", "ratio is above 0"),
    "a negative limit of a ratio": (RATIO, "low = 1.50", "low = -1.50", "figures.1", "ratio is above 0"),
    "a ratio in percent": (RATIO, 'unit = "ratio"', 'unit = "percent"', "figures.1", "a ratio is a ratio"),
    "an interval of no known kind": (RATIO, '"printed"', '"bootstrap"', "figures.1.interval", "one of the answers"),
    "an interval of a ratio by Wilson": (RATIO, '"printed"', '"Wilson"', "figures.1", "Wilson interval needs"),
    "an interval of 99 percent in use": (RATIO, '"printed"', '"printed, 99 percent"', "figures.1", "only be shown"),
    "a crude interval in use": (RATIO, '"printed"', '"Woolf"', "figures.1", "only be shown"),
    "a figure from memory in use": (RATIO, '"abstract"', '"memory"', "figures.1", "from memory"),
    "a quoted figure with an empty place": (SPREAD, '"a review"', '""', "figures.2.read_in", "1 character"),
    "a spread with half its limits": (SPREAD, "high = 4.50\n", "", "figures.2", "go together"),
    "a spread as a default": (SPREAD, '"display"', '"default"', "figures.2", "only be shown"),
    "a spread above 100 percent": (SPREAD, "high = 4.50", "high = 104.5", "figures.2", "between 0 and 100"),
    "a mean change as a default": (CHANGE, '"display"', '"default"', "figures.3", "no probability"),
    "a mean change in percent": (CHANGE, 'unit = "ratio"', 'unit = "percent"', "figures.3", "rate is in percent"),
    # ---- the model ----
    "a model without its scale": (
        "[model]",
        'overall_probability = "rate"\n',
        "",
        "model.overall_probability",
        "needed",
    ),
    "operations as text": ("[model]", '["any"]', '"any"', "model.operations", "array"),
    "an age in words": ("[model]", "= 40", '= "forty"', "model.youngest_years", "integer"),
    "a model of no known use": ("[model]", '"default"', '"often"', "model.use", "one of the answers"),
    "a factor of one level": (
        'id = "sex"',
        ', { id = "male", odds_ratio = 1.25 }',
        "",
        "model.factors.1.levels",
        "at least 2",
    ),
    "a level without a ratio": (
        'id = "sex"',
        '"male", odds_ratio = 1.25',
        '"male"',
        "model.factors.1.levels.1.odds_ratio",
        "needed",
    ),
    "a level of no name": ('id = "sex"', '"male"', '""', "model.factors.1.levels.1.id", "1 character"),
    "an eye of 2 mm": ('id = "length"', "from_mm = 18.0", "from_mm = 2.0", "model.factors.0.levels.0.from_mm", "to 15"),
    "an eye of 260 mm": ('id = "length"', "26.0", "260.0", "model.factors.0.levels.1.from_mm", "equal to 40"),
    "a band of years and one of mm": (
        'id = "length"',
        "from_mm = 26.0",
        "from_years = 130",
        "model.factors.0.levels.1.from_years",
        "equal to 120",
    ),
    "a level with a key too many": (
        'id = "length"',
        "from_mm = 26.0",
        "from_mm = 26.0\nto_mm = 30.0",
        "model.factors.0.levels.1.to_mm",
        "not known",
    ),
}


def changed(after: str, old: str, new: str) -> str:
    """The good file with ``old`` made ``new`` once, the first time it stands after ``after``."""
    head, found, tail = GOOD.partition(after) if after else ("", "", GOOD)
    tail = found + tail
    assert old in tail
    return head + tail.replace(old, new, 1)


def refused(folder: Path) -> EvidenceError:
    with pytest.raises(EvidenceError) as caught:
        read_library(folder)
    return caught.value


def test_the_good_file_is_read(tmp_path: Path) -> None:
    # Guards every row below: what is refused there is refused for its one change.
    (tmp_path / NAME).write_text(GOOD, encoding="utf-8")
    series = read_library(tmp_path).one("invented-2021")
    assert [figure.id for figure in series.figures] == ["rate", "ratio", "spread", "change"]
    assert len(BAD) >= 30


@pytest.mark.parametrize("fault", BAD)
def test_the_file_and_the_key_are_named(fault: str, tmp_path: Path) -> None:
    after, old, new, key, words = BAD[fault]
    (tmp_path / NAME).write_text(changed(after, old, new), encoding="utf-8")
    error = refused(tmp_path)
    found = {problem.where: f"{problem.what} {problem.remedy}" for problem in error.problems}
    assert f"{NAME}: {key}" in found
    assert words in found[f"{NAME}: {key}"]
    assert error.exit_code == 5


@pytest.mark.parametrize(
    ("content", "words"),
    [
        pytest.param(b"", "this key is needed", id="empty"),
        pytest.param(b"id = ", "not TOML", id="broken off"),
        pytest.param(GOOD.encode("utf-16"), "not UTF-8", id="UTF-16"),
        pytest.param(b'citation = "Lundstr\xf6m"', "not UTF-8", id="Latin-1"),
        pytest.param(b"schema = 2\n" + GOOD.encode(), "schema = 2 is not known", id="another schema"),
        pytest.param(b"#" * 1_000_001, "larger than one megabyte", id="too large"),
        pytest.param(b"a = " + b"[" * 3000 + b"]" * 3000, "too deep", id="too deep"),
    ],
)
def test_a_file_that_is_broken_as_a_whole_is_named(content: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / NAME).write_bytes(content)
    error = refused(tmp_path)
    assert all(NAME in problem.where for problem in error.problems)
    assert words in str(error)


def test_a_folder_called_as_a_file_is_named(tmp_path: Path) -> None:
    (tmp_path / NAME).mkdir()
    assert re.search(rf"{re.escape(NAME)}.*cannot be read", str(refused(tmp_path)))


def test_one_bad_file_among_good_ones_is_the_one_named(tmp_path: Path) -> None:
    (tmp_path / NAME).write_text(GOOD, encoding="utf-8")
    other = GOOD.replace("invented-2021", "other-2021").replace("operations = 4000", "operations = 0")
    (tmp_path / "other-2021.toml").write_text(other, encoding="utf-8")
    assert [problem.where for problem in refused(tmp_path).problems] == ["other-2021.toml: operations"]
