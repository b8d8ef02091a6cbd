"""The drawn eye is the eye of the operation, seen as in a mirror. Universal Protocol UP.01.01.01.

In a mirror the patient's right eye is on the right of the page; the caption under the drawing says so.
"""

from __future__ import annotations

import re
import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from itertools import combinations
from pathlib import Path

import pytest
from PIL import Image, ImageChops, ImageOps
from weasyprint import HTML

from consent.case import Side
from consent.clinic import read_clinic
from consent.compose import Voice, consent_form, day_of_surgery, decision_paper, drop_calendar, going_home, risk_sheet
from consent.compose.document import EyeBox, Line
from consent.compose.drop_wall import Poster
from consent.compose.pictures import diagram, diagram_names, eye_side, pictogram, pictogram_names
from consent.language import Said
from consent.pack import compose_pack
from consent.review import assess
from tests.conftest import shipped_case

MIDDLE = 60


def ringed_x(svg: str) -> float:
    """Where the large ring stands, from the left."""
    root = ET.fromstring(svg)  # noqa: S314  our own drawing
    (ring,) = [c for c in root.iter() if c.tag.endswith("circle") and float(c.attrib["r"]) >= 15]
    return float(ring.attrib["cx"])


def solid_span(svg: str) -> tuple[float, float]:
    """Left and right end of the only solid shape, an eye drawn as M x y c ... dx 0."""
    root = ET.fromstring(svg)  # noqa: S314  our own drawing
    (shape,) = [p for p in root.iter() if p.tag.endswith("path") and p.attrib.get("fill") not in (None, "none")]
    match = re.match(r"M([\d.]+) [\d.]+c\S+ \S+ ([\d.]+) 0c", shape.attrib["d"])
    assert match
    return float(match[1]), float(match[1]) + float(match[2])


def test_the_right_eye_is_on_the_right_of_the_page():
    assert ringed_x(eye_side(Side.RIGHT)) > MIDDLE
    assert ringed_x(eye_side(Side.LEFT)) < MIDDLE


@pytest.mark.parametrize("side", Side)
def test_the_solid_eye_is_the_ringed_one(side):
    left, right = solid_span(eye_side(side))
    assert (left + right) / 2 == ringed_x(eye_side(side))
    assert (left < MIDDLE) == (right < MIDDLE)


def test_both_drawings_are_as_far_from_the_middle():
    assert ringed_x(eye_side(Side.RIGHT)) - MIDDLE == MIDDLE - ringed_x(eye_side(Side.LEFT))


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("giver", ["self", "named helper"])
@pytest.mark.parametrize(
    "compose", [consent_form, risk_sheet, decision_paper, day_of_surgery, going_home, drop_calendar]
)
def test_every_sheet_draws_the_eye_of_the_case(compose, giver, side, make_case, make_clinic):
    """A helper faces the patient: every sheet of a pack is drawn and captioned as seen by who puts the drops in. Two
    views of one face in one pack would show the same eye on opposite sides: common practice, no source."""
    changes = {"eye.side": side.value, "plan.side": side.value, "measurement.side": side.value}
    changes["patient.drops_given_by"] = giver
    changes["talk.outcome"] = "wants time" if compose is decision_paper else "agrees"
    document = compose(assess(make_case(changes), make_clinic()), Voice(("en",), "latin"))
    boxes = [b for section in document.sections for b in section.blocks if isinstance(b, (EyeBox, Poster))]
    in_front = giver == "named helper"
    assert [box.picture for box in boxes] == [eye_side(side, from_in_front=in_front)]
    assert side.value.upper() in boxes[0].words[0].plain
    caption = boxes[0].caption if isinstance(boxes[0], EyeBox) else boxes[0].seen
    assert ("from in front" in caption[0].plain) == in_front
    assert ("mirror" in caption[0].plain) != in_front


@pytest.mark.parametrize("side", Side)
def test_from_in_front_right_and_left_change_places(side):
    """Who faces the patient has the patient's right eye on the left hand."""
    assert eye_side(side, from_in_front=True) == eye_side(side.other)


MARGIN, SCALE = 12, 2
"""Units drawn around each frame, and dots of the raster to a unit."""
OVERFLOW = 1
"""Units by which a round end may leave its frame: a fifth of a stroke is cut off, and nobody sees it."""
SIDED = {"lid_swollen": (72, 60), "shield": (84, 66), "rub": (60, 34), "pain": (92, 12)}
"""Faces with one ill eye, and where there is ink on its side alone: lid, strap, fist, bolt. Read off the pictures."""


