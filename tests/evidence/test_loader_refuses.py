"""What the loader refuses: each fault in an otherwise good file is named with file and place."""

from __future__ import annotations

from pathlib import Path

import pytest

from consent.errors import EvidenceError, Problem
from consent.evidence import Level, read_library
from consent.evidence.model import Factor

# An invented series. 5 of 200 is 2.5 percent; its Wilson interval, from scipy.stats.binomtest(5, 200)
# .proportion_ci(method="wilson"), is 1.0725 to 5.7178 percent.
GOOD = """
id = "example-2020"
citation = "Example A. An invented series. J Invented 2020;1(2):3-4."
doi = "10.1234/example.2020"
design = "invented"
setting = "nowhere"
years = "2020"
region = "nowhere"
operations = 1000
definition = "an invented event"

[[figures]]
id = "overall"
outcome = "event"
group = "all"
measure = "rate"
value = 2.50
unit = "percent"
events = 5
eyes = 200
low = 1.07
high = 5.72
interval = "Wilson"
horizon = "once"
verified = "abstract"
use = "default"

[[figures]]
id = "best"
outcome = "event"
group = "best"
measure = "rate"
value = 1.00
unit = "percent"
horizon = "once"
verified = "quoted"
read_in = "a review"
use = "default"

[model]
outcome = "event"
reference_probability = "best"
overall_probability = "overall"
operations = ["any"]
youngest_years = 18
verified = "abstract"
use = "default"

[[model.factors]]
id = "age"
[[model.factors.levels]]
id = "under 60"
from_years = 18
odds_ratio = 1.00
[[model.factors.levels]]
id = "60 and over"
from_years = 60
odds_ratio = 1.50
"""


def write(folder: Path, *changes: tuple[str, str], name: str = "example-2020.toml") -> Path:
    """The good file with each ``(old, new)`` put in place once; a change that does not apply is an error."""
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / name).write_text(text, encoding="utf-8")
    return folder


def problem(folder: Path, *changes: tuple[str, str], name: str = "example-2020.toml") -> Problem:
    with pytest.raises(EvidenceError) as caught:
        read_library(write(folder, *changes, name=name))
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0].where.startswith(name)
    return caught.value.problems[0]


def test_the_good_file_is_read(tmp_path: Path) -> None:
    # Guards every test below: what is refused there is refused for its one change.
    series = read_library(write(tmp_path)).one("example-2020")
    assert series.figure("overall").probability == 5 / 200
    assert series.model is not None
    assert series.model.factor("age").band(60).odds_ratio == 1.5


def test_an_unknown_key(tmp_path: Path) -> None:
    found = problem(tmp_path, ('horizon = "once"', 'horizon = "once"\nhorison = "twice"'))
    assert found.where == "example-2020.toml: figures.0.horison"
    assert '"horizon"' in found.remedy


def test_a_key_in_the_wrong_table(tmp_path: Path) -> None:
    found = problem(tmp_path, ('use = "default"\n\n[[figures]]', 'use = "default"\npmid = "12345678"\n\n[[figures]]'))
    assert found.where == "example-2020.toml: figures.0.pmid"


def test_a_key_written_twice(tmp_path: Path) -> None:
    # TOML 1.0.0: defining a key multiple times is invalid.
    with pytest.raises(EvidenceError, match=r"example-2020\.toml.*not TOML"):
        read_library(write(tmp_path, ('years = "2020"', 'years = "2020"\nyears = "2021"')))


@pytest.mark.parametrize("key", ["citation", "design", "setting", "years", "region", "definition"])
def test_a_series_without_what_a_reader_needs(key: str, tmp_path: Path) -> None:
    line = next(line for line in GOOD.splitlines() if line.startswith(f"{key} = "))
    assert problem(tmp_path, (line, "")).where == f"example-2020.toml: {key}"


@pytest.mark.parametrize("key", ["outcome", "group", "measure", "unit", "horizon", "verified", "use"])
def test_a_figure_without_what_a_reader_needs(key: str, tmp_path: Path) -> None:
    line = next(line for line in GOOD.splitlines() if line.startswith(f"{key} = "))
    assert problem(tmp_path, (line, "")).where == f"example-2020.toml: figures.0.{key}"


