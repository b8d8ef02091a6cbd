"""The paper for an operation that did not go to plan: what happened, what was done, what changes, how often more
follows.

GMC and NMC, Openness and honesty when things go wrong: the professional duty of candour (2015): tell the patient,
apologise, put right what can be put right, explain the short and long term effects.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from consent.compose import Document, Voice, not_to_plan
from consent.compose.document import Bullets, Chances, EyeBox, Para, Pictures, Signature
from consent.evidence import Verified
from consent.review import assess
from consent.risk import AfterRupture
from consent.risk.estimate import Source
from consent.risk.mixture import Arm
from tests.blocks import blocks_of
from tests.editing import Changes, torn

LANGUAGES = ("en", "bn", "hi")
LENS = {"design": "single-piece", "material": "hydrophobic acrylic", "place": "capsular bag", "power_d": 20.5}
QUIET = {"done": {"capsule_torn": "no", "vitreous_lost": "no", "piece_retained": "no", "no_lens": "no", "lens": LENS}}
"""What was done, with every event answered no."""
NO_LENS = {**QUIET, "done.lens": None, "done.no_lens": "yes"}
TORN = {**QUIET, "done.capsule_torn": "yes"}


@pytest.fixture(scope="module")
def sheet(make_clinic):
    def compose(changes: Changes | None = None, tag: str = "en", clinic: Changes | None = None) -> Document:
        assessment = assess(torn(changes), make_clinic(clinic))
        return not_to_plan.not_to_plan(assessment, Voice((tag,), "latin"))

    return compose


def texts(document: Document, section: str) -> list[str]:
    return [line[0].plain for name, line in document.lines() if name == section]


def figures(document: Document) -> dict[str, tuple[str, ...]]:
    """Each outcome with what stands beside it: bag whole, bag torn; or one cell for both."""
    (table,) = blocks_of(document, Chances, "numbers")
    return {row[0][0].plain.partition(" (")[0]: tuple(cell[0].plain for cell in row[1:]) for row in table.rows}


DETACHMENT, SWELLING, INFECTION = (
    "The seeing layer at the back comes loose",
    "Swelling at the centre of sight",
    "Infection inside the eye",
)


@pytest.mark.parametrize(
    ("changes", "needed"),
    [
        (QUIET, False),
        (TORN, True),
        ({**QUIET, "done.vitreous_lost": "yes"}, True),
        ({**QUIET, "done.piece_retained": "yes"}, True),
        (NO_LENS, True),
        ({**QUIET, "done.complication": "iris torn"}, True),
        ({**QUIET, "done.capsule_torn": "unknown", "done.vitreous_lost": "unknown"}, False),
        ({**QUIET, "done.steps": ["pupil device", "stitch"], "done.stitches": 1}, False),
        ({"done": None}, False),
    ],
)
def test_it_is_made_only_where_something_went_wrong(changes, needed, make_clinic):
    assert not_to_plan.is_needed(assess(torn(changes), make_clinic())) == needed


@pytest.mark.parametrize("tag", LANGUAGES)
def test_where_to_go_next_is_said_before_anything_else(tag, sheet):
    """What is to be done first is read first: common practice, no source."""
    section = sheet(tag=tag).sections[0]
    box, first = section.blocks[:2]
    assert isinstance(box, EyeBox)
    assert isinstance(first, Para)
    assert "Sadarpur Eye Hospital" in first.text[0].plain
    assert "2026" in first.text[0].plain
    assert "30" in first.text[0].plain


def test_a_referral_without_a_day_asks_for_the_day(sheet):
    first = sheet({"done.referral": {"to": "Dr Retina Invented"}}).sections[0].blocks[1]
    assert "Dr Retina Invented" in first.text[0].plain
    assert "Ask us for the day" in first.text[0].plain


def test_without_a_referral_what_happened_comes_first_and_nobody_is_sent_anywhere(sheet):
    found = sheet({"done.referral": None})
    assert isinstance(found.sections[0].blocks[1], Bullets)
    assert "sent on" not in " ".join(texts(found, "happened"))


@pytest.mark.parametrize(("tag", "sorry"), [("en", "sorry"), ("bn", "দুঃখিত"), ("hi", "दुख")])
def test_it_says_sorry_and_offers_the_record(tag, sorry, sheet):
    """Duty of candour: apologise. Indian Medical Council Regulations 2002, 1.3.2: records on request."""
    offers = {"en": "copy of your record", "bn": "নথির একটি কপি", "hi": "रिकॉर्ड की कॉपी"}
    found = " ".join(texts(sheet(tag=tag), "happened"))
    assert sorry in found
    assert offers[tag] in found


RISKY = {"eye.posterior_polar": "yes", "eye.phacodonesis": "yes", "plan.surgeon.grade": "senior house officer"}
SAFE = {"eye.pseudoexfoliation": "no", "eye.pupil_mm": 7.0, "eye.pupil_grade": "large", "eye.nucleus.grade": "soft"}


@pytest.mark.parametrize("changes", [{}, RISKY, SAFE], ids=["as shipped", "risky", "safe"])
def test_the_figures_are_those_of_a_torn_bag_whatever_the_chance_of_tearing_was(changes, sheet):
    """Printed, of 1,000: detachment 0.16 and 3.27 percent (Day 2016); macular oedema 1.17 percent and 2.61 times that
    (Chu 2016); endophthalmitis with moxifloxacin 9 of 4,293 torn (Haripriya 2017), under 1 otherwise."""
    assert figures(sheet(changes)) == {
        INFECTION: ("under 1", "2"),
        DETACHMENT: ("2", "33"),
        SWELLING: ("12", "31"),
    }


def test_without_moxifloxacin_the_infection_figure_is_that_of_eyes_without(sheet):
    """Haripriya 2017: 20 of 4,186 torn without the injection, 0.48 percent."""
    changes = {"plan.injected_antibiotic": "no", "plan.injected_antibiotic_drug": None, "done.injected": []}
    assert figures(sheet(changes))[INFECTION] == ("under 1", "5")


def test_what_was_injected_counts_not_what_was_planned(sheet):
    """Haripriya 2017 counts eyes by what they were given; here another drug than the one planned was."""
    assert figures(sheet({"done.injected": ["cefuroxime"]}))[INFECTION] != ("under 1", "2")


def test_a_diabetic_is_given_no_figure_of_people_without_diabetes(sheet):
    """Chu 2016 parts torn from whole for eyes without diabetes only."""
    assert figures(sheet({"health.diabetes": "yes"}))[SWELLING] == ("not known",)


@pytest.mark.parametrize("answer", ["no", "unknown"])
def test_without_a_torn_bag_there_are_no_figures_of_one(answer, sheet):
    found = sheet({"done.capsule_torn": answer})
    assert "numbers" not in [section.id for section in found.sections]


def invented(verified: Verified) -> AfterRupture:
    source = Source("nobody-1999/torn", "", "", "", "", "", "", verified, "a summary", "bag torn")
    arm = Arm(0.123, 0.1, 0.2)
    return AfterRupture("retinal_detachment", "days_90", arm, arm, (source,))


ACCEPTED = {"series": "nobody-1999", "by": "Dr Invented Clinician", "registration": "X", "on": dt.date(2026, 11, 1)}


@pytest.mark.parametrize(
    ("verified", "accepted", "cells"),
    [
        (Verified.QUOTED, [], ("not known",)),
        (Verified.MEMORY, [], ("not known",)),
        (Verified.QUOTED, [ACCEPTED], ("123", "123")),
        (Verified.ABSTRACT, [], ("123", "123")),
        (Verified.TABLE, [], ("123", "123")),
    ],
)
def test_a_series_nobody_read_or_accepted_is_not_known(verified, accepted, cells, sheet, monkeypatch):
    """README: a figure not read in its primary source is printed only where the clinic's clinician accepted it."""
    monkeypatch.setattr(not_to_plan, "after_rupture", lambda case, clinic: (invented(verified),))
    assert figures(sheet(clinic={"accepted_series": accepted})) == {DETACHMENT: cells}