def raster(svgs: list[str], width: int, height: int, folder: Path) -> list[Image.Image]:
    """Each drawing in grey with a margin around its frame, through WeasyPrint and Poppler."""
    wide, high = width + 2 * MARGIN, height + 2 * MARGIN
    frame, widened = f'viewBox="0 0 {width} {height}"', f'viewBox="{-MARGIN} {-MARGIN} {wide} {high}"'
    assert all(frame in svg for svg in svgs)
    pages = "".join(f"<div>{svg.replace(frame, widened)}</div>" for svg in svgs)
    css = (
        f"@page {{ size: {wide}pt {high}pt; margin: 0 }} body {{ margin: 0 }} div + div {{ break-before: page }} "
        f"svg {{ display: block; width: {wide}pt; height: {high}pt }}"
    )
    HTML(string=f"<style>{css}</style>{pages}").write_pdf(folder / "drawn.pdf")
    subprocess.run(["pdftoppm", "-r", str(72 * SCALE), "-gray", folder / "drawn.pdf", folder / "drawn"], check=True)
    files = sorted(folder.glob("drawn-*.pgm"))
    assert len(files) == len(svgs)
    found = []
    for file in files:
        with Image.open(file) as opened:
            found.append(opened.copy())
    return found


@pytest.fixture(scope="module")
def pictograms(tmp_path_factory) -> dict[str, Image.Image]:
    names = pictogram_names()
    return dict(zip(names, raster([pictogram(n) for n in names], 100, 100, tmp_path_factory.mktemp("p")), strict=True))


@pytest.fixture(scope="module")
def crossed(tmp_path_factory) -> dict[str, Image.Image]:
    names = pictogram_names()
    svgs = [pictogram(name, crossed=True) for name in names]
    return dict(zip(names, raster(svgs, 100, 100, tmp_path_factory.mktemp("c")), strict=True))


@pytest.fixture(scope="module")
def turned(tmp_path_factory) -> dict[str, Image.Image]:
    svgs = [pictogram(name, on_left=True) for name in SIDED]
    return dict(zip(SIDED, raster(svgs, 100, 100, tmp_path_factory.mktemp("t")), strict=True))


@pytest.fixture(scope="module")
def diagrams(tmp_path_factory) -> dict[str, Image.Image]:
    names = diagram_names()
    return dict(zip(names, raster([diagram(n) for n in names], 200, 140, tmp_path_factory.mktemp("d")), strict=True))


def ink(image: Image.Image, threshold: int = 60) -> int:
    """How many dots are not white."""
    return sum(image.histogram()[: 256 - threshold])


def apart(one: Image.Image, other: Image.Image) -> float:
    """Dots in which two drawings differ, as a share of those that either of them inks."""
    differing = sum(ImageChops.difference(one, other).histogram()[60:])
    return differing / ink(ImageChops.darker(one, other))


def outside(image: Image.Image) -> int:
    """Dots inked beyond the frame and its overflow."""
    edge = (MARGIN - OVERFLOW) * SCALE
    inner = image.crop((edge, edge, image.width - edge, image.height - edge))
    return ink(image, 8) - ink(inner, 8)


@pytest.mark.parametrize("name", pictogram_names())
def test_a_pictogram_is_inked_within_its_frame(name, pictograms):
    """What runs out of its frame is cut off in print."""
    assert ink(pictograms[name])
    assert outside(pictograms[name]) == 0


@pytest.mark.parametrize("name", diagram_names())
def test_a_drawing_of_the_eye_is_inked_within_its_frame(name, diagrams):
    assert ink(diagrams[name])
    assert outside(diagrams[name]) == 0


@pytest.mark.parametrize("name", SIDED)
def test_a_face_turned_round_is_the_mirror_image(name, pictograms, turned):
    mirrored = ImageOps.mirror(pictograms[name])
    assert apart(turned[name], mirrored) < 0.02
    assert apart(turned[name], pictograms[name]) > 0.2


@pytest.mark.parametrize("name", SIDED)
def test_the_ill_eye_is_on_the_right_of_the_page_until_the_face_is_turned(name, pictograms, turned):
    x, y = SIDED[name]
    right, left = ((MARGIN + x) * SCALE, (MARGIN + y) * SCALE), ((MARGIN + 100 - x) * SCALE, (MARGIN + y) * SCALE)
    assert (pictograms[name].getpixel(right) < 60, pictograms[name].getpixel(left) < 60) == (True, False)
    assert (turned[name].getpixel(right) < 60, turned[name].getpixel(left) < 60) == (False, True)


@pytest.mark.parametrize("name", [name for name in pictogram_names() if name not in SIDED])
def test_a_picture_without_an_ill_eye_is_not_turned(name):
    assert pictogram(name, on_left=True) == pictogram(name)


DIAGONAL = range(12, 89, 4)


