"""The India profile, proved on the composed form: what is there counts, what is promised does not.

Sources are those of each element in profiles/IN.toml.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from consent.case import Case, Side
from consent.clinic import Clinic
from consent.compose import Document, Voice, consent_form, utter
from consent.compose.document import Signature
from consent.language import Speaker, load_catalogue
from consent.pack import compose_pack
from consent.review import Anchor, Row, Severity, State, assess, completeness, completeness_points, profile
from consent.review.completeness import CONDITIONS
from consent.wording import remark

INDIA = profile("IN")
MUST = tuple(element for element in INDIA.elements if element.level == "MUST")
MUST_NOT = tuple(element for element in INDIA.elements if element.level == "MUST NOT")
BILINGUAL = ("bn", "en")

GUARDIAN = {
    "patient.decision": {
        "basis": "legal guardian",
        "name": "G. Guardian-Example",
        "relation": "guardian appointed by the court",
        "can_decide": "no",
    }
}
CANNOT_READ = {"patient.reads": "no", "talk.witness_in_treating_team": "no"}
INTERPRETER = {"patient.interpreter": {"name": "I. Interpreter-Example"}}
ANSWERS = ("yes", "no", "unknown")


@dataclass(frozen=True)
class Composed:
    case: Case
    form: Document

    @property
    def anchors(self) -> tuple[Anchor, ...]:
        return tuple(self.form.anchors())

    def rows(self, anchors: tuple[Anchor, ...] | None = None) -> dict[str, Row]:
        found = completeness(INDIA, self.case, self.anchors if anchors is None else anchors, self.form.texts())
        return {row.element.id: row for row in found}

    def signatures(self) -> list[Signature]:
        return [block for section in self.form.sections for block in section.blocks if isinstance(block, Signature)]

    def roles(self) -> list[str]:
        """Who signs, in English."""
        return [signature.role[-1].plain for signature in self.signatures()]


def composed(case: Case, clinic: Clinic, tags: tuple[str, ...] = BILINGUAL) -> Composed:
    return Composed(case, consent_form(assess(case, clinic), Voice(tags, "locale")))


def english(message: str) -> str:
    return Speaker("en").say(message).plain


def element_ids(elements) -> list[str]:
    return [element.id for element in elements]


@pytest.fixture(scope="module")
def examples(make_case, make_clinic) -> dict[str, Composed]:
    """The two shipped examples, and one in which somebody else decides through an interpreter."""
    cases = {
        "ordinary": make_case(),
        "hard": make_case(name="hard"),
        "represented": make_case({**GUARDIAN, **INTERPRETER}, name="hard"),
    }
    return {name: composed(case, make_clinic()) for name, case in cases.items()}


def example_for(element_id: str, examples: dict[str, Composed]) -> Composed:
    """An example to which the element applies."""
    return next(example for example in examples.values() if example.rows()[element_id].state is State.MET)


@pytest.mark.parametrize("name", ["ordinary", "hard"])
@pytest.mark.parametrize("tags", [BILINGUAL, ("en",), ("bn",)], ids="-".join)
def test_every_must_is_met_or_not_applicable(name, tags, make_case, make_clinic):
    example = composed(make_case(name=name), make_clinic(), tags)
    rows = example.rows()
    assert {row.element.id: row.state for row in rows.values() if row.blocks} == {}
    for element in MUST:
        applies = element.when is None or CONDITIONS[element.when](example.case)
        assert rows[element.id].state is (State.MET if applies else State.NOT_APPLICABLE)
    assert completeness_points(rows.values()) == ()


@pytest.mark.parametrize("emptied", [None, "", " \n\t\u00a0"], ids=["removed", "empty", "blank"])
@pytest.mark.parametrize("element", MUST, ids=element_ids(MUST))
def test_an_element_without_text_is_unmet_and_stops(element, emptied, examples):
    """An anchor taken away, or left with no text, does not answer its element; everything else stays as it was."""
    example = example_for(element.id, examples)
    before = example.rows()
    anchors = tuple(
        anchor if anchor.element != element.id else replace(anchor, text=emptied or "")
        for anchor in example.anchors
        if anchor.element != element.id or emptied is not None
    )
    after = example.rows(anchors)
    assert after[element.id].state is State.UNMET
    assert {name: row.state for name, row in after.items() if name != element.id} == {
        name: row.state for name, row in before.items() if name != element.id
    }
    (point,) = completeness_points(after.values())
    assert (point.id, point.severity) == ("completeness.must-unmet", Severity.STOP)
    assert [fact.slots["element"] for fact in point.facts] == [element.id]


def test_one_anchor_left_of_several_is_enough(examples):
    example = examples["hard"]
    (last,) = [anchor for anchor in example.anchors if anchor.element == "IN-04"][-1:]
    others = tuple(anchor for anchor in example.anchors if anchor.element != "IN-04")
    assert example.rows((*others, last))["IN-04"].state is State.MET


def test_several_elements_missing_are_named_in_one_stop(examples):
    example = examples["hard"]
    (point,) = completeness_points(example.rows(()).values())
    missing = [element.id for element in MUST if example.rows()[element.id].state is State.MET]
    assert [fact.slots["element"] for fact in point.facts] == missing


def test_a_should_that_is_missing_stops_nothing(examples):
    example = examples["ordinary"]
    rows = example.rows(tuple(anchor for anchor in example.anchors if anchor.element != "ST-09"))
    assert rows["ST-09"].state is State.UNMET
    assert completeness_points(rows.values()) == ()


def test_an_anchor_of_no_element_counts_for_nothing(examples):
    example = examples["ordinary"]
    stray = Anchor("XX-01", "text", "consent-form", "who")
    assert example.rows((*example.anchors, stray)) == example.rows()


def test_where_a_met_element_stands_is_told(examples):
    rows = examples["ordinary"].rows()
    assert rows["IN-17"].where == ("consent-form / who",)
    assert all(row.where for row in rows.values() if row.state is State.MET and row.element.level != "MUST NOT")


# IN-20, blanket clause: Samira Kohli v Dr Prabha Manchanda (2008) 2 SCC 1, para 32


every_blanket_clause = pytest.mark.parametrize("words", MUST_NOT[0].forbidden_words)


@every_blanket_clause
def test_a_blanket_clause_in_the_composed_form_stops(words, make_case, make_clinic):
    """However it gets in: here through the clinic's own words in the data notice."""
    clinic = make_clinic({"personal_data.purpose": f"your care, and {words.capitalize()}"})
    example = composed(make_case(), clinic)
    rows = example.rows()
    assert rows["IN-20"].state is State.UNMET
    assert rows["IN-20"].where == (words,)
    (point,) = completeness_points(rows.values())
    assert [fact.slots["element"] for fact in point.facts] == ["IN-20"]


