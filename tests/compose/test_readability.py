"""English patient sheets can be read after six years of school, and no sentence is longer than twenty words.

Formulas: Flesch-Kincaid (Kincaid 1975, Naval Training Command report 8-75) and SMOG (McLaughlin 1969, Journal of
Reading 12:639). Grade 6 lies at the strict end of what review boards ask of consent forms (Paasche-Orlow 2003,
doi:10.1056/NEJMsa021212); twenty words: common practice, no source.
"""

from __future__ import annotations

import pytest

from consent.compose import Voice, consent_form, going_home, risk_sheet, separate_choices
from consent.language import load_catalogue, read_english, running_text
from consent.language.readability import sentences_of
from consent.review import assess

GRADE = 6.0
LONGEST = 20

# Reached on 24 November 2026 by the ordinary and the hard example, running text only: Flesch-Kincaid 3.2 and 3.0
# (form), 2.1 and 2.3 (going home); SMOG 7.6 and 7.4, 6.0 and 6.4. The ceiling is one of Flesch-Kincaid.
SHEETS = {
    "consent-form": consent_form,
    "risk-sheet": risk_sheet,
    "separate-choices": separate_choices,
    "going-home": going_home,
}
CASES = [
    ("ordinary", {}),
    ("hard", {}),
    ("hard", {"plan.operation": "manual small-incision", "plan.camp": "yes", "eye.pseudoexfoliation": "yes"}),
    (
        "ordinary",
        {
            "plan.operation": "phacoemulsification with trabeculectomy",
            "plan.anaesthesia": "topical",
            "plan.trainee_may_operate": "yes",
            "eye.posterior_polar": "yes",
            "eye.guttata": "yes",
            "eye.glaucoma": "open angle",
            "eye.fundus_seen": "no",
            "other_eye.seeing": "no",
            "patient.what_matters": ["work", "driving", "cattle", "only good eye"],
        },
    ),
]


@pytest.fixture(params=CASES, ids=["ordinary", "hard", "by hand, camp", "many findings"])
def assessment(request, make_case, make_clinic):
    name, changes = request.param
    return assess(make_case(changes, name), make_clinic())


@pytest.mark.parametrize("sheet", SHEETS)
def test_grade(sheet, assessment):
    text = running_text(SHEETS[sheet](assessment, Voice(("en",), "latin")).texts())
    texts, sentences = (7, 10) if sheet == "separate-choices" else (15, 20)
    assert len(text) >= texts
    reading = read_english("\n".join(text))
    assert reading.sentences >= sentences
    assert reading.flesch_kincaid_grade <= GRADE


@pytest.mark.parametrize("sheet", SHEETS)
def test_no_sentence_is_too_long(sheet, assessment):
    """Of all running text, the head of the page and the clinic's own words apart; a list is no sentence."""
    document = SHEETS[sheet](assessment, Voice(("en",), "latin"))
    own_words = {document.header[0].plain}
    sentences = [
        part for text in running_text(document.texts()) if text not in own_words for part in sentences_of(text)
    ]
    assert [sentence for sentence in sentences if len(sentence.split()) > LONGEST] == []


SURGEONS = ("point.", "finding.", "fact.", "assume.", "review.", "head.", "range.", "frame.header")


def test_no_sentence_of_any_patient_message_is_too_long():
    """Also of those no example prints; a slot counts as one word."""
    forms = [
        (m.id, form.replace("**", ""))
        for m in load_catalogue("en").messages.values()
        if not m.id.startswith(SURGEONS)
        for form in m.forms
    ]
    long = [(name, part) for name, form in forms for part in sentences_of(form) if len(part.split()) > LONGEST]
    assert long == []


def test_every_patient_message_together():
    """The grade of all running text there is for patients, so that no rare case escapes."""
    forms = [
        form.replace("**", "")
        for m in load_catalogue("en").messages.values()
        if not m.id.startswith(SURGEONS)
        for form in m.forms
        if form.rstrip("*").endswith((".", "?", "!"))
    ]
    assert len(forms) > 100
    assert read_english("\n".join(forms)).flesch_kincaid_grade <= GRADE
