"""What was done, told to the patient as it was entered, and nothing that was not.

GMC and NMC, Openness and honesty when things go wrong: the professional duty of candour (2015): the patient is told
when something has gone wrong. That a fact nobody entered is never guessed: common practice, no source.
"""

from __future__ import annotations

import pytest

from consent.case import ExtraStep
from consent.compose import Document, Voice, going_home, review_sheet
from consent.compose.after_surgery import drawn, told_differences
from consent.compose.document import Bullets, Facts
from consent.compose.pictures import diagram
from consent.review import assess
from tests.blocks import blocks_of, facts_of
from tests.editing import Changes, torn

LANGUAGES = ("en", "bn", "hi")
PLANNED = {"design": "single-piece", "material": "hydrophobic acrylic", "place": "capsular bag", "power_d": 20.5}
"""The lens of the plan of the shipped example."""
NOTHING_WRONG = {
    "done": {
        "as_planned": "yes",
        "side": "right",
        "capsule_torn": "no",
        "vitreous_lost": "no",
        "piece_retained": "no",
        "no_lens": "no",
        "lens": PLANNED,
    }
}
NOT_WRITTEN_DOWN = {"en": "not written down", "bn": "লেখা হয়নি", "hi": "लिखा नहीं गया"}
AS_PLANNED = {"en": "as planned", "bn": "যেমন ঠিক হয়েছিল", "hi": "जैसा तय था, ऑपरेशन वैसा"}


@pytest.fixture(scope="module")
def home(make_clinic):
    def compose(changes: Changes | None = None, tag: str = "en") -> Document:
        return going_home(assess(torn(changes), make_clinic()), Voice((tag,), "latin"))

    return compose


def bullets(document: Document) -> list[str]:
    """What is told as different from the plan."""
    return [item[0].plain for block in blocks_of(document, Bullets, "done") for item in block.items]


def facts(document: Document) -> dict[str, str]:
    rows = [row for block in blocks_of(document, Facts, "done") for row in block.rows]
    return {label[0].plain: value[0].plain for label, value in rows}


def text(document: Document, section: str | None = "done") -> str:
    return "\n".join(line[0].plain for name, line in document.lines() if section in (None, name))


EVENTS = {
    "capsule_torn": {"en": ("bag", "tore"), "bn": ("থলি", "ছিঁড়ে"), "hi": ("थैली", "फट")},
    "vitreous_lost": {"en": ("jelly", "forward"), "bn": ("জেলি", "সামনে"), "hi": ("जेली", "आगे")},
    "piece_retained": {"en": ("piece", "back of the eye"), "bn": ("টুকরো", "পিছনে"), "hi": ("टुकड़ा", "गिर")},
    "no_lens": {"en": ("No new lens", "yet"), "bn": ("নতুন লেন্স", "নেই"), "hi": ("नया लेंस", "नहीं")},
}
"""Everyday words of each language for what happened: common practice, no source."""


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("event", EVENTS)
def test_each_event_is_told_in_everyday_words(event, tag, home):
    changes = {**NOTHING_WRONG, f"done.{event}": "yes"} | ({"done.lens": None} if event == "no_lens" else {})
    (told,) = bullets(home(changes, tag))
    assert all(word in told for word in EVENTS[event][tag])


@pytest.mark.parametrize("answer", ["no", "unknown"])
@pytest.mark.parametrize("event", EVENTS)
def test_what_did_not_happen_or_is_not_known_is_not_told_as_having_happened(event, answer, home):
    others = {f"done.{name}": "yes" for name in EVENTS if name not in (event, "no_lens")}
    found = " ".join(bullets(home({**NOTHING_WRONG, **others, f"done.{event}": answer})))
    assert found
    assert not all(word in found for word in EVENTS[event]["en"])


