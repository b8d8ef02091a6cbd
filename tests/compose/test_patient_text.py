"""What a person wrote is printed as written: never markup, never a slot, never emphasis.

OWASP Cross Site Scripting Prevention: text from outside is escaped where it is put into HTML.
"""

from __future__ import annotations

import html
import re

import pytest

from consent.compose import (
    Document,
    Voice,
    consent_form,
    day_of_surgery,
    drop_calendar,
    going_home,
    risk_sheet,
    separate_choices,
)
from consent.errors import CaseError
from consent.pack.compose import compose_pack
from consent.review import assess

TYPED = [
    "<b>x</b>",
    "{eye}",
    "**x**",
    "<script>alert(1)</script>",
    "a & b &amp; c",
    "\"quoted\" and 'apostrophe'",
    "]]> <!-- x -->",
    "{{ eye }} {% raw %}",
    "%(eye)s $eye @page@",
]
typed = pytest.mark.parametrize("text", TYPED)

# Where free text of the case reaches a sheet of the patient
FIELDS = {
    "patient.name": (
        "consent-form",
        "risk-sheet",
        "separate-choices",
        "day-of-surgery",
        "going-home",
        "drop-calendar",
    ),
    "patient.drops_helper": ("going-home", "drop-calendar"),
    "patient.what_matters_in_own_words": ("risk-sheet",),
    "plan.surgeon.name": ("consent-form", "day-of-surgery"),
    "talk.by": ("consent-form",),
    "talk.witness": ("consent-form", "separate-choices"),
}
OF_LISTS = {"talk.questions": ("risk-sheet",)}
OF_CLINIC = {
    "name": ("consent-form", "going-home", "drop-calendar"),
    "personal_data.purpose": ("separate-choices",),
    "personal_data.contact": ("separate-choices",),
}
SHEETS = {
    "consent-form": consent_form,
    "risk-sheet": risk_sheet,
    "separate-choices": separate_choices,
    "day-of-surgery": day_of_surgery,
    "going-home": going_home,
    "drop-calendar": drop_calendar,
}

# The only tags that code puts into words, and the isolation of left-to-right text
OURS = re.compile(r"</?strong>|<bdi dir=\"(?:ltr|rtl)\">|</bdi>")


def lines_with(document: Document, text: str) -> list[tuple[str, str]]:
    """(html, plain) of each thing said that holds the text."""
    return [(said.html, said.plain) for _, line in document.lines() for said in line if text in said.plain]


def check(document: Document, text: str) -> None:
    found = lines_with(document, text)
    assert found
    for written, _ in found:
        assert html.escape(text) in written
    for _, line in document.lines():
        for said in line:
            bare = OURS.sub("", said.html)
            assert "<" not in bare
            assert ">" not in bare
            assert re.findall(r"&(?!(?:amp|lt|gt|quot|#x27|#39);)", bare) == []


@pytest.fixture
def sheets(make_case, make_clinic):
    def compose(changes: dict, clinic: dict | None = None) -> dict[str, Document]:
        assessment = assess(make_case(changes, "hard"), make_clinic(clinic))
        return {name: sheet(assessment, Voice(("bn", "en"), "locale")) for name, sheet in SHEETS.items()}

    return compose


@typed
@pytest.mark.parametrize("field", FIELDS)
def test_text_of_the_case_is_literal(field, text, sheets):
    found = sheets({field: text})
    for name in FIELDS[field]:
        check(found[name], text)


@typed
@pytest.mark.parametrize("field", OF_LISTS)
def test_text_in_lists_is_literal(field, text, sheets):
    found = sheets({field: ["first question?", text]})
    for name in OF_LISTS[field]:
        check(found[name], text)


@typed
@pytest.mark.parametrize("field", OF_CLINIC)
def test_text_of_the_clinic_is_literal(field, text, sheets):
    found = sheets({}, {field: text})
    for name in OF_CLINIC[field]:
        check(found[name], text)


@typed
def test_names_of_interpreter_and_guardian_are_literal(text, sheets):
    changes = {
        "patient.interpreter": {"name": text},
        "patient.decision": {"basis": "legal guardian", "name": text, "relation": "guardian", "can_decide": "no"},
    }
    document = sheets(changes)["consent-form"]
    check(document, text)
    assert len([1 for _, plain in lines_with(document, text) if plain == text]) >= 4  # two blocks in two languages


@typed
def test_the_surgeons_sheet_is_literal_too(text, make_case, make_clinic):
    case = make_case({"patient.name": text, "plan.surgeon.name": text, "eye.lens_implant_present": "yes"}, "hard")
    pack = compose_pack(case, make_clinic(), ("en",), ("surgeon-review",))
    (document,) = pack.documents
    check(document, text)


def test_text_in_letters_of_another_direction_is_isolated(sheets):
    """Unicode Bidirectional Algorithm: an Arabic-script name keeps its own direction inside Bengali and English."""
    found = sheets({"patient.name": "عبد الكريم"})["consent-form"]
    lines = [said.html for _, line in found.lines() for said in line if "عبد" in said.plain]
    assert lines
    assert all('<bdi dir="rtl">عبد الكريم</bdi>' in text for text in lines)


def test_line_breaks_in_a_name_are_taken_out(sheets):
    texts = list(sheets({"patient.name": "Haradhan\nExample"})["consent-form"].texts())
    assert any("Haradhan Example" in text for text in texts)
    assert [text for text in texts if "\n" in text] == []


@pytest.mark.parametrize("name", [" ", "   ", "\t", "\n", "\u00a0", "\u3000", " \t\u00a0\n"])
@pytest.mark.parametrize("field", ["patient.name", "plan.surgeon.name", "patient.what_matters_in_own_words"])
def test_a_text_of_spaces_only_is_refused_by_its_key(field, name, make_case):
    """A form that nobody's name stands on is refused when the case is read, not when it is printed."""
    with pytest.raises(CaseError) as error:
        make_case({field: name})
    assert [problem.where.partition(": ")[2] for problem in error.value.problems] == [field]


def test_spaces_around_a_name_are_not_part_of_it(make_case):
    assert make_case({"patient.name": "  Shanti Example\u00a0"}).patient.name == "Shanti Example"
