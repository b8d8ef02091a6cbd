"""What form, risk sheet and separate choices say of operation, lens, anaesthetic and people: the case's own facts."""

from __future__ import annotations

import pytest

from consent.case import Anaesthesia, ExtraStep, LensDesign, Operation
from consent.compose import Document
from consent.compose.document import Choice, Facts
from consent.language import Speaker
from tests.blocks import blocks_of
from tests.compose.eyes import outcome_name, risks, rows

EN = Speaker("en", "latin")


def english(message: str) -> str:
    return EN.say(message).plain


def said(document: Document, section: str) -> list[str]:
    return [line[0].plain for name, line in document.lines() if name == section]


def facts(document: Document) -> dict[str, str]:
    return {label[0].plain: value[0].plain for block in blocks_of(document, Facts) for label, value in block.rows}


@pytest.mark.parametrize("operation", Operation)
def test_the_operation_is_named_and_explained(operation, english_form):
    """Nature and procedure in lay words: Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32."""
    form = english_form("ordinary", {"plan.operation": operation.value})
    assert facts(form)[english("label.operation")] == english(f"operation.{operation}")
    why = " ".join(said(form, "why"))
    assert (english("form.why.how-phaco") in why) == operation.is_phaco
    assert (english("form.why.how-manual") in why) == (not operation.is_phaco)
    assert (english("form.why.drainage") in why) == (operation is Operation.PHACO_TRABECULECTOMY)


@pytest.mark.parametrize("design", LensDesign)
def test_the_lens_is_named_with_its_power(design, english_form):
    form = english_form("ordinary", {"plan.lens.design": design.value, "plan.lens.power_d": 21.5})
    assert facts(form)[english("label.lens")] == f"{english(f'lens.{design}')}, 21.5 D"


def test_without_a_lens_none_is_made_up(english_form):
    """That no lens is chosen yet is said, or its line would be filled in later. Common practice, no source."""
    assert facts(english_form("ordinary", {"plan.lens": None}))[english("label.lens")] == "not chosen yet"


@pytest.mark.parametrize("design", LensDesign)
def test_a_lens_without_power_is_chosen_all_the_same(design, english_form):
    """ "Not chosen yet" would deny the lens the patient was told of; a power nobody worked out is not made up."""
    form = english_form("ordinary", {"plan.lens.design": design.value, "plan.lens.power_d": None})
    assert facts(form)[english("label.lens")] == f"{english(f'lens.{design}')}, power not worked out yet"
    assert [text for text in form.texts() if "not chosen" in text] == []


@pytest.mark.parametrize("kind", [*Anaesthesia, None])
def test_the_anaesthetic_planned_is_the_one_explained(kind, english_form):
    form = english_form("ordinary", {"plan.anaesthesia": kind.value if kind else None})
    expected = f"anaesthesia.{kind}.explained" if kind else "anaesthesia.not-chosen"
    others = [f"anaesthesia.{other}.explained" for other in Anaesthesia] + ["anaesthesia.not-chosen"]
    numb = " ".join(said(form, "numb"))
    assert [name for name in others if english(name) in numb] == [expected]


# What a patient tells apart, and the planned ways it stands for
OTHER_WAYS = {
    "drops alone": (Anaesthesia.TOPICAL, Anaesthesia.TOPICAL_INTRACAMERAL),
    "medicine around the eye through a blunt tube": (Anaesthesia.SUB_TENON,),
    "an injection beside the eye": (Anaesthesia.PERIBULBAR, Anaesthesia.RETROBULBAR),
    "medicine that makes you sleep": (Anaesthesia.GENERAL,),
}


@pytest.mark.parametrize("kind", [*Anaesthesia, None])
def test_the_other_ways_to_numb_leave_out_the_planned_one(kind, english_form):
    """RCOA and RCOphth, Local anaesthesia for ophthalmic surgery, 2012: the choice is the patient's; a way that is
    planned is no other way. Where none is chosen yet, all are open."""
    numb = " ".join(said(english_form("ordinary", {"plan.anaesthesia": kind.value if kind else None}), "numb"))
    _, _, ways = numb.partition("Other ways: ")
    assert ways.endswith("Ask us if you want another.")
    assert {way: way in ways for way in OTHER_WAYS} == {way: kind not in planned for way, planned in OTHER_WAYS.items()}


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
    people = " ".join(said(english_form("ordinary", {"plan.trainee_may_operate": answer}), "people"))
    names = ("no-trainee", "trainee", "trainee-not-decided")
    assert [f"form.people.{n}" for n in names if english(f"form.people.{n}") in people] == [message]


