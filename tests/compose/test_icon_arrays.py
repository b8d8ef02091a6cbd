"""Icon arrays, dot by dot. Galesic 2009, doi:10.1037/a0014474; one block filled from one corner, as IPDASi asks."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from consent.case import Side
from consent.compose import Document, Voice
from consent.compose.document import Array, Risk
from consent.compose.figures import risk_block
from consent.compose.pictures import diagram, diagram_names, eye_side, icon_array, pictogram, pictogram_names
from consent.review import Assessment, assess
from tests.compose.estimates import invented_estimate

INK, WHITE, PALE = "#111", "#fff", "#cfcfcf"
ACROSS, DOWN, PITCH = 50, 20, 10
GRID = [(column * PITCH + 5, row * PITCH + 5) for row in range(DOWN) for column in range(ACROSS)]
"""Centres of the dots in reading order: from the top left corner, row by row."""

Dot = tuple[float, float]


@dataclass(frozen=True)
class Drawn:
    solid: list[Dot]
    rings: list[Dot]
    pale: list[Dot]


def dots_of(path: ET.Element) -> list[Dot]:
    """Where a dashed stroke with round caps leaves dots: at its start, then every dash period up to its length."""
    dash, period = (float(number) for number in path.attrib["stroke-dasharray"].split())
    assert (dash, period) == (0, PITCH)
    assert path.attrib["stroke-linecap"] == "round"
    runs = re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)", path.attrib["d"])
    assert "".join(f"M{x} {y}h{length}" for x, y, length in runs) == path.attrib["d"]
    return [
        (float(x) + step * period, float(y)) for x, y, length in runs for step in range(int(float(length) / period) + 1)
    ]


def draw(svg: str) -> Drawn:
    """The dots of an icon array by kind. A ring is a dark dot with a smaller white one on it."""
    root = ET.fromstring(svg)  # noqa: S314  our own drawing
    assert [float(n) for n in root.attrib["viewBox"].split()] == [0, 0, ACROSS * PITCH, DOWN * PITCH]
    by_colour: dict[str, list[Dot]] = {INK: [], WHITE: [], PALE: []}
    for path in root:
        assert path.tag.endswith("}path")
        by_colour[path.attrib["stroke"]] += dots_of(path)
    assert set(by_colour[WHITE]) <= set(by_colour[INK])
    solid = [dot for dot in by_colour[INK] if dot not in set(by_colour[WHITE])]
    return Drawn(solid, by_colour[WHITE], by_colour[PALE])


def check(svg: str, filled: int, could_be: int) -> None:
    """1,000 dots, each once, on the grid; the first ``filled`` solid, then rings, then pale."""
    found = draw(svg)
    assert [len(found.solid), len(found.rings), len(found.pale)] == [filled, could_be - filled, 1000 - could_be]
    assert sorted([*found.solid, *found.rings, *found.pale]) == sorted(GRID)
    assert found.solid == GRID[:filled]
    assert found.rings == GRID[filled:could_be]
    assert found.pale == GRID[could_be:]


@pytest.mark.parametrize("filled", [0, 1, 2, 10, 49, 50, 51, 99, 100, 101, 500, 949, 950, 999, 1000])
def test_dots_at_the_edges_of_rows(filled):
    check(icon_array(filled), filled, filled)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(0, 1000), min_size=2, max_size=2).map(sorted))
def test_any_number_of_dots(two):
    filled, could_be = two
    check(icon_array(filled), filled, filled)
    check(icon_array(filled, could_be), filled, could_be)


@pytest.mark.parametrize(("filled", "could_be"), [(-1, None), (1001, None), (5, 4), (0, 1001), (-1, 5)])
def test_a_number_that_cannot_be_drawn_is_an_error(filled, could_be):
    with pytest.raises(ValueError, match="is not within 0 to 1000"):
        icon_array(filled, could_be)


DRAWINGS = [
    icon_array(12),
    icon_array(12, 40),
    *(eye_side(side, from_in_front) for side in Side for from_in_front in (True, False)),
    *(
        pictogram(name, on_left, crossed)
        for name in pictogram_names()
        for on_left, crossed in product((True, False), repeat=2)
    ),
    *(diagram(name) for name in diagram_names()),
]
"""Every drawing of our own: icon arrays, faces, small pictures, sections of the eye."""


@pytest.mark.parametrize("svg", DRAWINGS)
def test_no_text_inside_a_drawing(svg):
    """Text in SVG is not shaped, so letters of Indic scripts would fall apart: words stand in the caption."""
    root = ET.fromstring(svg)  # noqa: S314  our own drawing
    assert [element.tag for element in root.iter() if element.tag.endswith(("text", "tspan", "title"))] == []
    assert "".join(root.itertext()).strip() == ""


@pytest.mark.parametrize("svg", DRAWINGS)
def test_a_drawing_holds_shapes_alone_and_no_colour_but_black_grey_and_white(svg):
    """Copies are made in black and white; nothing is told by colour alone: WCAG 2.2, 1.4.1."""
    root = ET.fromstring(svg)  # noqa: S314  our own drawing
    assert {element.tag.rpartition("}")[2] for element in root.iter()} <= {"svg", "g", "path", "circle"}
    used = {element.attrib.get(name, "none") for element in root.iter() for name in ("fill", "stroke")}
    assert used - {"none"} <= {INK, PALE, WHITE}
    assert used & {INK, PALE}
    assert set(re.findall(r"#\w+|rgb|url|href|style|opacity", svg)) <= {INK, PALE, WHITE}


def arrays(document: Document) -> list[tuple[Array, ...]]:
    """The drawings of each risk that has any."""
    blocks = [block for section in document.sections for block in section.blocks if isinstance(block, Risk)]
    return [block.arrays for block in blocks if block.arrays]


def captioned(array: Array) -> tuple[str, int, int]:
    """Whose eye, and the numbers of the caption: solid dots, and up to which dot there are rings."""
    caption = array.caption[0].plain
    match = re.fullmatch(r"(Usual|Your) eye(?:, dark dots)?: ([\d,]+)(?:–([\d,]+))? of 1,000\b.*", caption)
    assert match, caption
    low, high = (int((match[place] or match[2]).replace(",", "")) for place in (2, 3))
    return match[1], low, high


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("hard", {}),
        ("hard", {"eye.pseudoexfoliation": "no"}),
        ("hard", {"eye.pseudoexfoliation": "yes"}),
        ("ordinary", {"eye.posterior_polar": "yes"}),
        ("ordinary", {"eye.glaucoma": "open angle"}),
        ("ordinary", {"eye.other_macular_disease": "yes"}),
    ],
)
def test_the_drawing_shows_the_number_of_its_caption(name, changes, english_risk_sheet):
    """Usual eye first, this eye second, each in a drawing of its own; or the usual eye by itself."""
    found = arrays(english_risk_sheet(name, changes))
    assert any(len(pair) == 2 for pair in found)
    for pair in found:
        assert [captioned(array)[0] for array in pair] == ["Usual", "Your"][: len(pair)]
        assert len({array.svg for array in pair}) == len(pair)
        for array in pair:
            _, filled, could_be = captioned(array)
            assert array.svg.count("<svg") == 1
            check(array.svg, filled, could_be)


def test_a_range_is_drawn_with_rings_and_the_caption_says_so(english_risk_sheet):
    """The hard eye has no single figure while exfoliation is not looked for."""
    ranged = [array for pair in arrays(english_risk_sheet("hard")) for array in pair if "–" in array.caption[0].plain]
    assert ranged
    for array in ranged:
        assert draw(array.svg).rings
        assert "rings" in array.caption[0].plain


def test_only_the_benefit_is_drawn_for_the_usual_eye_alone(english_risk_sheet):
    """Harm alone in dots would weigh more than what it is risked for: IPDAS asks for both in equal detail."""
    document = english_risk_sheet("ordinary", {"eye.posterior_polar": "yes"})
    risks = [block for section in document.sections for block in section.blocks if isinstance(block, Risk)]
    alone = [block.name[0].plain for block in risks if len(block.arrays) == 1]
    assert len(alone) == 1
    assert "see" in alone[0].lower() or "sight" in alone[0].lower()


def test_equal_figures_are_not_drawn_twice(english_risk_sheet):
    """Two equal blocks of dots would suggest a difference where there is none."""
    found = arrays(english_risk_sheet("hard")) + arrays(english_risk_sheet())
    pairs = [drawings for drawings in found if len(drawings) > 1]
    assert pairs
    for pair in pairs:
        assert captioned(pair[0])[1:] != captioned(pair[1])[1:]


@pytest.fixture(scope="module")
def told(make_case, make_clinic) -> tuple[Assessment, Voice]:
    return assess(make_case(), make_clinic()), Voice(("en",), "latin")


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.floats(0.001, 1), min_size=3, max_size=3).map(sorted),
    st.booleans(),
    st.floats(0.001, 1),
)
def test_captions_and_dots_agree_for_any_figure(told, three, single, usual):
    low, probability, high = three
    assessment, voice = told
    block = risk_block(voice, invented_estimate(probability, low, high, single, usual), assessment, ())
    figures = " ".join(line[0].plain for line in block.figures)
    for array in block.arrays:
        whose, filled, could_be = captioned(array)
        check(array.svg, filled, could_be)
        number = f"{filled:,}" if filled == could_be else f"{filled:,}–{could_be:,}"
        assert f"{whose} eye: {number} of 1,000" in figures


proportions = st.floats(0, 1) | st.floats(0, 0.004)


@settings(max_examples=300, deadline=None)
@given(st.lists(proportions, min_size=3, max_size=3).map(sorted), st.booleans(), proportions)
def test_no_caption_ever_counts_no_dots(told, three, single, usual):
    """ "dark dots: 0" beside "fewer than one" reads as never. A rate that was seen is not nil; common practice."""
    low, probability, high = three
    assessment, voice = told
    for array in risk_block(voice, invented_estimate(probability, low, high, single, usual), assessment, ()).arrays:
        _, filled, could_be = captioned(array)
        assert 1 <= filled <= could_be
        check(array.svg, filled, could_be)


@pytest.mark.parametrize("usual", [0.0, 0.0004, 0.00099])
def test_a_usual_eye_of_fewer_than_one_is_not_drawn(usual, told):
    assessment, voice = told
    assert risk_block(voice, invented_estimate(0.05, 0.05, 0.05, True, usual), assessment, ()).arrays == ()


@pytest.mark.parametrize(("people", "drawn"), [(9, False), (10, True), (11, True)])
def test_few_dots_are_not_drawn(told, people, drawn):
    """Below ten the number itself says as much. Common practice, no source."""
    assessment, voice = told
    p = people / 1000
    assert bool(risk_block(voice, invented_estimate(p, p, p, True, 0.002), assessment, ()).arrays) == drawn
