"""The letter to the surgeon who takes out what stayed behind.

What stands on it: common practice, no source. That what is not known is written as not known is the letter's own
promise, signed by the surgeon.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from consent.compose import Document, Voice, referral_letter
from consent.compose.document import Signature
from consent.pack import compose_pack
from consent.review import assess
from tests.blocks import blocks_of, facts_of
from tests.editing import Changes, torn

UNSAID = "not written down"
QUIET = {"done": {"capsule_torn": "no", "vitreous_lost": "no", "piece_retained": "no", "no_lens": "no"}}
PIECE = {**QUIET, "done.piece_retained": "yes"}
REFERRED = {**QUIET, "done.referral": {"to": "Dr Cornea Invented"}}


@pytest.fixture(scope="module")
def letter(make_clinic):
    def compose(changes: Changes | None = None, tag: str = "en") -> Document:
        return referral_letter.referral_letter(assess(torn(changes), make_clinic()), Voice((tag,), "latin"))

    return compose


@pytest.mark.parametrize(
    ("changes", "needed"),
    [
        (QUIET, False),
        (PIECE, True),
        (REFERRED, True),
        ({**QUIET, "done.piece_retained": "unknown"}, False),
        ({**QUIET, "done.capsule_torn": "yes"}, False),
        ({"done": None}, False),
    ],
)
def test_it_is_made_where_a_piece_stayed_or_the_patient_is_sent_on(changes, needed, make_clinic):
    assert referral_letter.is_needed(assess(torn(changes), make_clinic())) == needed


def test_the_letter_of_the_shipped_case(letter):
    """Each value as it stands in the example, read by eye."""
    assert facts_of(letter()) == {
        "To": "Dr Retina Invented, Sadarpur Eye Hospital (invented), 00000 77777",
        "From": "Nodipar Eye Centre (invented), Station Road, Nodipar (invented), 00000 11111",
        "Patient": "Madhabi Example, 74 years, DEMO-0004",
        "Operated": "Monday, 28 December 2026: cataract surgery with ultrasound (phaco)",
        "Surgeon": "Dr Asha Invented (INVENTED-0002)",
        "Piece retained": "less than half of the nucleus",
        "Nucleus": "brunescent",
        "Vitreous": "lost; anterior vitrectomy done",
        "Steps taken": "anterior vitrectomy, another lens or place, stitch, pupil device",
        "Pseudoexfoliation; phacodonesis": "Yes; No",
        "Lens in the eye": "soft three-piece lens, 19.5 D, in front of the bag",
        "Sight before; first morning": "CF; 6/60",
        "Pressure, first morning": "24 mmHg",
        "Cornea; cells in the front of the eye": "mild swelling at the cut; many",
        "Drops ordered": "moxifloxacin 0.5%, 4 a day; prednisolone acetate 1%, 6 a day; nepafenac 0.1%, 3 a day",
        "Allergies": "none",
        "Blood thinners": "none",
        "Medicines taken": "amlodipine",
        "Earlier answer to steroid drops": UNSAID,
        "Other eye": "6/24",
        "Telephoned": "Dr Asha Invented, Dr Retina Invented, Monday, 28 December 2026, 10:40",
        "Expected": "Wednesday, 30 December 2026, 09:00",
        "Patient told": "Dr Asha Invented, Monday, 28 December 2026",
        "Patient's telephone": "00000 66666",
    }


@pytest.mark.parametrize(
    ("changes", "label", "value"),
    [
        ({"done.referral": None}, "To", UNSAID),
        ({"done.referral": {"to": "Dr Retina Invented"}}, "To", "Dr Retina Invented"),
        ({"done.piece_size": None}, "Piece retained", UNSAID),
        ({"eye.nucleus.grade": "unknown"}, "Nucleus", "hardness not known"),
        ({"done.vitreous_lost": "unknown", "done.steps": []}, "Vitreous", UNSAID),
        ({"done.vitreous_lost": "no", "done.steps": []}, "Vitreous", "not lost"),
        ({"done.vitreous_lost": "yes", "done.steps": []}, "Vitreous", "lost"),
        ({"done.lens": None}, "Lens in the eye", UNSAID),
        ({"done.lens": None, "done.no_lens": "yes"}, "Lens in the eye", "none yet"),
        ({"eye.acuity_corrected": None}, "Sight before; first morning", f"{UNSAID}; 6/60"),
        ({"day1.acuity_pinhole": None}, "Sight before; first morning", f"CF; {UNSAID}"),
        ({"day1": None}, "Sight before; first morning", f"CF; {UNSAID}"),
        ({"day1": None}, "Pressure, first morning", UNSAID),
        ({"day1.pressure_mmhg": None}, "Pressure, first morning", UNSAID),
        ({"day1.pressure_mmhg": 0.0}, "Pressure, first morning", "0 mmHg"),
        ({"day1": None}, "Cornea; cells in the front of the eye", f"{UNSAID}; {UNSAID}"),
        ({"day1.cells": None}, "Cornea; cells in the front of the eye", f"mild swelling at the cut; {UNSAID}"),
        ({"health.allergies": {"asked": "not asked"}}, "Allergies", "not asked"),
        (
            {"health.allergies": {"asked": "known", "known": [{"substance": "penicillin"}, {"substance": "latex"}]}},
            "Allergies",
            "penicillin; latex",
        ),
        ({"health.anticoagulant": "unknown", "health.antiplatelet": "unknown"}, "Blood thinners", UNSAID),
        ({"health.anticoagulant": "no", "health.antiplatelet": "unknown"}, "Blood thinners", f"antiplatelet: {UNSAID}"),
        ({"health.anticoagulant": "yes"}, "Blood thinners", "anticoagulant"),
        ({"health.antiplatelet": "yes"}, "Blood thinners", "antiplatelet"),
        (
            {"health.anticoagulant": "yes", "health.antiplatelet": "yes"},
            "Blood thinners",
            "anticoagulant; antiplatelet",
        ),
        ({"other_eye.acuity": None}, "Other eye", UNSAID),
        ({"done.steps": [], "done.stitches": None}, "Steps taken", UNSAID),
        ({"eye.pseudoexfoliation": "unknown"}, "Pseudoexfoliation; phacodonesis", f"{UNSAID}; No"),
        ({"eye.phacodonesis": "unknown"}, "Pseudoexfoliation; phacodonesis", f"Yes; {UNSAID}"),
        ({"health.medicines": []}, "Medicines taken", UNSAID),
        ({"eye.steroid_response_self": "yes"}, "Earlier answer to steroid drops", "Yes"),
        ({"eye.steroid_response_self": "no"}, "Earlier answer to steroid drops", "No"),
        ({"done.told": None}, "Patient told", UNSAID),
        ({"patient.telephone": None}, "Patient's telephone", UNSAID),
        ({"done.referral.expected_at": None}, "Expected", "Wednesday, 30 December 2026"),
        ({"done.referral.expected_on": None, "done.referral.expected_at": None}, "Expected", UNSAID),
        ({"done.operation": "manual small-incision"}, "Operated", "by hand through a small cut"),
    ],
)
def test_what_is_missing_is_written_as_missing_and_no_as_no(changes, label, value, letter):
    found = facts_of(letter(changes))[label]
    assert value in found if label == "Operated" else value == found


@pytest.mark.parametrize("size", ["a small piece", "less than half", "half or more", "the whole lens"])
def test_how_much_stayed_behind_is_in_words(size, letter):
    assert size in facts_of(letter({"done.piece_size": size}))["Piece retained"].replace(" of the nucleus", "")


def test_a_letter_with_nothing_entered_holds_no_figure_of_its_own(letter):
    """Only what stands in the case may be read as measured."""
    nothing = {"done": {"piece_retained": "yes"}, "day1": None, "eye.acuity_corrected": None, "other_eye.acuity": None}
    found = facts_of(letter(nothing))
    empty = ["To", "Piece retained", "Vitreous", "Lens in the eye", "Other eye", "Expected", "Patient told"]
    assert {found[label] for label in empty} == {UNSAID}
    assert found["Telephoned"].startswith("not yet")


def test_a_piece_that_did_not_stay_behind_is_not_asked_to_be_removed(letter):
    """A no is not an unknown (DEVELOPERS.md, glossary): a patient sent on for another reason."""
    found = letter(REFERRED)
    assert UNSAID not in facts_of(found)["Piece retained"]
    assert "retained" not in found.title[0].plain
    assert "removal of the retained lens" not in " ".join(found.texts())


def test_a_thinner_nobody_asked_about_is_not_hidden_behind_one_that_is_known(letter):
    found = facts_of(letter({"health.anticoagulant": "unknown", "health.antiplatelet": "yes"}))["Blood thinners"]
    assert "antiplatelet" in found
    assert UNSAID in found


def test_a_vitrectomy_is_told_although_nobody_answered_whether_vitreous_was_lost(letter):
    assert "anterior vitrectomy done" in facts_of(letter({"done.vitreous_lost": "unknown"}))["Vitreous"]


def test_a_stitch_that_was_counted_is_among_the_steps(letter):
    assert "stitch" in facts_of(letter({"done.steps": [], "done.stitches": 1}))["Steps taken"]


CALL = {
    "to": "Dr Retina Invented",
    "called_by": "Dr Caller",
    "spoke_with": "Dr Listener",
    "called_at": dt.datetime(2026, 12, 28, 10, 40, tzinfo=ZoneInfo("Asia/Kolkata")),
}


@pytest.mark.parametrize(
    ("missing", "kept"),
    [("called_by", "Dr Listener"), ("spoke_with", "Dr Caller"), ("called_at", "Dr Listener")],
)
def test_what_is_known_of_the_call_is_printed_although_something_is_missing(missing, kept, letter):
    call = {key: value for key, value in CALL.items() if key != missing}
    assert kept in facts_of(letter({"done.referral": call}))["Telephoned"]


def test_nobody_called_is_said_with_lines_for_whom_with_whom_and_when(letter):
    found = facts_of(letter({"done.referral": {"to": "Dr Retina Invented"}}))["Telephoned"]
    assert found.startswith("not yet")
    assert found.count("______") == 4


def test_the_surgeon_named_is_the_one_who_operated(letter):
    """The next surgeon telephones who did it, not who was to do it. Common practice, no source."""
    found = letter({"done.by": "Dr Other Hands"})
    assert "Dr Other Hands" in facts_of(found)["Surgeon"]
    (block,) = blocks_of(found, Signature)
    assert block.name is not None
    assert "Dr Other Hands" in block.name[0].plain


def test_it_is_in_the_language_of_the_clinic_not_of_the_patient(make_clinic):
    """The reader is a surgeon: common practice, no source."""
    found = compose_pack(torn(), make_clinic({"language": "hi"}))
    assert [document.languages for document in found.documents if document.sheet == "referral-letter"] == [
        (("hi", "ltr"),)
    ]


@pytest.mark.parametrize(
    ("tag", "eye", "unsaid"),
    [("en", "RIGHT eye", UNSAID), ("bn", "ডান চোখ", "লেখা হয়নি"), ("hi", "दाहिनी आँख", "लिखा नहीं गया")],
)
def test_eye_and_missing_facts_in_every_language(tag, eye, unsaid, letter):
    """Universal Protocol UP.01.01.01: the site in words."""
    found = letter({"day1": None, "done.piece_size": None, "eye.steroid_response_self": "no"}, tag)
    assert eye in found.title[0].plain
    assert len([value for value in facts_of(found).values() if unsaid in value]) == 4


def test_a_letter_to_a_colleague_is_a_draft_but_no_practice_copy(letter):
    marks = [mark[0].plain for mark in letter().marks]
    assert any(mark.startswith("DRAFT") for mark in marks)
    assert not any("PRACTICE" in mark for mark in marks)