@pytest.mark.parametrize("camp", ["yes", "no", "unknown"])
def test_a_camp_patient_is_told_where_and_whom_to_call(camp, english_form):
    """State norms for eye camps 2015: base hospital and a contact at all hours."""
    people = " ".join(said(english_form("ordinary", {"plan.camp": camp}), "people"))
    for detail in ("Station Road, Nodipar (invented)", "00000\u00a011111", "00000\u00a022222"):
        assert (detail in people) == (camp == "yes")


@pytest.mark.parametrize("step", ExtraStep)
def test_each_extra_step_has_its_words(step, english_form):
    """Each further procedure is named: Samira Kohli, para 32."""
    form = english_form("ordinary", {"plan.extra_steps": [step.value]})
    section = next(section for section in form.sections if section.id == "extra-steps")
    (choice,) = [block for block in section.blocks if isinstance(block, Choice)]
    assert choice.text[0].plain == english(f"step.{step}")
    assert (choice.accept[0].plain, choice.refuse[0].plain) == (english("choice.accept"), english("choice.refuse"))


def test_without_extra_steps_the_patient_is_not_asked_to_decide_on_any(english_form):
    """ "Please decide on each one" above an empty list would make the signature cover steps nobody named."""
    form = english_form("ordinary", {"plan.extra_steps": []})
    section = next(section for section in form.sections if section.id == "extra-steps")
    assert [block for block in section.blocks if isinstance(block, Choice)] == []
    steps = said(form, "extra-steps")
    assert english("form.extra-steps.why") not in steps
    assert [text for text in steps if "decide" in text] == []
    assert english("form.extra-steps.none") in steps
    assert english("form.extra-steps.nothing-else") in steps


def test_with_extra_steps_the_form_does_not_say_there_are_none(english_form):
    steps = said(english_form(), "extra-steps")
    assert english("form.extra-steps.why") in steps
    assert english("form.extra-steps.none") not in steps


# The only seeing eye: losing its sight means something else. ICD-11 9D90: blindness is worse than 3/60.


@pytest.mark.parametrize(
    "changes",
    [
        {"other_eye.acuity": "HM"},
        {"other_eye.acuity": "2/60"},
        {"other_eye.acuity": "NPL"},
        {"other_eye.seeing": "no"},
        {"patient.what_matters": ["only good eye"]},
    ],
)
def test_an_only_eye_is_told_however_it_was_found(changes, english_form):
    """Also where nobody ticked "only good eye": the acuity of the other eye says it."""
    different = " ".join(said(english_form("ordinary", changes), "different"))
    assert english("different.only-eye") in different
    assert english("different.nothing") not in different


@pytest.mark.parametrize(
    "changes", [{}, {"other_eye.acuity": "3/60"}, {"other_eye.acuity": None}, {"other_eye.seeing": "unknown"}]
)
def test_where_the_other_eye_sees_or_was_not_measured_it_is_not_told(changes, english_form):
    assert english("different.only-eye") not in " ".join(said(english_form("ordinary", changes), "different"))


def test_an_only_eye_at_the_clinics_own_limit_is_told(english_form):
    """6/18 is logMAR 0.477: an only eye for a clinic that draws the line at 0.4."""
    own = {"points": {"only-eye": {"worse_than_logmar": 0.4}}}
    other = {"other_eye.acuity": "6/18"}
    assert english("different.only-eye") in " ".join(said(english_form("ordinary", other, own), "different"))
    assert english("different.only-eye") not in " ".join(said(english_form("ordinary", other), "different"))


@pytest.mark.parametrize(("answer", "told"), [("no", True), ("unknown", False), ("yes", False)])
def test_a_lens_is_not_here_only_where_somebody_looked(answer, told, english_form):
    """Not looked for is not missing: the patient would accept a second choice for no reason."""
    different = " ".join(said(english_form("ordinary", {"plan.lens.on_shelf": answer}), "different"))
    assert (english("different.other-lens") in different) == told
    assert ("not here now" in different) == told


# Harm from the injection that makes the eye numb: told where one is given, and only there. Common practice, no source.


