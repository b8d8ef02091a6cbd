"""The lens card: which lens is in which eye, kept for life.

Regulation (EU) 2017/745, article 18: an implant card identifies the device and bears the identity of the patient. The
sticker of the lens holds name, serial or lot number and maker; common practice adds day, hospital, eye and power.
"""

from __future__ import annotations

from io import BytesIO

import pypdf
import pytest

from consent.compose import Document, Voice, lens_card
from consent.compose.document import Room
from consent.print import to_pdf
from consent.review import assess
from tests.blocks import blocks_of, facts_of
from tests.editing import Changes, torn

NO_LENS = {"done.lens": None, "done.no_lens": "yes"}
LEFT = dict.fromkeys(("eye.side", "plan.side", "measurement.side", "talk.told.side", "done.side"), "left")
A5_MM = {148, 210}
"""ISO 216."""


@pytest.fixture(scope="module")
def card(make_clinic):
    def compose(
        changes: Changes | None = None, tags: tuple[str, ...] = ("en",), clinic: Changes | None = None
    ) -> Document:
        return lens_card.lens_card(assess(torn(changes), make_clinic(clinic)), Voice(tags, "latin"))

    return compose


@pytest.mark.parametrize(
    ("changes", "needed"),
    [
        ({}, True),
        (NO_LENS, True),
        ({"done.lens": None, "done.no_lens": "unknown"}, False),
        ({"done.lens": None, "done.no_lens": "no"}, False),
        ({"done": None}, False),
    ],
)
def test_it_is_made_once_it_is_known_which_lens_is_in_the_eye(changes, needed, make_clinic):
    assert lens_card.is_needed(assess(torn(changes), make_clinic())) == needed


def test_the_card_of_the_shipped_case(card):
    """Each value as it stands in the example, read by eye."""
    assert facts_of(card()) == {
        "Kind": "soft three-piece lens",
        "Material": "acrylic",
        "Power": "19.5 D",
        "Place in the eye": "in front of the bag",
        "Bag of the lens": "torn",
        "Name": "Madhabi Example",
        "Record number": "DEMO-0004",
        "Day of surgery": "Monday, 28 December 2026",
        "Surgeon": "Dr Asha Invented (INVENTED-0002)",
        "Where": "Nodipar Eye Centre (invented), Station Road, Nodipar (invented)",
    }


@pytest.mark.parametrize("answer", ["no", "unknown"])
def test_a_bag_not_known_to_be_torn_is_not_called_torn(answer, card):
    assert "Bag of the lens" not in facts_of(card({"done.capsule_torn": answer}))


def test_it_names_the_lens_placed_not_the_one_planned(card):
    found = " ".join(card().texts())
    assert "20.5" not in found
    assert "one-piece" not in found


@pytest.mark.parametrize(("tag", "none_yet"), [("en", "none yet"), ("bn", "এখনও নেই"), ("hi", "अभी नहीं है")])
def test_without_a_lens_yet_it_says_so_and_names_none(tag, none_yet, card):
    found = facts_of(card(NO_LENS, (tag,)))
    assert none_yet in found.values()
    assert len(found) == 6
    assert "Power" not in found


@pytest.mark.parametrize(("tag", "unsaid"), [("en", "not written down"), ("bn", "লেখা হয়নি"), ("hi", "लिखा नहीं गया")])
def test_a_power_nobody_wrote_down_is_not_the_planned_one(tag, unsaid, card):
    found = facts_of(card({"done.lens.power_d": None}, (tag,)))
    assert unsaid in found.values()
    assert not any("20.5" in value for value in found.values())


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("capsular bag", "in the bag"),
        ("ciliary sulcus", "in front of the bag"),
        ("anterior chamber", "in front of the iris"),
        ("scleral fixation", "wall of the eye"),
    ],
)
def test_the_place_of_the_lens_in_words(place, words, card):
    assert words in facts_of(card({"done.lens.place": place}))["Place in the eye"]


EYES = {"en": ("RIGHT eye", "LEFT eye"), "bn": ("ডান চোখ", "বাঁ চোখ"), "hi": ("दाहिनी आँख", "बाईं आँख")}


@pytest.mark.parametrize("tag", EYES)
@pytest.mark.parametrize("side", ["right", "left"])
def test_the_eye_is_in_words_and_the_other_one_nowhere(side, tag, card):
    """Universal Protocol UP.01.01.01: the site in words."""
    found = card(LEFT if side == "left" else {}, (tag,))
    this, other = EYES[tag] if side == "right" else EYES[tag][::-1]
    assert this in found.title[0].plain
    assert not any(other in text for text in found.texts())


def test_there_is_room_for_the_sticker_with_its_words(card):
    (room,) = blocks_of(card(tags=("bn", "en")), Room)
    assert all("sticker" in said.plain.lower() or "স্টিকার" in said.plain for said in room.label)
    assert "for life" in " ".join(text for text in card().texts())


def test_the_surgeon_named_is_the_one_who_operated(card):
    """The case says who operated (done.by); the plan says who was to. Common practice, no source."""
    assert "Dr Other Hands" in facts_of(card({"done.by": "Dr Other Hands"}))["Surgeon"]


LONG = {
    "patient.name": "Bhubaneshwari Chattopadhyay Example",
    "plan.surgeon.name": "Dr Lakshmi Venkatasubramanian Invented",
    "done.lens.material": "hydrophobic acrylic, preloaded",
    "done.lens.place": "scleral fixation",
}
LONG_CLINIC = {"name": "Nodipar Mission Eye Hospital and Training Centre (invented)"}
"""As long as such names are in life: invented, no source."""


@pytest.mark.parametrize("tags", [("en",), ("bn", "en"), ("hi", "en"), ("bn", "hi")])
@pytest.mark.parametrize(
    ("changes", "clinic"), [({}, {}), (NO_LENS, {}), (LONG, {}), ({}, LONG_CLINIC), (LONG, LONG_CLINIC)]
)
def test_it_is_one_page_of_a5(changes, clinic, tags, card):
    document = card(changes, tags, clinic)
    assert document.paper == "A5"
    (page,) = pypdf.PdfReader(BytesIO(to_pdf(document))).pages
    found = {round(float(side) * 25.4 / 72) for side in (page.mediabox.width, page.mediabox.height)}
    assert found == A5_MM
    words = page.extract_text()
    assert "DEMO-0004" in words