@pytest.mark.parametrize("name", pictogram_names())
def test_crossed_out_has_a_black_stroke_from_corner_to_corner_on_top(name, pictograms, crossed):
    """ISO 3864-1, prohibition: the bar runs from the upper left to the lower right, over the picture."""
    points = [((MARGIN + at) * SCALE, (MARGIN + at) * SCALE) for at in DIAGONAL]
    assert all(crossed[name].getpixel(point) < 60 for point in points)
    assert not all(pictograms[name].getpixel(point) < 60 for point in points)
    assert outside(crossed[name]) == 0


@pytest.mark.parametrize("name", pictogram_names())
def test_a_crossing_stroke_has_white_on_both_sides(name, crossed):
    """Over a black shape a black bar alone would be lost: common practice, no source."""
    for at in DIAGONAL:
        for step in (3.5, -3.5):
            point = int((MARGIN + at + step) * SCALE), int((MARGIN + at - step) * SCALE)
            assert crossed[name].getpixel(point) > 200


@pytest.mark.parametrize("kind", ["pictograms", "diagrams"])
def test_no_two_pictures_are_alike(kind, request):
    """A twentieth of the ink at least: two cuts differ in their width alone. Common practice, no source."""
    images = request.getfixturevalue(kind)
    near = {(one, other): apart(images[one], images[other]) for one, other in combinations(images, 2)}
    assert {pair: share for pair, share in near.items() if share < 0.05} == {}


@pytest.mark.parametrize("make", [pictogram, diagram])
def test_a_picture_nobody_drew_is_an_error(make):
    with pytest.raises(KeyError):
        make("elephant")


def pictures_of(value: object) -> Iterator[tuple[str, tuple[Line, ...]]]:
    """Each drawing of a composed sheet with the lines that stand in the same place: row, cell or block."""
    parts = list(value) if isinstance(value, tuple) else []
    if is_dataclass(value) and not isinstance(value, Said):
        parts = [getattr(value, entry.name) for entry in fields(value)]
    lines = tuple(part for part in parts if isinstance(part, tuple) and part and isinstance(part[0], Said))
    for part in parts:
        if isinstance(part, str) and part.startswith("<svg"):
            yield part, lines
        else:
            yield from pictures_of(part)


@pytest.mark.parametrize("tag", ["en", "bn", "hi"])
@pytest.mark.parametrize("name", ["ordinary", "hard", "torn", "second-eye"])
def test_every_small_picture_of_a_sheet_has_words_beside_it(name, tag):
    """No picture is understood by everybody (ISO 9186 asks for two in three): the words are read aloud."""
    drawn = {pictogram(n, side, out) for n in pictogram_names() for side in (True, False) for out in (True, False)}
    drawn |= {diagram(n) for n in diagram_names()}
    pack = compose_pack(shipped_case(name), read_clinic(), (tag,))
    found = [
        (document.sheet, lines)
        for document in pack.documents
        if document.sheet != "drop-calendar"
        for section in document.sections
        for svg, lines in pictures_of(section.blocks)
        if svg in drawn
    ]
    assert {"going-home"} <= {sheet for sheet, _ in found}
    for sheet, lines in found:
        assert lines, sheet
        assert all(said.plain.strip() for line in lines for said in line), sheet


@pytest.mark.parametrize("name", ["ordinary", "hard", "torn", "second-eye"])
def test_every_small_picture_of_the_calendar_has_its_words_there_or_in_the_legend(name, make_clinic):
    """In a cell of a month there is no room for words; common practice, no source."""
    document = drop_calendar(assess(shipped_case(name), make_clinic()), Voice(("bn",), "latin"))
    small = {pictogram(other) for other in pictogram_names()}
    found = [pair for section in document.sections for pair in pictures_of(section.blocks) if pair[0] in small]
    explained = {svg for svg, lines in found if any(said.plain.strip() for line in lines for said in line)}
    assert explained
    assert {svg for svg, _ in found} <= explained


@pytest.mark.parametrize("giver", ["self", "named helper"])
@pytest.mark.parametrize("side", Side)
def test_every_face_of_the_going_home_sheet_is_ill_on_the_side_of_the_ring(side, giver, make_case, make_clinic):
    """Universal Protocol UP.01.01.01: a face with its other eye ill beside a ringed eye says two things at once."""
    changes = {"eye.side": side.value, "plan.side": side.value, "measurement.side": side.value}
    changes["patient.drops_given_by"] = giver
    document = going_home(assess(make_case(changes), make_clinic()), Voice(("en",), "latin"))
    (box,) = [block for section in document.sections for block in section.blocks if isinstance(block, EyeBox)]
    on_left = ringed_x(box.picture) < MIDDLE
    svgs = [svg for section in document.sections for svg, _ in pictures_of(section.blocks)]
    for name in SIDED:
        for out in (True, False):
            assert pictogram(name, not on_left, out) not in svgs, name
    assert pictogram("lid_swollen", on_left) in svgs
