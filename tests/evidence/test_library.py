"""Every shipped series: loads, says who published it, and its figures agree with their own counts."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import binomtest

import consent
from consent.errors import EvidenceError
from consent.evidence import Cited, Series, Use, Verified, library, read_library

FOLDER = Path(consent.__file__).parent / "evidence" / "series"
FILES = sorted(FOLDER.iterdir())
NAMES = [file.stem for file in FILES]

# DOI syntax: ISO 26324 and Crossref's recommended pattern. PMID: a number of up to 8 digits today.
DOI = re.compile(r"10\.\d{4,9}/[-._;()/:a-z0-9]+", re.IGNORECASE)
# A citation complete enough to find the paper without an identifier (ICMJE: year;volume(issue):pages).
FULL_CITATION = re.compile(r"\b(?:19|20)\d\d;\d+(?:\(\d+\))?:\d+-\d+\.$")


def written(name: str) -> dict[str, Any]:
    """The file as it is written, each number with the digits that are printed there."""
    return tomllib.loads((FOLDER / f"{name}.toml").read_text(encoding="utf-8"), parse_float=Decimal)


def figures() -> Iterator[tuple[str, dict[str, Any]]]:
    for name in NAMES:
        for figure in written(name)["figures"]:
            yield f"{name}/{figure['id']}", figure


FIGURES = dict(figures())
COUNTED = {reference: figure for reference, figure in FIGURES.items() if "events" in figure}
WILSON = {reference: figure for reference, figure in FIGURES.items() if figure.get("interval") == "Wilson"}


def last_digit(number: Decimal) -> float:
    """One unit of the last printed digit: 0.01 for 1.37."""
    exponent = number.as_tuple().exponent
    assert isinstance(exponent, int)
    return float(Decimal(1).scaleb(exponent))


def test_no_file_of_the_folder_is_passed_over() -> None:
    assert {file.suffix for file in FILES} == {".toml"}
    assert list(library().series) == NAMES
    assert len(NAMES) >= 15


@pytest.mark.parametrize("name", NAMES)
def test_a_series_loads_and_is_called_as_its_file(name: str) -> None:
    assert library().one(name).id == written(name)["id"] == name


@pytest.mark.parametrize("name", NAMES)
def test_a_series_can_be_found_by_a_reader(name: str) -> None:
    series = library().one(name)
    assert len(series.citation) > 40
    assert series.doi or series.pmid or FULL_CITATION.search(series.citation)
    if series.doi:
        assert DOI.fullmatch(series.doi)
    if series.pmid:
        assert 1 <= int(series.pmid) < 100_000_000


@pytest.mark.parametrize("name", NAMES)
def test_the_year_of_the_name_stands_in_the_citation(name: str) -> None:
    assert re.search(rf"\b{name.rpartition('-')[2]}\b", library().one(name).citation)


@pytest.mark.parametrize("reference", FIGURES)
def test_a_figure_is_possible(reference: str) -> None:
    # A rate lies between 0 and 100 percent, a ratio above 0, a limit on its own side of the value.
    figure = FIGURES[reference]
    numbers = [float(figure[key]) for key in ("low", "value", "high") if key in figure]
    assert numbers
    assert numbers == sorted(numbers)
    if figure["measure"] == "rate":
        assert numbers[0] >= 0
        assert numbers[-1] <= 100
        assert figure["unit"] == "percent"
    else:
        assert figure["unit"] == "ratio"
    if figure["measure"].endswith("ratio"):
        assert numbers[0] > 0


@pytest.mark.parametrize("reference", COUNTED)
def test_counts_give_the_printed_value(reference: str) -> None:
    # Arithmetic: 100 x events / eyes, rounded as printed (half a unit of the last digit).
    figure = COUNTED[reference]
    assert float(figure["value"]) == pytest.approx(
        100 * figure["events"] / figure["eyes"], abs=last_digit(figure["value"]) / 2
    )


@pytest.mark.parametrize("reference", WILSON)
def test_a_limit_called_wilson_is_wilsons(reference: str) -> None:
    # Reference library: scipy.stats.binomtest. Tolerance: one unit of the last printed digit.
    figure = WILSON[reference]
    interval = binomtest(figure["events"], figure["eyes"]).proportion_ci(method="wilson")
    assert float(figure["low"]) == pytest.approx(100 * interval.low, abs=last_digit(figure["low"]))
    assert float(figure["high"]) == pytest.approx(100 * interval.high, abs=last_digit(figure["high"]))


@pytest.mark.parametrize("reference", COUNTED)
def test_a_figure_has_no_more_eyes_than_its_series(reference: str) -> None:
    series = library().one(reference.partition("/")[0])
    assert series.operations is not None
    assert COUNTED[reference]["eyes"] <= series.operations


@pytest.mark.parametrize("reference", FIGURES)
def test_a_figure_not_read_in_its_paper_says_where_it_was_read(reference: str) -> None:
    figure = library().cited(reference).figure
    if figure.verified is Verified.QUOTED:
        assert figure.read_in
    if figure.verified is Verified.MEMORY:
        assert figure.note
        assert not figure.verified.is_primary


def test_what_counts_as_read_in_the_paper() -> None:
    # Best to worst: its tables, its abstract; then someone else's words; then nobody's.
    assert [(kind.value, kind.is_primary) for kind in Verified] == [
        ("full-text table", True),
        ("abstract", True),
        ("quoted", False),
        ("memory", False),
    ]


@pytest.mark.parametrize(
    ("whole", "parts"),
    [
        # Haripriya, Chang, Ravindran, Ophthalmology 2017;124:768-775: both arms make up the 617 453 operations, and the
        # 8479 ruptures are 4293 + 4186.
        ("haripriya-2017/endophthalmitis-given", ("given-ruptured", "given-intact")),
        ("haripriya-2017/endophthalmitis-none", ("none-ruptured", "none-intact")),
        # Day et al, Ophthalmology 2016;123:1711-1715: 131 detachments are 36 + 95.
        ("day-2016/detachment", ("detachment-ruptured", "detachment-intact")),
    ],
)
def test_the_groups_of_a_series_add_up(whole: str, parts: tuple[str, str]) -> None:
    series = whole.partition("/")[0]
    names = [name if series == "day-2016" else f"endophthalmitis-{name}" for name in parts]
    groups = [library().cited(f"{series}/{name}").figure for name in names]
    total = library().cited(whole).figure
    for key in ("events", "eyes"):
        assert sum(getattr(group, key) for group in groups) == getattr(total, key)


def test_the_arms_of_haripriya_are_the_whole_series() -> None:
    series = library().one("haripriya-2017")
    arms = [series.figure("endophthalmitis-given"), series.figure("endophthalmitis-none")]
    ruptured = [series.figure(f"endophthalmitis-{arm}-ruptured") for arm in ("given", "none")]
    assert sum(arm.eyes or 0 for arm in arms) == series.operations == series.figure("capsule-rupture").eyes
    assert sum(arm.eyes or 0 for arm in ruptured) == series.figure("capsule-rupture").events


def test_a_figure_that_is_not_there_is_named() -> None:
    for reference in ("narendran-2009/no-such", "no-such/capsule-rupture", "narendran-2009"):
        with pytest.raises(EvidenceError, match=reference):
            library().cited(reference)


def test_a_misspelt_series_is_answered_with_the_right_one() -> None:
    with pytest.raises(EvidenceError, match='did you mean "narendran-2009"'):
        library().one("narendran-2008")


def test_a_figure_is_cited_by_series_and_name() -> None:
    cited = library().cited("day-2016/detachment")
    assert isinstance(cited, Cited)
    assert (cited.series.id, cited.figure.id, cited.reference) == ("day-2016", "detachment", "day-2016/detachment")


def test_walking_the_library_gives_each_series_once() -> None:
    walked = list(library())
    assert all(isinstance(series, Series) for series in walked)
    assert [series.id for series in walked] == NAMES


def test_reading_the_folder_again_gives_the_same_library() -> None:
    assert read_library(FOLDER) == library()


def test_proportions_come_from_the_counts() -> None:
    # Day 2016: 36 of 1101 eyes; the printed 3.27 percent is rounded, the counts are not.
    figure = library().cited("day-2016/detachment-ruptured").figure
    assert figure.probability == 36 / 1101
    assert figure.probability != 0.0327


def test_a_ratio_and_a_bare_range_have_no_probability() -> None:
    # Chu 2016: 2.61 is a risk ratio. Ursell 2020 prints the spread over lens models, no single rate.
    for reference in ("chu-2016/rupture-ratio", "ursell-2020/laser-capsulotomy-3-years"):
        with pytest.raises(ValueError, match="not a single rate"):
            _ = library().cited(reference).figure.probability


def test_limits_are_in_the_terms_of_the_figure() -> None:
    # Chu 2016 prints RR 2.61 (1.57-4.34); Ursell 2020 prints 2.4-12.6 percent; Day 2015 prints no interval.
    assert library().cited("chu-2016/rupture-ratio").figure.limits == (1.57, 4.34)
    spread = library().cited("ursell-2020/laser-capsulotomy-3-years").figure.limits
    assert spread == pytest.approx((0.024, 0.126))
    assert library().cited("day-2015/good-vision-other-disease").figure.limits is None


def test_what_is_only_for_sensitivity_or_display_is_marked_so() -> None:
    # Sim 2024: four odds ratios of a longer model were read, so they may test another model but not replace it.
    assert library().cited("sim-2024/brunescent-or-white").figure.use is Use.SENSITIVITY
    assert library().cited("ravindran-2020/brunescent-phaco").figure.use is Use.DISPLAY
