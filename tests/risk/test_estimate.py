"""An estimate says how far its least checked source was checked, and cites each figure as its paper prints it."""

from __future__ import annotations

import pytest

from consent.evidence import Verified, library
from consent.risk import Estimate, Source
from consent.risk.estimate import Driver, as_source, printed


def source(verified: Verified, reference: str = "series/figure") -> Source:
    return Source(reference, "1 %", "all", "A citation.", "doi:10.1234/x", "2020", "somewhere", verified, None, "role")


def estimate(*kinds: Verified) -> Estimate:
    return Estimate("x", True, "h", "p", "r", "y", sources=tuple(source(kind) for kind in kinds))


@pytest.mark.parametrize(
    ("kinds", "weakest"),
    [
        # A chain is as strong as its weakest link, wherever it stands.
        ((Verified.TABLE,), Verified.TABLE),
        ((Verified.TABLE, Verified.ABSTRACT), Verified.ABSTRACT),
        ((Verified.QUOTED, Verified.ABSTRACT), Verified.QUOTED),
        ((Verified.MEMORY, Verified.TABLE, Verified.ABSTRACT, Verified.QUOTED), Verified.MEMORY),
        ((Verified.TABLE, Verified.MEMORY), Verified.MEMORY),
    ],
)
def test_the_weakest_source_counts(kinds: tuple[Verified, ...], weakest: Verified) -> None:
    assert estimate(*kinds).weakest is weakest


def test_without_sources_there_is_no_weakest() -> None:
    assert estimate().weakest is None


def test_the_series_of_a_source_is_the_first_part_of_its_reference() -> None:
    assert source(Verified.TABLE, "day-2016/detachment").series == "day-2016"


def test_unknown_factors_are_the_drivers_that_are_not_known() -> None:
    drivers = (Driver("a", 2.0, True), Driver("b", 1.5, False), Driver("c", 1.2, False))
    assert Estimate("x", True, "h", "p", "r", "y", drivers=drivers).unknown_factors == ("b", "c")


@pytest.mark.parametrize(
    ("reference", "text"),
    [
        # As the abstracts print them, with the counts where they give them.
        ("chu-2016/rupture-ratio", "2.61 (1.57 to 4.34)"),  # Chu 2016: RR 2.61 (1.57-4.34)
        ("chu-2016/macular-oedema-healthy", "1.17 %"),  # Chu 2016: 1.17%, no interval
        ("ursell-2020/laser-capsulotomy-3-years", "2.4 to 12.6 %"),  # Ursell 2020: 2.4-12.6%
        ("sim-2024/capsule-rupture", "1.01 % (0.99 to 1.03 %), 9730 of 961208"),  # Sim 2024: 9730 (1.01%) of 961,208
        ("day-2015/good-vision-other-disease", "79.9 %"),  # Day 2015: 79.9%
    ],
)
def test_a_figure_is_printed_as_its_paper_prints_it(reference: str, text: str) -> None:
    assert printed(library().cited(reference)) == text


@pytest.mark.parametrize(
    ("reference", "identifier"),
    [
        # From the title pages: Chu 2016, Day 2016 (PubMed), Lundström 2013 (no identifier was read).
        ("chu-2016/rupture-ratio", "doi:10.1016/j.ophtha.2015.10.001"),
        ("day-2016/detachment", "PMID 27342788"),
        ("lundstrom-2013/vision-worse", "no identifier known"),
    ],
)
def test_a_source_carries_what_finds_the_paper(reference: str, identifier: str) -> None:
    cited = library().cited(reference)
    made = as_source(cited, "a role")
    assert (made.identifier, made.citation, made.role) == (identifier, cited.series.citation, "a role")
    assert (made.reference, made.verified, made.read_in) == (reference, cited.figure.verified, cited.figure.read_in)