@pytest.mark.parametrize("tag", LANGUAGES)
def test_as_planned_is_said_only_where_it_was_answered(tag, home):
    """Yes, no and unknown are three answers: DEVELOPERS.md, glossary."""
    said = {
        answer: text(home({**NOTHING_WRONG, "done.as_planned": answer}, tag)) for answer in ("yes", "no", "unknown")
    }
    assert AS_PLANNED[tag] in said["yes"]
    assert AS_PLANNED[tag] not in said["no"]
    assert AS_PLANNED[tag] not in said["unknown"]


def test_not_as_planned_without_details_is_not_silent(home):
    """A no is not an unknown (DEVELOPERS.md, glossary): who is told nothing takes it that all went as planned."""
    said = {answer: text(home({**NOTHING_WRONG, "done.as_planned": answer})) for answer in ("no", "unknown")}
    assert said["no"] != said["unknown"]


@pytest.mark.parametrize("event", EVENTS)
def test_what_went_wrong_outweighs_a_tick_at_as_planned(event, home):
    changes = {**NOTHING_WRONG, f"done.{event}": "yes"} | ({"done.lens": None} if event == "no_lens" else {})
    assert AS_PLANNED["en"] not in text(home(changes))


STEPS = {
    ExtraStep.LARGER_INCISION: {"en": "cut", "bn": "কাটা", "hi": "चीरा"},
    ExtraStep.ANTERIOR_VITRECTOMY: {"en": "jelly", "bn": "জেলি", "hi": "जेली"},
    ExtraStep.STITCH: {"en": "stitch", "bn": "সেলাই", "hi": "टाँक"},
    ExtraStep.PUPIL_DEVICE: {"en": "pupil", "bn": "মণি", "hi": "पुतली"},
    ExtraStep.CAPSULE_RING: {"en": "ring inside the bag", "bn": "থলির ভিতরে একটি রিং", "hi": "थैली के अंदर एक"},
    ExtraStep.OTHER_ANAESTHESIA: {"en": "numb", "bn": "অবশ", "hi": "सुन्न"},
    ExtraStep.SECOND_OPERATION: {"en": "operation", "bn": "অপারেশন", "hi": "ऑपरेशन"},
}


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("step", STEPS)
def test_each_step_taken_is_told_once(step, tag, home):
    (told,) = bullets(home({**NOTHING_WRONG, "done.steps": [step.value]}, tag))
    assert STEPS[step][tag] in told


@pytest.mark.parametrize("step", STEPS)
def test_a_step_taken_is_told_as_done_not_as_something_that_might_be(step, home):
    """After the operation a condition makes no sense: "if today's cannot be finished". Common practice, no source."""
    (told,) = bullets(home({**NOTHING_WRONG, "done.steps": [step.value]}))
    assert " if " not in told
    assert "would" not in told


@pytest.mark.parametrize("step", ["other lens or place", "no lens today"])
def test_a_step_of_the_lens_is_told_although_no_lens_is_entered(step, home):
    found = home({**NOTHING_WRONG, "done.steps": [step], "done.lens": None, "done.no_lens": "unknown"})
    assert any("lens" in told for told in bullets(found))
    assert AS_PLANNED["en"] not in text(found)


def test_another_lens_with_its_step_is_told_once(home):
    lens = {**PLANNED, "place": "ciliary sulcus"}
    (told,) = bullets(home({**NOTHING_WRONG, "done.lens": lens, "done.steps": ["other lens or place"]}))
    assert "Another lens" in told


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"design": "rigid"}, "hard lens"),
        ({"place": "ciliary sulcus"}, "in front of the bag"),
        ({"place": "anterior chamber"}, "in front of the iris"),
        ({"place": "scleral fixation"}, "wall of the eye"),
        ({"power_d": 19.5}, "19.5 D"),
    ],
)
def test_a_lens_that_differs_in_one_thing_is_told(change, words, home):
    (told,) = bullets(home({**NOTHING_WRONG, "done.lens": {**PLANNED, **change}}))
    assert "Another lens" in told
    assert words in told


def test_the_lens_of_the_plan_is_no_difference(home):
    found = home(NOTHING_WRONG)
    assert bullets(found) == []
    assert facts(found)["Lens in the eye"] == "soft one-piece lens, 20.5 D, in the bag of the old lens"


