"""Before the day: when and where, food, tablets, washing, what to bring, when to telephone first.

Royal College of Anaesthetists and Royal College of Ophthalmologists, Local anaesthesia for ophthalmic surgery (2012):
blood thinners are as a rule kept, fasting is the unit's own policy. The rest: common practice, no source.
"""

from __future__ import annotations

import datetime as dt

import pytest

from consent.compose import Document, Voice, before_day
from consent.compose.document import Facts, PicturedList
from consent.compose.pictures import pictogram
from consent.review import assess
from tests.blocks import blocks_of
from tests.editing import Changes

LANGUAGES = ("en", "bn", "hi")


@pytest.fixture(scope="module")
def sheet(make_case, make_clinic):
    def compose(changes: Changes | None = None, clinic: Changes | None = None, tag: str = "en") -> Document:
        return before_day(assess(make_case(changes), make_clinic(clinic)), Voice((tag,), "latin"))

    return compose


def listed(document: Document, section: str) -> list[str]:
    return [words[0].plain for block in blocks_of(document, PicturedList, section) for _, words in block.items]


def when(document: Document) -> dict[str, str]:
    (rows,) = blocks_of(document, Facts, "when")
    return {label[0].plain: value[0].plain for label, value in rows.rows}


THINNER = {
    "en": ("Blood thinner", "keep taking it", "doctor who gave it"),
    "bn": ("রক্ত পাতলা", "খেতে থাকুন", "যে ডাক্তার দিয়েছেন"),
    "hi": ("खून पतला", "लेते रहें", "जिस डॉक्टर ने दी"),
}


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("drug", ["anticoagulant", "antiplatelet"])
def test_who_takes_a_blood_thinner_is_told_to_keep_it(drug, tag, sheet):
    """RCoA and RCOphth 2012: stopping costs more than the little bleeding it saves."""
    lines = [line for line in listed(sheet({f"health.{drug}": "yes"}, tag=tag), "eat") if THINNER[tag][0] in line]
    assert len(lines) == 1
    assert all(words in lines[0] for words in THINNER[tag])


@pytest.mark.parametrize("answer", ["no", "unknown"])
@pytest.mark.parametrize("tag", LANGUAGES)
def test_nobody_else_reads_of_blood_thinners(tag, answer, sheet):
    changes = {"health.anticoagulant": answer, "health.antiplatelet": answer}
    assert not any(THINNER[tag][0] in text for text in sheet(changes, tag=tag).texts())


def test_two_thinners_are_one_sentence(sheet):
    lines = listed(sheet({"health.anticoagulant": "yes", "health.antiplatelet": "yes"}), "eat")
    assert len([line for line in lines if "Blood thinner" in line]) == 1


SUGAR = {"en": "sugar", "bn": "সুগার", "hi": "शुगर"}


@pytest.mark.parametrize("tag", LANGUAGES)
def test_who_has_diabetes_asks_about_tablets_and_telephones_about_sugar(tag, sheet):
    """How much on a fasting or half-fasting morning is the doctor's to say: no dose stands here."""
    found = sheet({"health.diabetes": "yes"}, tag=tag)
    (line,) = [line for line in listed(found, "eat") if SUGAR[tag] in line.lower()]
    assert "____" in line
    assert len([line for line in listed(found, "phone") if SUGAR[tag] in line]) == 1


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("answer", ["no", "unknown"])
def test_nobody_else_reads_of_sugar(answer, tag, sheet):
    assert not any(SUGAR[tag] in text.lower() for text in sheet({"health.diabetes": answer}, tag=tag).texts())


@pytest.mark.parametrize(("answer", "is_said"), [("yes", True), ("no", False), ("unknown", False)])
def test_an_alpha_blocker_is_to_be_told_and_not_stopped(answer, is_said, sheet):
    """Chang 2007, floppy iris: stopping does not undo it; telling lets the surgeon prepare."""
    drugs = {"health.alpha_blocker": {"ever": answer}}
    lines = [line for line in listed(sheet(drugs), "eat") if "passing urine" in line]
    assert len(lines) == is_said
    assert all("Do not stop" in line for line in lines)


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        (0, "Eat a light meal"),
        (1, "Eat nothing in the last 1 hour before"),
        (6, "Eat nothing in the last 6 hours before"),
        (None, "ask us: ____"),
    ],
)
def test_food_is_what_the_clinic_set_and_else_a_line_to_ask(hours, words, sheet):
    found = listed(sheet(clinic={"before": {"arrive_minutes": 90, "no_food_hours": hours}}), "eat")
    assert words in found[0]


@pytest.mark.parametrize("hours", [0, 6, None])
@pytest.mark.parametrize(("tag", "who"), [("en", "anaesthetist"), ("bn", "অজ্ঞানের ডাক্তার"), ("hi", "बेहोशी के डॉक्टर")])
def test_who_is_put_to_sleep_hears_about_food_from_the_anaesthetist(tag, who, hours, sheet):
    """The clinic's hours are for eyes numbed awake; with general anaesthesia a light meal can kill (aspiration)."""
    found = listed(sheet({"plan.anaesthesia": "general"}, {"before": {"no_food_hours": hours}}, tag), "eat")
    assert who in found[0]
    assert "____" in found[0]
    assert not any("light meal" in line or "6" in line for line in found)