@every_blanket_clause
@pytest.mark.parametrize("key", ["talk.questions", "patient.what_matters_in_own_words"])
def test_a_patient_who_asks_about_a_blanket_clause_has_not_signed_one(key, words, make_case, make_clinic):
    """Quoted in the patient's own words it is a question; it must be printed, and must not stop the operation."""
    asked = f"Do I have to accept {words.upper()}?"
    case = make_case({key: [asked] if key == "talk.questions" else asked})
    pack = compose_pack(case, make_clinic(), BILINGUAL, ("consent-form",))
    (row,) = [row for row in pack.completeness if row.element.id == "IN-20"]
    assert row.state is State.MET
    assert "completeness.must-unmet" not in {point.id for point in pack.points}
    assert any(asked in text for text in pack.documents[0].texts())


# Where else words from outside reach the form: changes of the case, changes of the clinic; the words go to {}
ELSEWHERE: dict[str, tuple[dict, dict]] = {
    "who, people, signatures": ({"plan.surgeon.name": "Dr {}"}, {}),
    "people": ({"plan.camp": "yes"}, {"address": "{} Road"}),
    "separate": ({}, {"personal_data.purpose": "your care, and {}"}),
    "signatures": ({"talk.by": "{}"}, {}),
    "signatures, witness": (CANNOT_READ | {"talk.witness": "{}"}, {}),
    "signatures, guardian": ({"patient.decision": {**GUARDIAN["patient.decision"], "name": "{}"}}, {}),
    "header": ({}, {"name": "{} Eye Centre"}),
}