def test_an_id_that_is_not_the_file_name(tmp_path: Path) -> None:
    assert '"example-2020"' in problem(tmp_path, name="example-2021.toml").what


def test_a_figure_id_that_stands_twice(tmp_path: Path) -> None:
    changes = (
        ('id = "best"', 'id = "overall"'),
        ('reference_probability = "best"', 'reference_probability = "overall"'),
    )
    assert "figure id stands twice" in problem(tmp_path, *changes).what


@pytest.mark.parametrize("doi", ["doi:10.1234/x", "https://doi.org/10.1234/x", "10.1234", "11.1234/x"])
def test_a_doi_that_is_none(doi: str, tmp_path: Path) -> None:
    # ISO 26324: a DOI name begins with 10., a registrant code, and a slash.
    assert problem(tmp_path, ("10.1234/example.2020", doi)).where == "example-2020.toml: doi"


def test_no_identifier_and_no_full_citation(tmp_path: Path) -> None:
    changes = (('doi = "10.1234/example.2020"', ""), (". J Invented 2020;1(2):3-4.", ", 2020"))
    assert "full citation" in problem(tmp_path, *changes).what


@pytest.mark.parametrize(("low", "high"), [("1.10", "5.72"), ("1.07", "0.90")])
def test_a_value_outside_its_interval(low: str, high: str, tmp_path: Path) -> None:
    changes = (
        ("value = 1.00", f'value = 1.00\nlow = {low}\nhigh = {high}\ninterval = "printed"'),
        ('verified = "quoted"\nread_in = "a review"', 'verified = "abstract"'),
    )
    found = problem(tmp_path, *changes)
    assert found.where == "example-2020.toml: figures.1"
    assert "outside its interval" in found.what or "is above high" in found.what


@pytest.mark.parametrize(
    ("old", "new", "right"), [("low = 1.07", "low = 1.21", "1.072"), ("high = 5.72", "high = 5.64", "5.718")]
)
def test_a_wrong_wilson_limit(old: str, new: str, right: str, tmp_path: Path) -> None:
    found = problem(tmp_path, (old, new))
    assert found.where == "example-2020.toml: figures.0"
    assert f"Wilson limit is {right}" in found.what


@pytest.mark.parametrize(("old", "new"), [("events = 5", "events = 6"), ("eyes = 200", "eyes = 210")])
def test_counts_that_do_not_give_the_value(old: str, new: str, tmp_path: Path) -> None:
    # 6/200 is 3.00 and 5/210 is 2.38 percent, not 2.50.
    found = problem(tmp_path, (old, new))
    assert found.where == "example-2020.toml: figures.0"
    assert "percent, not 2.5" in found.what


def test_more_events_than_eyes(tmp_path: Path) -> None:
    assert "400 events of 200 eyes is not a rate" in problem(tmp_path, ("events = 5", "events = 400")).what


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("value = 2.50", "value = 250.0", "between 0 and 100 percent"),
        ("low = 1.07", "low = -1.07", "between 0 and 100 percent"),
        ("value = 2.50", "value = nan", "finite number"),
    ],
)
def test_a_rate_that_is_none(old: str, new: str, what: str, tmp_path: Path) -> None:
    found = problem(tmp_path, (old, new))
    assert what in found.what


def test_a_wilson_interval_without_counts(tmp_path: Path) -> None:
    assert "Wilson interval needs" in problem(tmp_path, ("events = 5\neyes = 200\n", "")).what


def test_events_without_eyes(tmp_path: Path) -> None:
    assert "events and eyes go together" in problem(tmp_path, ("eyes = 200\n", "")).what


@pytest.mark.parametrize("line", ["low = 1.07\n", "high = 5.72\n", 'interval = "Wilson"\n'])
def test_half_an_interval(line: str, tmp_path: Path) -> None:
    assert "go together" in problem(tmp_path, (line, "")).what


def test_a_figure_without_value_or_range(tmp_path: Path) -> None:
    assert "needs a value or a range" in problem(tmp_path, ("value = 1.00\n", "")).what


def test_a_rate_that_is_a_ratio(tmp_path: Path) -> None:
    assert "rate is in percent" in problem(tmp_path, ('measure = "rate"', 'measure = "odds ratio"')).what


def test_a_quoted_default_that_does_not_say_where_it_was_read(tmp_path: Path) -> None:
    found = problem(tmp_path, ('read_in = "a review"\n', ""))
    assert found.where == "example-2020.toml: figures.1"
    assert "read_in" in found.what