@pytest.mark.parametrize("kind", [*Anaesthesia, None])
def test_harm_from_the_injection_is_told_only_where_there_may_be_one(kind, english_form, english_risk_sheet):
    """Topical and general anaesthesia have no injection beside the eye. Not chosen yet is not none. Where the table
    does not count it, the section on numbing says that its harm is not known."""
    changes = {"plan.anaesthesia": kind.value if kind else None}
    form, sheet = english_form("ordinary", changes), english_risk_sheet("ordinary", changes)
    injected = kind in (None, Anaesthesia.SUB_TENON, Anaesthesia.PERIBULBAR, Anaesthesia.RETROBULBAR)
    name = outcome_name("anaesthetic_harm")
    assert (name in [row[0] for row in rows(form)]) == injected
    assert (name in [block.name[0].plain for block in risks(sheet)]) == injected
    assert (english("outcome.anaesthetic_harm.means") in list(sheet.texts())) == injected
    assert (english("form.numb.chances-not-known") in " ".join(said(form, "numb"))) == (not injected)


# What matters, how its answer begins, and the day in it: the demonstration clinic's days of care after 24 February 2027
MATTERS = [
    ("work", "You said your work matters.", None),
    ("driving", "You said you drive.", None),
    ("reading", "You said reading matters.", "31 March 2027"),
    ("prayer", "You said you pray.", "10 March 2027"),
    ("cooking fire", "You said you cook over an open fire.", "26 March 2027"),
    ("field work", "You said you work in the field.", "26 March 2027"),
    ("cattle", "You said you keep cattle.", "26 March 2027"),
    ("pond bath", "You said you bathe in a pond.", "7 April 2027"),
    ("small child", "You said a small child is with you.", "3 March 2027"),
    ("living alone", "You said you live alone.", None),
    ("only good eye", "You said this is your only good eye.", None),
]


@pytest.mark.parametrize(("matter", "begins", "day"), MATTERS)
def test_what_matters_to_the_patient_is_answered(matter, begins, day, english_risk_sheet):
    """Material to this patient: Montgomery v Lanarkshire Health Board [2015] UKSC 11."""
    answers = said(english_risk_sheet("ordinary", {"patient.what_matters": [matter]}), "matters")
    told = [text for text in answers if text.startswith("You said")]
    assert len(told) == 1
    assert told[0].startswith(begins)
    assert (day in told[0]) if day else ("2027" not in told[0])


@pytest.mark.parametrize("matter", ["prayer", "cooking fire", "field work", "cattle", "pond bath", "small child"])
def test_without_a_day_of_the_clinic_the_patient_is_told_to_ask(matter, english_risk_sheet):
    """A day nobody set is not made up: common practice, no source."""
    answers = said(english_risk_sheet("ordinary", {"patient.what_matters": [matter]}, {"aftercare": {}}), "matters")
    (told,) = [text for text in answers if text.startswith("You said")]
    assert "Ask us" in told
    assert "2027" not in told


def test_the_patients_own_words_and_questions_stand_on_the_risk_sheet(english_risk_sheet):
    matters = " ".join(said(english_risk_sheet("hard"), "matters"))
    assert "I must see the kiln fire and the path home." in matters
    assert "Who will put in the drops when I am at the kiln?" in matters


def test_photographs_recording_teaching_research_and_data_are_five_choices(english_choices, english_form):
    """A choice of its own for each, on a paper of their own: reading of Samira Kohli with the Digital Personal Data
    Protection Act 2023."""
    choices = [block.text[0].plain for block in blocks_of(english_choices(), Choice)]
    assert set(choices).isdisjoint(english_form().texts())
    own = [english(f"form.separate.{name}") for name in ("photographs", "recording", "teaching", "research")]
    assert choices[:4] == own
    assert len(choices) == 5
    assert "The records desk, Nodipar Eye Centre (invented)" in choices[4]


@pytest.mark.parametrize("answer", ["yes", "no", "unknown"])
def test_large_print_only_where_asked_for(answer, english_form):
    assert english_form("ordinary", {"patient.large_print": answer}).large == (answer == "yes")


def test_every_sheet_is_a_draft_until_signed_off(english_form):
    marks = [line[0].plain for line in english_form().marks]
    assert english("frame.draft") in marks
    assert english("frame.invented") in marks