def filled(changes: dict, words: str) -> dict:
    return {
        key: filled(value, words) if isinstance(value, dict) else value.replace("{}", words)
        for key, value in changes.items()
    }


@every_blanket_clause
@pytest.mark.parametrize("place", ELSEWHERE)
def test_the_same_words_anywhere_else_stop(place, words, make_case, make_clinic):
    """Also where the patient asked about them too: the question excuses nothing but itself."""
    of_case, of_clinic = ELSEWHERE[place]
    case = make_case({**filled(of_case, words), "talk.questions": [f"What is {words}?"]})
    pack = compose_pack(case, make_clinic(filled(of_clinic, words)), BILINGUAL, ("consent-form",))
    (row,) = [row for row in pack.completeness if row.element.id == "IN-20"]
    assert (row.state, row.where) == (State.UNMET, (words,))
    (point,) = [point for point in pack.points if point.id == "completeness.must-unmet"]
    assert [fact.slots["element"] for fact in point.facts] == ["IN-20"]


@pytest.mark.parametrize("tag", ["en", "bn"])
def test_no_message_of_the_catalogue_holds_a_blanket_clause(tag):
    forms = [form for message in load_catalogue(tag).messages.values() for form in message.forms]
    for element in MUST_NOT:
        assert [(w, form) for w in element.forbidden_words for form in forms if w.casefold() in form.casefold()] == []


# Who signs. IN-13, IN-15: Medical Devices Rules 2017 schedule as a model; IN-14: General Clauses Act 1897, s. 3(56)


@pytest.mark.parametrize("writes", ANSWERS)
@pytest.mark.parametrize("reads", ANSWERS)
def test_reader_witness_and_thumb_exactly_where_needed(reads, writes, make_case, make_clinic):
    changes = {"patient.reads": reads, "patient.writes_name": writes}
    example = composed(make_case(changes), make_clinic(), ("en",))
    rows, held = example.rows(), {anchor.element for anchor in example.anchors}
    needed = {
        "IN-13": reads != "yes",
        "IN-14": writes != "yes",
        "IN-15": reads != "yes" or writes != "yes",
    }
    assert {name: rows[name].state is State.MET for name in needed} == needed
    assert {name: rows[name].state is State.NOT_APPLICABLE for name in needed} == {n: not v for n, v in needed.items()}
    assert ("IN-14" in held) == needed["IN-14"]
    assert ("IN-15" in held) == needed["IN-15"]
    assert (english("sign.witness") in example.roles()) == needed["IN-15"]
    assert any(signature.thumb for signature in example.signatures()) == needed["IN-14"]
    assert (english("sign.reader") in example.roles()) == needed["IN-13"]


@pytest.mark.parametrize("writes", ANSWERS)
@pytest.mark.parametrize("reads", ANSWERS)
def test_what_the_patient_can_read_asks_nothing_where_somebody_else_decides(reads, writes, make_case, make_clinic):
    """IN-13 to IN-15 speak of the patient's own reading, thumb and witness; IN-11 holds in their place."""
    changes = {**GUARDIAN, "patient.reads": reads, "patient.writes_name": writes}
    example = composed(make_case(changes), make_clinic(), ("en",))
    rows, held = example.rows(), {anchor.element for anchor in example.anchors}
    assert {rows[name].state for name in ("IN-13", "IN-14", "IN-15")} == {State.NOT_APPLICABLE}
    assert rows["IN-11"].state is State.MET
    assert "IN-14" not in held
    assert [row.element.id for row in rows.values() if row.blocks] == []


def test_the_witness_named_at_the_talk_stands_by_the_line(examples):
    witness = next(s for s in examples["hard"].signatures() if s.role[-1].plain == english("sign.witness"))
    assert witness.name is not None
    assert witness.name[-1].plain == "B. Example"
    labels = [label[-1].plain for label in witness.labels]
    assert labels == [english(f"sign.{name}") for name in ("relation", "address", "signature", "date", "time")]


# ST-06: 42 CFR 441.258 as a model