@pytest.mark.parametrize(("key", "value"), [("verified", "seen"), ("use", "maybe"), ("measure", "chance")])
def test_a_word_outside_the_vocabulary(key: str, value: str, tmp_path: Path) -> None:
    line = next(line for line in GOOD.splitlines() if line.startswith(f"{key} = "))
    found = problem(tmp_path, (line, f'{key} = "{value}"'))
    assert found.where == f"example-2020.toml: figures.0.{key}"
    assert repr(value) in found.what


def test_a_first_level_that_is_not_the_reference(tmp_path: Path) -> None:
    # A logistic model's odds ratios are against a reference level, whose ratio is 1 (Hosmer and Lemeshow).
    found = problem(tmp_path, ("odds_ratio = 1.00", "odds_ratio = 1.10"))
    assert found.where == "example-2020.toml: model.factors.0"
    assert "first level is the reference" in found.what


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("from_years = 60", "from_years = 18"),  # two bands with one edge
        ("from_years = 60", "from_years = 17"),  # falling
        ("from_years = 60\n", ""),  # a band without an edge
    ],
)
def test_bands_that_do_not_rise(old: str, new: str, tmp_path: Path) -> None:
    found = problem(tmp_path, (old, new))
    assert found.where == "example-2020.toml: model.factors.0"
    assert "rising lower edge" in found.what


def test_a_level_that_stands_twice(tmp_path: Path) -> None:
    assert "a level stands twice" in problem(tmp_path, ('id = "60 and over"', 'id = "under 60"')).what


@pytest.mark.parametrize("ratio", ["0.0", "-1.5", "20.5"])
def test_an_odds_ratio_that_cannot_be(ratio: str, tmp_path: Path) -> None:
    # Odds ratios are positive; one above 20 in a multivariable cataract model would be a slip of the decimal point.
    third = f'odds_ratio = 1.50\n[[model.factors.levels]]\nid = "70 and over"\nfrom_years = 70\nodds_ratio = {ratio}'
    found = problem(tmp_path, ("odds_ratio = 1.50", third))
    assert found.where == "example-2020.toml: model.factors.0.levels.2.odds_ratio"


@pytest.mark.parametrize("key", ["reference_probability", "overall_probability"])
def test_a_model_probability_that_is_not_a_figure(key: str, tmp_path: Path) -> None:
    line = next(line for line in GOOD.splitlines() if line.startswith(f"{key} = "))
    assert "must be figures of this series" in problem(tmp_path, (line, f'{key} = "elsewhere"')).what


def test_a_series_without_figures(tmp_path: Path) -> None:
    text = GOOD.partition("[[figures]]")[0] + "figures = []\n"
    (tmp_path / "example-2020.toml").write_text(text, encoding="utf-8")
    with pytest.raises(EvidenceError, match=r"example-2020\.toml: figures"):
        read_library(tmp_path)


def test_all_faults_of_a_file_are_reported_together(tmp_path: Path) -> None:
    changes = (("10.1234/example.2020", "none"), ('region = "nowhere"\n', ""), ("eyes = 200\n", ""))
    with pytest.raises(EvidenceError) as caught:
        read_library(write(tmp_path, *changes))
    places = {found.where for found in caught.value.problems}
    assert places == {f"example-2020.toml: {key}" for key in ("doi", "region", "figures.0")}


def test_a_band_holds_its_lower_edge(tmp_path: Path) -> None:
    # Narendran 2009 prints its bands as 60-69, 70-79: 60 belongs to the upper one.
    model = read_library(write(tmp_path)).one("example-2020").model
    assert model is not None
    age = model.factor("age")
    assert [age.band(years).id for years in (18, 59, 60, 61, 120)] == ["under 60"] * 2 + ["60 and over"] * 3
    assert age.level("60 and over").from_years == 60
    with pytest.raises(KeyError):
        age.level("70 and over")
    with pytest.raises(KeyError):
        model.factor("height")


def test_a_factor_without_bands_needs_none() -> None:
    factor = Factor(id="sex", levels=(Level(id="female", odds_ratio=1.0), Level(id="male", odds_ratio=1.28)))
    assert factor.level("male").odds_ratio == 1.28