@pytest.mark.parametrize(("whole", "torn_"), [(None, Arm(0.1, 0.1, 0.1)), (Arm(0.1, 0.1, 0.1), None), (None, None)])
def test_half_a_comparison_is_no_comparison(whole, torn_, sheet, monkeypatch):
    """A figure of one group alone would be read as the difference. Common practice, no source."""
    found = replace(invented(Verified.TABLE), whole=whole, torn=torn_)
    monkeypatch.setattr(not_to_plan, "after_rupture", lambda case, clinic: (found,))
    assert figures(sheet()) == {DETACHMENT: ("not known",)}


@pytest.mark.parametrize(
    ("outcome", "horizon"), [(DETACHMENT, "3 months to about 4 years"), (SWELLING, "within 90 days")]
)
def test_each_figure_says_over_what_time(outcome, horizon, sheet):
    """The follow-up printed in Day 2016 and Chu 2016."""
    (table,) = blocks_of(sheet(), Chances, "numbers")
    (name,) = [row[0][0].plain for row in table.rows if row[0][0].plain.startswith(outcome)]
    assert horizon in name


def test_the_papers_behind_the_figures_are_named(sheet):
    found = " ".join(texts(sheet(), "numbers"))
    assert all(series in found for series in ("day-2016", "chu-2016", "haripriya-2017"))