def test_a_power_nobody_wrote_down_does_not_make_another_lens(home):
    found = home({**NOTHING_WRONG, "done.lens": {**PLANNED, "power_d": None}})
    assert bullets(found) == []


def test_a_power_nobody_wrote_down_is_called_that_once_the_lens_is_in_the_eye(home):
    """Power of a lens in the eye is known to somebody: "not worked out yet" is untrue of it. Common practice."""
    found = facts(home({**NOTHING_WRONG, "done.lens": {**PLANNED, "power_d": None}}))
    assert "worked out" not in found["Lens in the eye"]
    assert NOT_WRITTEN_DOWN["en"] in found["Lens in the eye"]


@pytest.mark.parametrize("stitches", [1, 3])
@pytest.mark.parametrize("steps", [[], ["stitch"]])
def test_a_stitch_is_told_once_however_it_was_entered(steps, stitches, home):
    found = bullets(home({**NOTHING_WRONG, "done.steps": steps, "done.stitches": stitches}))
    assert len([told for told in found if "stitch" in told]) == 1


@pytest.mark.parametrize("stitches", [None, 0])
def test_no_stitch_is_told_where_there_is_none(stitches, home):
    assert bullets(home({**NOTHING_WRONG, "done.stitches": stitches})) == []


@pytest.mark.parametrize(
    ("ended", "words"),
    [("manual small-incision", "by hand"), ("extracapsular", "large cut"), ("phacoemulsification", "")],
)
def test_an_operation_that_ended_as_another_is_named(ended, words, home):
    found = home({**NOTHING_WRONG, "done.operation": ended})
    told = bullets(found)
    assert len(told) == bool(words)
    assert words in " ".join(told)
    assert words in facts(found)["Operation"]


def test_the_operation_planned_is_named_where_it_was_not_changed(home):
    assert "ultrasound" in facts(home(NOTHING_WRONG))["Operation"]


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("no_lens", ["unknown", "no"])
def test_a_lens_nobody_entered_is_not_written_down(no_lens, tag, home):
    found = facts(home({**NOTHING_WRONG, "done.lens": None, "done.no_lens": no_lens}, tag))
    assert NOT_WRITTEN_DOWN[tag] in found.values()


@pytest.mark.parametrize(("tag", "words"), [("en", "none yet"), ("bn", "এখনও নেই"), ("hi", "अभी नहीं है")])
def test_an_eye_without_a_lens_says_so(tag, words, home):
    found = facts(home({**NOTHING_WRONG, "done.lens": None, "done.no_lens": "yes"}, tag))
    assert words in found.values()
    assert NOT_WRITTEN_DOWN[tag] not in found.values()


def test_the_first_morning_stands_as_measured(home):
    found = facts(home())
    assert found["Sight on the first morning"] == "6/60"
    assert found["Pressure of the eye on the first morning"] == "24 mmHg"


@pytest.mark.parametrize(
    ("key", "absent"), [("day1.acuity_pinhole", "Sight"), ("day1.pressure_mmhg", "Pressure")], ids=["sight", "pressure"]
)
def test_a_first_morning_not_measured_has_no_figure(key, absent, home):
    found = facts(home({key: None}))
    assert not any(label.startswith(absent) for label in found)
    assert len([label for label in found if "first morning" in label]) == 1


def test_a_complication_is_printed_as_it_was_typed(home):
    typed = "<b>tear</b> of the iris & bleeding"
    found = home({**NOTHING_WRONG, "done.complication": typed})
    (line,) = [item for block in blocks_of(found, Bullets, "done") for item in block.items]
    assert line[0].plain == typed
    assert "<b>" not in line[0].html


