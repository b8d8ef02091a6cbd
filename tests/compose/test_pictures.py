"""The drawn eye is the eye of the operation, seen as in a mirror. Universal Protocol UP.01.01.01.

In a mirror the patient's right eye is on the right of the page; the caption under the drawing says so.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from consent.case import Side
from consent.compose import Voice, consent_form, day_of_surgery, decision_paper, drop_calendar, going_home, risk_sheet
from consent.compose.document import EyeBox
from consent.compose.drop_wall import Poster
from consent.compose.pictures import eye_side, pictogram, pictogram_names
from consent.review import assess

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


@pytest.mark.parametrize("name", pictogram_names())
def test_every_picture_stays_in_its_frame(name):
    """Where a stroke starts, inside 0..100: a picture that runs out of its frame is cut off in print."""
    root = ET.fromstring(pictogram(name))  # noqa: S314  our own drawing
    assert root.attrib["viewBox"] == "0 0 100 100"
    (path,) = root
    starts = re.findall(r"M([\d.]+) ([\d.]+)", path.attrib["d"])
    assert starts
    assert all(0 <= float(x) <= 100 and 0 <= float(y) <= 100 for x, y in starts)


def test_a_picture_nobody_drew_is_an_error():
    with pytest.raises(KeyError):
        pictogram("elephant")