def test_a_series_that_gives_no_figure_is_not_named_as_a_source(sheet, monkeypatch):
    """What is cited is what is shown: common practice, no source."""
    shown = replace(invented(Verified.TABLE), outcome="macular_oedema")
    shown = replace(shown, sources=(replace(shown.sources[0], reference="somebody-2000/torn"),))
    monkeypatch.setattr(not_to_plan, "after_rupture", lambda case, clinic: (invented(Verified.QUOTED), shown))
    found = " ".join(texts(sheet(clinic={"accepted_series": []}), "numbers"))
    assert "somebody-2000" in found
    assert "nobody-1999" not in found


SIGNS = {
    "en": ("year", "curtain", "flashes", "black spots", "at once, day or night", "even if nothing hurts"),
    "bn": ("বছর", "পর্দা", "ঝলক", "কালো দাগ", "দিন হোক বা রাত", "ব্যথা না থাকলেও"),
    "hi": ("साल", "पर्दा", "चमक", "धब्बे", "दिन हो या रात", "दर्द न हो तब भी"),
}


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("changes", [{}, {**QUIET, "done.complication": "iris torn"}], ids=["torn", "whole"])
def test_the_signs_of_a_loose_retina_hold_for_a_year(changes, tag, sheet):
    """Day 2016 counts detachments from months to years after surgery. Signs and haste: common practice, no source, and
    the same as on the going-home sheet."""
    found = sheet(changes, tag)
    told = " ".join(texts(found, "year"))
    assert all(word in told for word in SIGNS[tag])
    (pictures,) = blocks_of(found, Pictures, "year")
    assert len(pictures.items) >= 2
    assert all(words[0].plain for _, words in pictures.items)


@pytest.mark.parametrize(
    ("changes", "words", "is_said"),
    [
        ({"done.piece_retained": "yes"}, "another operation", True),
        ({}, "another operation", False),
        ({"done.lens": None, "done.no_lens": "yes"}, "Without a lens", True),
        ({}, "Without a lens", False),
        ({"done.regimen": "after-torn-capsule"}, "other drops", True),
        ({"done.regimen": "two-hourly-start"}, "other drops", False),
        ({}, "other drops", False),
        ({"done.stitches": 2}, "stitch", True),
        ({"done.steps": ["stitch"]}, "stitch", True),
        ({"done.stitches": 1, "visits": []}, "stitch", True),
        ({"done.stitches": 0}, "stitch", False),
        ({}, "stitch", False),
    ],
)
def test_what_changes_is_told_where_it_changes(changes, words, is_said, sheet):
    assert (words in " ".join(texts(sheet({**TORN, **changes}), "now"))) == is_said