@pytest.mark.parametrize("tag", LANGUAGES)
@pytest.mark.parametrize("hours", [0, 6, None])
def test_tablets_are_taken_whatever_is_said_of_food(hours, tag, sheet):
    words = {"en": "usual tablets", "bn": "সকালের বড়ি", "hi": "सुबह की गोलियाँ"}[tag]
    assert any(words in line for line in listed(sheet(clinic={"before": {"no_food_hours": hours}}, tag=tag), "eat"))


@pytest.mark.parametrize(
    ("minutes", "at", "words"),
    [
        (90, dt.time(9, 30), "08:00"),
        (0, dt.time(9, 30), "09:30"),
        (None, dt.time(9, 30), "ask us: ____"),
        (90, None, "ask us: ____"),
    ],
)
def test_when_to_be_there_is_the_operation_less_the_clinics_minutes(minutes, at, words, sheet):
    found = when(sheet({"plan.time": at}, {"before": {"arrive_minutes": minutes}}))
    assert words in found["Be there at"]
    assert ("Operation at about" in found) == (at is not None)


def test_who_is_to_be_there_the_evening_before_is_told_the_day(sheet):
    """22:00 for an operation at 08:00 is the evening before: under the day of surgery alone it would be read as that
    evening."""
    found = when(sheet({"plan.time": dt.time(8, 0)}, {"before": {"arrive_minutes": 600}}))
    assert "23 February 2027" in " ".join(found.values())


def test_a_clinic_without_settings_invents_no_hour(sheet):
    found = sheet(clinic={"before": {}})
    assert "ask us" in when(found)["Be there at"]
    assert "ask us" in listed(found, "eat")[0]
    assert "08:00" not in " ".join(found.texts())


@pytest.mark.parametrize(("helper", "giver"), [("her daughter", "named helper"), (None, "self")])
def test_who_helps_with_the_drops_is_not_said_to_come_along(helper, giver, sheet):
    """Nobody entered who takes the patient home: there is a line to write it on."""
    found = when(sheet({"patient.drops_helper": helper, "patient.drops_given_by": giver}))
    assert found["Come with"] == "somebody who takes you home: ____________"


def test_day_place_and_theatre(sheet):
    found = when(sheet())
    assert found["Day"] == "Wednesday, 24 February 2027"
    assert found["Where"] == "Nodipar Eye Centre (invented), Station Road, Nodipar (invented), Theatre 1"


@pytest.mark.parametrize(("tag", "words"), [("en", "No kohl"), ("bn", "কাজল নয়"), ("hi", "काजल नहीं")])
def test_kohl_is_crossed_out_and_nothing_else_is(tag, words, sheet):
    """A picture of what not to do without a stroke through it would be read as advice. Common practice, no source."""
    found = sheet(tag=tag)
    lists = [item for block in blocks_of(found, PicturedList) for item in block.items]
    (kohl,) = [picture for picture, line in lists if words in line[0].plain]
    assert kohl == pictogram("kohl", crossed=True)
    stroke = 'd="M8 8L92 92"'
    assert [line[0].plain for picture, line in lists if stroke in picture] == [
        line[0].plain for _, line in lists if words in line[0].plain
    ]


@pytest.mark.parametrize(
    ("changes", "is_said"),
    [({}, False), ({"eye.glaucoma_drops": ["timolol"]}, True)],
)
def test_who_has_drops_already_goes_on_with_them(changes, is_said, sheet):
    assert any("Your own eye drops" in line for line in listed(sheet(changes), "eat")) == is_said


@pytest.mark.parametrize("tag", LANGUAGES)
def test_who_changed_their_mind_telephones_too(tag, sheet):
    """GMC, Decision making and consent (2020): consent may be withdrawn at any time."""
    words = {"en": "changed your mind", "bn": "মত বদলান", "hi": "मन बदल"}[tag]
    assert words in listed(sheet(tag=tag), "phone")[-1]


@pytest.mark.parametrize("tag", LANGUAGES)
def test_the_telephone_stands_at_the_foot_of_each_page(tag, sheet):
    found = sheet(tag=tag)
    assert found.footer is not None
    assert all(number in found.footer[0].plain for number in ("11111", "22222"))


@pytest.mark.parametrize(("tag", "eye"), [("en", "LEFT eye"), ("bn", "বাঁ চোখ"), ("hi", "बाईं आँख")])
def test_the_eye_is_in_the_title_in_words(tag, eye, sheet):
    """Universal Protocol UP.01.01.01: the site in words."""
    assert eye in sheet(tag=tag).title[0].plain


def test_a_picture_of_a_hurting_eye_does_not_stand_for_a_hurting_chest(sheet):
    """On the going-home sheet the same picture says: pain in the eye, come now. One picture, one meaning: ISO 9186
    tests a sign for one referent."""
    lists = [item for block in blocks_of(sheet(), PicturedList) for item in block.items]
    (chest,) = [picture for picture, line in lists if "pain in the chest" in line[0].plain]
    assert chest not in (pictogram("pain"), pictogram("pain", on_left=True))


def test_a_picture_of_washing_hands_does_not_stand_for_clothes(sheet):
    lists = [item for block in blocks_of(sheet(), PicturedList) for item in block.items]
    (clothes,) = [picture for picture, line in lists if "loose clothes" in line[0].plain]
    assert clothes != pictogram("wash")