OTHER_SIDE = dict.fromkeys(("eye.side", "plan.side", "measurement.side", "talk.told.side", "done.side"), "left")
EYES = {"en": ("RIGHT eye", "LEFT eye"), "bn": ("ডান চোখ", "বাঁ চোখ"), "hi": ("दाहिनी आँख", "बाईं आँख")}


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("side", ["right", "left"])
def test_the_eye_is_named_in_words_and_the_other_one_never(side, tag, home):
    """Universal Protocol UP.01.01.01: the site in words. The words are those of a dictionary."""
    found = home(OTHER_SIDE if side == "left" else {}, tag)
    right, left = EYES[tag]
    this, other = (right, left) if side == "right" else (left, right)
    assert this in found.title[0].plain
    assert this in found.header[0].plain
    assert other not in text(found, None)


def test_before_surgery_nothing_is_told_as_done(make_case, make_clinic):
    planned = going_home(assess(make_case(), make_clinic()), Voice(("en",), "latin"))
    assert "done" not in [section.id for section in planned.sections]
    assert told_differences(make_case(), Voice(("en",), "latin")) == ()


VITRECTOMY = {"done.vitreous_lost": "yes", "done.steps": ["anterior vitrectomy"]}


@pytest.mark.parametrize(
    ("changes", "names"),
    [
        ({"done.capsule_torn": "yes"}, ["bag_torn", "lens_in_bag"]),
        ({"done.piece_retained": "yes"}, ["piece_behind", "lens_in_bag"]),
        ({"done.no_lens": "yes", "done.lens": None}, ["no_lens"]),
        (VITRECTOMY, ["jelly_removed", "lens_in_bag"]),
        ({"done.vitreous_lost": "yes"}, ["lens_in_bag"]),
        (
            {"done.capsule_torn": "yes", "done.lens": {**PLANNED, "place": "ciliary sulcus"}},
            ["bag_torn", "lens_in_front_of_bag"],
        ),
        ({"done.capsule_torn": "yes", "done.lens": {**PLANNED, "place": "anterior chamber"}}, ["bag_torn"]),
        ({"done.capsule_torn": "yes", "done.lens": {**PLANNED, "place": "scleral fixation"}}, ["bag_torn"]),
        ({"done.capsule_torn": "yes", "done.lens": None}, ["bag_torn"]),
    ],
)
def test_what_happened_is_drawn_and_nothing_else(changes, names):
    """A lens in a place there is no drawing for is not drawn in another place."""
    pictures = drawn(torn({**NOTHING_WRONG, **changes}), Voice(LANGUAGES, "latin"))
    assert pictures is not None
    assert [svg for svg, _ in pictures.items] == [diagram(name) for name in names]
    assert all(said.plain.strip() for _, words in pictures.items for said in words)


@pytest.mark.parametrize("changes", [NOTHING_WRONG, {**NOTHING_WRONG, "done.capsule_torn": "unknown"}, {"done": None}])
def test_nothing_is_drawn_where_nothing_is_known_to_have_gone_wrong(changes):
    assert drawn(torn(changes), Voice(("en",), "latin")) is None


@pytest.mark.parametrize(
    ("agreed", "said"),
    [(["stitch"], False), ([], True)],
)
def test_what_had_not_been_agreed_is_owed_its_reason(agreed, said, make_case, make_clinic):
    """A step that was not agreed must be accounted for: Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32."""
    case = make_case({"plan.extra_steps": agreed, "done.stitches": 1})
    texts = list(going_home(assess(case, make_clinic()), Voice(("en",), "latin")).texts())
    assert any("why it was needed" in text for text in texts) is said


def test_the_surgeon_reads_when_the_patient_was_told_on_the_clinics_own_clock(make_clinic):
    """11:30 in India (UTC+5:30, IANA tz Asia/Kolkata) is 06:00 UTC: the same moment in any zone."""
    assessment = assess(torn({"done.told.at": "2026-12-28T06:00:00+00:00"}), make_clinic())
    facts = facts_of(review_sheet(assessment, Voice(("en",), "latin"), assessment.points, (), ()))
    (told,) = [text for text in facts.values() if text.startswith("Dr Asha Invented, ")]
    assert told.endswith("11:30")