@pytest.mark.parametrize("steps", [[], ["stitch"], ["anterior vitrectomy", "stitch"]])
@pytest.mark.parametrize(
    ("lens", "words"),
    [
        (LENS, "soft one-piece lens, 20.5 D, in the bag of the old lens"),
        (
            {**LENS, "design": "three-piece", "power_d": 19.5},
            "soft three-piece lens, 19.5 D, in the bag of the old lens",
        ),
        (None, "not written down"),
    ],
)
def test_the_lens_in_the_eye_is_told_whatever_else_was_done(lens, words, steps, sheet):
    """Whether a lens is in the eye is what is asked first: common practice, no source."""
    assert words in " ".join(texts(sheet({**TORN, "done.lens": lens, "done.steps": steps}), "done"))


def test_the_day_on_which_the_stitch_is_taken_out_is_that_of_the_visit(sheet):
    found = " ".join(texts(sheet({**TORN, "done.stitches": 1}), "now"))
    assert "8 February 2027" in found


def test_without_such_a_visit_no_day_is_promised_for_the_stitch(sheet):
    found = " ".join(texts(sheet({**TORN, "done.stitches": 1, "visits": []}), "now"))
    assert "2027" not in found


@pytest.mark.parametrize(("answer", "is_said"), [("yes", True), ("no", False), ("unknown", False)])
def test_that_the_figures_do_not_count_pieces_left_behind_is_said_where_one_was(answer, is_said, sheet):
    """Day 2016, Chu 2016 and Haripriya 2017 part eyes by the bag alone."""
    found = " ".join(texts(sheet({"done.piece_retained": answer, "done.piece_size": None}), "numbers"))
    assert ("piece" in found) == is_said


def test_the_visits_of_the_case_are_on_it(sheet):
    found = texts(sheet(), "visits")
    assert "Monday, 18 January 2027" in found
    assert "Look at the back of the eye with a wide pupil" in found


def test_who_told_and_when_stand_filled_in(sheet):
    (block,) = blocks_of(sheet(), Signature, "told")
    assert block.name is not None
    assert block.name[0].plain == "Dr Asha Invented"
    labels = [label[0].plain for label in block.labels]
    filled = dict(zip(labels, [line and line[0].plain for line in block.filled], strict=True))
    assert filled == {"Signature": None, "Date": "Monday, 28 December 2026", "Time": "11:30"}


def test_the_time_is_that_of_the_clinic(sheet):
    """06:00 in Greenwich is 11:30 in Kolkata (IANA time zone database); the clinic's settings name its zone."""
    moment = dt.datetime(2026, 12, 28, 6, 0, tzinfo=dt.UTC)
    (block,) = blocks_of(sheet({"done.told": {"by": "Dr Asha Invented", "at": moment}}), Signature, "told")
    assert [line[0].plain for line in block.filled if line] == ["Monday, 28 December 2026", "11:30"]


def test_nobody_has_told_yet_leaves_lines_to_fill_in(sheet):
    (block,) = blocks_of(sheet({"done.told": None}), Signature, "told")
    assert block.name is None
    assert not any(block.filled)
    assert len(block.labels) == 3


@pytest.mark.parametrize(("tag", "eye"), [("en", "RIGHT eye"), ("bn", "ডান চোখ"), ("hi", "दाहिनी आँख")])
def test_the_eye_stands_in_the_title_and_the_telephone_on_every_page(tag, eye, sheet):
    """Universal Protocol UP.01.01.01: the site in words."""
    found = sheet(tag=tag)
    assert eye in found.title[0].plain
    assert found.footer is not None
    assert "22222" in found.footer[0].plain