@pytest.mark.parametrize("needed", ANSWERS)
@pytest.mark.parametrize("named", [True, False])
def test_interpreter_signs_exactly_where_one_is_named(needed, named, make_case, make_clinic):
    changes = {"patient.interpreter_needed": needed, **(INTERPRETER if named else {})}
    example = composed(make_case(changes), make_clinic(), ("en",))
    blocks = [s for s in example.signatures() if s.role[-1].plain == english("sign.interpreter")]
    assert len(blocks) == named
    assert example.rows()["ST-06"].state is (State.MET if named else State.NOT_APPLICABLE)
    if named:
        assert blocks[0].name is not None
        assert blocks[0].name[0].plain == "I. Interpreter-Example"


# IN-09: Samira Kohli, the patient signs; IN-11: Bharatiya Nyaya Sanhita 2023, s. 28


def test_the_patient_signs_for_themselves(examples):
    example = examples["ordinary"]
    assert english("sign.patient") in example.roles()
    assert english("sign.guardian") not in example.roles()
    rows = example.rows()
    assert (rows["IN-09"].state, rows["IN-11"].state) == (State.MET, State.NOT_APPLICABLE)


def test_a_guardian_signs_in_place_of_the_patient(examples):
    example = examples["represented"]
    assert english("sign.guardian") in example.roles()
    assert english("sign.patient") not in example.roles()
    rows = example.rows()
    assert (rows["IN-09"].state, rows["IN-11"].state) == (State.NOT_APPLICABLE, State.MET)
    guardian = next(s for s in example.signatures() if s.role[-1].plain == english("sign.guardian"))
    assert guardian.name is not None
    assert guardian.name[-1].plain == "G. Guardian-Example"
    labels = [label[-1].plain for label in guardian.labels]
    assert english("sign.relation") in labels
    assert english("sign.basis") in labels


# IN-17, SM-01, SM-02: Universal Protocol UP.01.01.01


@pytest.mark.parametrize("side", Side)
def test_the_eye_is_the_same_word_everywhere(side, make_case, make_clinic):
    """One whole word in title, head of page, body, signature and day of surgery; never the other eye."""
    changes = {"eye.side": side.value, "plan.side": side.value, "measurement.side": side.value}
    form = composed(make_case(changes), make_clinic()).form
    for place, tag in enumerate(BILINGUAL):
        speaker = Speaker(tag)
        word, other = (utter(speaker, remark(f"eye.{name}")).plain for name in (side, side.other))
        assert word not in other
        assert other not in word
        said: dict[str, list[str]] = {}
        for section, line in form.lines():
            said.setdefault(section, []).append(line[place].plain)
        for section in ("title", "header", "who", "signatures", "day-of-surgery"):
            assert any(word in text for text in said[section]), (tag, section)
        assert [text for texts in said.values() for text in texts if other in text] == []


def test_each_condition_of_the_profile_is_known():
    assert {element.when for element in INDIA.elements if element.when} <= set(CONDITIONS)


@pytest.mark.parametrize("name", ["ordinary", "hard", "represented"])
def test_no_anchor_names_an_element_the_profile_lacks(name, examples):
    assert {anchor.element for anchor in examples[name].anchors} <= {element.id for element in INDIA.elements}


@pytest.mark.parametrize("camp", ANSWERS)
def test_the_base_hospital_is_asked_for_at_a_camp_only(camp, make_case, make_clinic):
    """IN-21: State norms for eye camps 2015."""
    row = composed(make_case({"plan.camp": camp}), make_clinic(), ("en",)).rows()["IN-21"]
    assert row.state is (State.MET if camp == "yes" else State.NOT_APPLICABLE)


def test_each_extra_step_has_its_own_yes_and_no(examples):
    """IN-06: Samira Kohli, para 32: each further procedure is named and accepted by itself."""
    example = examples["hard"]
    anchors = [anchor for anchor in example.anchors if anchor.element == "IN-06"]
    assert len(anchors) == len(example.case.plan.extra_steps)
    for anchor in anchors:
        assert english("choice.accept") in anchor.text
        assert english("choice.refuse") in anchor.text


def test_without_extra_steps_none_is_asked_for(make_case, make_clinic):
    example = composed(make_case({"plan.extra_steps": []}), make_clinic(), ("en",))
    assert example.rows()["IN-06"].state is State.NOT_APPLICABLE
