"""Photographs, recording, teaching, research and personal data: apart from the consent to the operation.

GMC, Making and using visual and audio recordings of patients (2011): consent of its own, may be withdrawn. Digital
Personal Data Protection Act 2023 (India), sections 6 and 9: consent as easy to take back as to give; a guardian for a
person who cannot decide.
"""

from __future__ import annotations

import pytest

from consent.compose import Voice, separate_choices
from consent.compose.document import Choice, Para, Signature
from consent.review import assess
from tests.blocks import blocks_of

LANGUAGES = ("en", "bn", "hi")
WORDS = {
    "en": ("Photographs of my eye", "Films or sound", "teaching", "research"),
    "bn": ("চোখের ছবি", "ভিডিও তোলা বা শব্দ", "শেখানোর", "গবেষণার"),
    "hi": ("आँख की फ़ोटो", "वीडियो या आवाज़", "पढ़ाने-सिखाने", "रिसर्च"),
}
GUARDIAN = {
    "patient.decision": {"basis": "legal guardian", "can_decide": "no", "name": "Ravi Example", "relation": "son"},
}


@pytest.fixture(scope="module")
def sheet(make_case, make_clinic):
    def compose(changes=None, clinic=None, tags=("en",)):
        return separate_choices(assess(make_case(changes), make_clinic(clinic)), Voice(tags, "latin"))

    return compose


def choices(document) -> list[str]:
    return [block.text[0].plain for block in blocks_of(document, Choice)]


@pytest.mark.parametrize("tag", LANGUAGES)
def test_each_choice_stands_alone_and_can_be_refused(tag, sheet):
    """One yes for several things is no choice: Digital Personal Data Protection Act 2023, section 6, "specific"."""
    document = sheet(tags=(tag,))
    texts = choices(document)
    assert len(texts) == 5
    assert all(word in text for word, text in zip(WORDS[tag], texts, strict=False))
    for block in blocks_of(document, Choice):
        assert block.accept[0].plain.strip()
        assert block.refuse[0].plain.strip()
        assert block.accept != block.refuse


def test_it_says_that_the_treatment_does_not_depend_on_it(sheet):
    said = " ".join(block.text[0].plain for block in blocks_of(sheet(), Para, "who"))
    assert "do not change your treatment" in said
    assert "you may say no" in said.lower()


def test_personal_data_names_purpose_and_whom_to_ask_and_can_be_taken_back(sheet):
    said = choices(sheet(clinic={"personal_data": {"purpose": "your visits", "contact": "the desk at the door"}}))[-1]
    assert "your visits" in said
    assert "the desk at the door" in said
    assert "take this back as easily" in said


def test_a_clinic_that_keeps_no_notice_prints_none(sheet):
    assert len(choices(sheet(clinic={"personal_data": None}))) == 4


def test_who_decides_for_the_patient_is_asked_as_such(sheet, make_case):
    said = choices(sheet(GUARDIAN))[-1]
    assert said.startswith("I decide for the patient")
    assert not choices(sheet())[-1].startswith("I decide")


def test_what_is_signed_here_answers_nothing_of_the_consent_form(sheet):
    """Signing this paper must never make the consent form look signed: common practice, no source."""
    document = sheet()
    assert blocks_of(document, Signature)
    ids = {anchor.element for anchor in document.anchors()}
    assert ids == {"IN-22", "IN-18"}


def test_nothing_of_it_stands_on_the_consent_form(english_form, sheet):
    form = " ".join(english_form().texts())
    assert not any(text in form for text in choices(sheet()))


def test_the_eye_is_not_asked_for_here(sheet):
    """Which eye is signed for on the consent form alone: this paper is of the person."""
    for block in blocks_of(sheet(), Signature):
        assert "LEFT eye" not in block.meaning[0].plain
