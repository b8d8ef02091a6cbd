"""What the form says of the operation, the lens, the anaesthetic and the people: the case's own facts, each way."""

from __future__ import annotations

import pytest

from consent.case import Anaesthesia, ExtraStep, LensDesign, Operation
from consent.compose import Document
from consent.compose.document import Choice, Facts
from consent.language import Speaker

EN = Speaker("en", "latin")


def english(message: str) -> str:
    return EN.say(message).plain


def said(document: Document, section: str) -> list[str]:
    return [line[0].plain for name, line in document.lines() if name == section]


def facts(document: Document) -> dict[str, str]:
    blocks = [b for section in document.sections for b in section.blocks if isinstance(b, Facts)]
    return {label[0].plain: value[0].plain for block in blocks for label, value in block.rows}


@pytest.mark.parametrize("operation", Operation)
def test_the_operation_is_named_and_explained(operation, english_form):
    """Nature and procedure in lay words: Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32."""
    form = english_form("ordinary", {"plan.operation": operation.value})
    assert facts(form)[english("label.operation")] == english(f"operation.{operation}")
    why = said(form, "why")
    assert (english("form.why.how-phaco") in why) == operation.is_phaco
    assert (english("form.why.how-manual") in why) == (not operation.is_phaco)
    assert (english("form.why.drainage") in why) == (operation is Operation.PHACO_TRABECULECTOMY)


@pytest.mark.parametrize("design", LensDesign)
def test_the_lens_is_named_with_its_power(design, english_form):
    form = english_form("ordinary", {"plan.lens.design": design.value, "plan.lens.power_d": 21.5})
    assert facts(form)[english("label.lens")] == f"{english(f'lens.{design}')}, 21.5 D"


def test_without_a_lens_no_power_is_made_up(english_form):
    assert english("label.lens") not in facts(english_form("ordinary", {"plan.lens": None}))
    without_power = facts(english_form("ordinary", {"plan.lens.power_d": None}))[english("label.lens")]
    assert not any(letter.isdigit() for letter in without_power)


@pytest.mark.parametrize("kind", [*Anaesthesia, None])
def test_the_anaesthetic_planned_is_the_one_explained(kind, english_form):
    form = english_form("ordinary", {"plan.anaesthesia": kind.value if kind else None})
    expected = f"anaesthesia.{kind}.explained" if kind else "anaesthesia.not-chosen"
    assert said(form, "numb")[1:] == [english(expected)]


@pytest.mark.parametrize(
    ("answer", "message"),
    [
        ("no", "form.people.no-trainee"),
        ("yes", "form.people.trainee"),
        ("unknown", "form.people.trainee-not-decided"),
    ],
)
def test_whether_a_trainee_may_operate_is_three_answers(answer, message, english_form):
    """Vallance 2004, J Cataract Refract Surg: patients want to be told. Not decided is not no."""
    people = said(english_form("ordinary", {"plan.trainee_may_operate": answer}), "people")
    names = ("no-trainee", "trainee", "trainee-not-decided")
    assert [f"form.people.{n}" for n in names if english(f"form.people.{n}") in people] == [message]


@pytest.mark.parametrize("camp", ["yes", "no", "unknown"])
def test_a_camp_patient_is_told_where_and_whom_to_call(camp, english_form):
    """State norms for eye camps 2015: base hospital and a contact at all hours."""
    people = " ".join(said(english_form("ordinary", {"plan.camp": camp}), "people"))
    for detail in ("Station Road, Nodipar (invented)", "00000 11111", "00000 22222"):
        assert (detail in people) == (camp == "yes")


@pytest.mark.parametrize("step", ExtraStep)
def test_each_extra_step_has_its_words(step, english_form):
    """Each further procedure is named: Samira Kohli, para 32."""
    form = english_form("ordinary", {"plan.extra_steps": [step.value]})
    section = next(section for section in form.sections if section.id == "extra-steps")
    (choice,) = [block for block in section.blocks if isinstance(block, Choice)]
    assert choice.text[0].plain == english(f"step.{step}")
    assert (choice.accept[0].plain, choice.refuse[0].plain) == (english("choice.accept"), english("choice.refuse"))


MATTERS = ["work", "driving", "reading", "prayer", "cooking fire", "field work", "cattle", "only good eye"]


@pytest.mark.parametrize("matter", MATTERS)
def test_what_matters_to_the_patient_is_answered(matter, english_form):
    """Material to this patient: Montgomery v Lanarkshire Health Board [2015] UKSC 11."""
    matters = said(english_form("ordinary", {"patient.what_matters": [matter]}), "matters")
    assert [name for name in MATTERS if english(f"matters.{name}") in matters] == [matter]


def test_the_patients_own_words_and_questions_stand_on_the_form(english_form):
    matters = " ".join(said(english_form("hard"), "matters"))
    assert "I must see the kiln fire and the path home." in matters
    assert "Who will put in the drops when I am at the kiln?" in matters


def test_photographs_teaching_and_data_are_three_choices(english_form):
    """A choice of its own for each: reading of Samira Kohli with the Digital Personal Data Protection Act 2023."""
    section = next(section for section in english_form().sections if section.id == "separate")
    choices = [block.text[0].plain for block in section.blocks if isinstance(block, Choice)]
    assert choices[:2] == [english("form.separate.photographs"), english("form.separate.teaching")]
    assert len(choices) == 3
    assert "The records desk, Nodipar Eye Centre (invented)" in choices[2]


@pytest.mark.parametrize("answer", ["yes", "no", "unknown"])
def test_large_print_only_where_asked_for(answer, english_form):
    assert english_form("ordinary", {"patient.large_print": answer}).large == (answer == "yes")


def test_every_sheet_is_a_draft_until_signed_off(english_form):
    marks = [line[0].plain for line in english_form().marks]
    assert english("frame.draft") in marks
    assert english("frame.invented") in marks
