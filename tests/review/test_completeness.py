"""Completeness, proved on the composed sheets in all four profiles: what is there counts, what is promised does not.

Sources are those of each element in consent/review/elements; the tables here name the ones they rest on.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib import import_module
from itertools import product
from pathlib import Path

import pytest

from consent.case import Case, Side
from consent.case.reading import validate
from consent.clinic import Clinic
from consent.commands.main import main
from consent.compose import (
    Document,
    Voice,
    consent_form,
    counsellor_guide,
    day_of_surgery,
    going_home,
    risk_sheet,
    separate_choices,
)
from consent.compose.document import Bullets, Para, Section, Signature, Spot
from consent.compose.frame import unbroken
from consent.errors import CaseError, IncompleteError, LanguageError
from consent.language import ReleaseState, Rung, Said, Speaker, load_catalogue
from consent.pack import FORM, SHEETS, compose_pack, refuse_incomplete
from consent.pack.compose import proved
from consent.resources import package_data
from consent.review import (
    Anchor,
    Assessment,
    Composed,
    Row,
    Severity,
    State,
    assess,
    completeness,
    completeness_points,
    profile,
)
from tests.blocks import blocks_of
from tests.editing import Changes, clinic_maker, edited, shipped

PROFILES = ("IN", "UK", "US", "general")
EXAMPLES = ("ordinary", "hard", "second-eye")
ENGLISH = ("en",)
BILINGUAL = ("bn", "en")
ANSWERS = ("yes", "no", "unknown")
BLANKS = ["", " \n\t\u00a0"]

GUARDIAN = {
    "patient.decision": {
        "basis": "legal guardian",
        "name": "G. Guardian-Example",
        "relation": "guardian appointed by the court",
        "can_decide": "no",
    }
}
PARENT = {"patient.decision": {**GUARDIAN["patient.decision"], "basis": "parent of a minor", "relation": "mother"}}
DECIDERS = {"self": {}, "legal guardian": GUARDIAN, "parent of a minor": PARENT}
CANNOT_READ = {"patient.reads": "no", "talk.witness_in_treating_team": "no"}
INTERPRETER = {"patient.interpreter": {"name": "I. Interpreter-Example"}}
NURSE = {"name": "N. Nurse-Example", "role": "nurse", "task": "gives the tablets that calm"}
LOCAL = {"local_additions": [{"source": "Example State Code 1", "words": {"en": "The state asks for this sentence."}}]}

# Everything at once that a condition of an element asks about; whoever decides for themselves, and somebody else
EVERYTHING: dict[str, tuple[Changes, str]] = {
    "own": (
        {
            "eye.fundus_seen": "no",
            "patient.declines_information": "yes",
            "plan.trainee_may_operate": "yes",
            "plan.others": [NURSE],
            "plan.examined_for_teaching": "yes",
            "plan.emergency_reason": "The lens has burst.",
            **INTERPRETER,
        },
        "hard",
    ),
    "represented": (GUARDIAN, "hard"),
}
# For a patient who did not say yes, and for what was done otherwise than planned
NOT_OF_EVERY_CASE = {"decision", "not-to-plan", "referral-letter", "lens-card"}
BY_SOMEBODY_ELSE = {"IN-11", "IN-19", "EU-06"}


@cache
def shipped_example(name: str) -> dict:
    return shipped("case", "examples", f"{name}.toml")


def example(name: str, changes: Changes | None = None) -> Case:
    return validate(edited(shipped_example(name), changes or {}), Case, CaseError, where="a changed example")


@dataclass(frozen=True)
class Sheets:
    """The sheets of one case that completeness looks at, as ``compose_pack`` composes them."""

    assessment: Assessment
    spoken: tuple[tuple[Document, Voice], ...]

    @property
    def form(self) -> Document:
        return self.spoken[0][0]

    @property
    def anchors(self) -> tuple[Anchor, ...]:
        return tuple(anchor for document, _ in self.spoken for anchor in document.anchors())

    def of_profile(self, name: str) -> dict[str, Row]:
        clinic = self.assessment.clinic.model_copy(update={"profile": name})
        return by_id(proved(replace(self.assessment, clinic=clinic), list(self.spoken)))

    def rows(self, name: str, anchors: Iterable[Anchor]) -> dict[str, Row]:
        """Against other anchors than the composed ones; without the text of the form, which has its own tests."""
        return by_id(completeness(profile(name), self.assessment, Composed(tuple(anchors), {}, {})))

    def sheet(self, name: str, tag: str = "en") -> Document:
        """The sheet of that name that is, or is among others, in a language."""
        (found,) = [
            document for document, _ in self.spoken if document.sheet == name and tag in dict(document.languages)
        ]
        return found

    def signatures(self) -> list[Signature]:
        return blocks_of(self.form, Signature)

    def signature(self, message: str) -> Signature:
        (found,) = [block for block in self.signatures() if block.role[-1].plain == english(message)]
        return found

    def roles(self) -> set[str]:
        """Who signs, in English."""
        return roles(self.form)


def composed_as(monkeypatch: pytest.MonkeyPatch, made: Callable[[Assessment, Voice], Document]) -> None:
    """Let the pack compose its form with ``made``; its other sheets stay as they are."""
    pack = import_module("consent.pack.compose")
    together = tuple((made if compose is consent_form else compose, is_made) for compose, is_made in pack._TOGETHER)
    assert made in [compose for compose, _ in together]
    monkeypatch.setattr(pack, "_TOGETHER", together)


def by_id(rows: Iterable[Row]) -> dict[str, Row]:
    return {row.element.id: row for row in rows}


def sheets(case: Case, clinic: Clinic, tags: tuple[str, ...] = ENGLISH) -> Sheets:
    assessment = assess(case, clinic)
    spoken = []
    for compose in (consent_form, risk_sheet, separate_choices, counsellor_guide):
        voice = Voice(tags, clinic.digits)
        spoken.append((compose(assessment, voice), voice))
    for tag, compose in product(tags, (going_home, day_of_surgery)):
        voice = Voice((tag,), clinic.digits)
        spoken.append((compose(assessment, voice), voice))
    return Sheets(assessment, tuple(spoken))


@cache
def of_example(name: str, tags: tuple[str, ...] = ENGLISH) -> Sheets:
    return sheets(example(name), clinic_maker()(), tags)


@cache
def with_everything(kind: str) -> Sheets:
    changes, name = EVERYTHING[kind]
    return sheets(example(name, changes), clinic_maker()(LOCAL))


def applicable(element: str) -> Sheets:
    """Sheets of a case to which the element applies."""
    return with_everything("represented" if element in BY_SOMEBODY_ELSE else "own")


def english(message: str) -> str:
    return Speaker("en").say(message).plain


def blocking(rows: Iterable[Row]) -> dict[str, tuple[str, ...]]:
    return {row.element.id: (*row.missing, *row.measured) for row in rows if row.blocks}


def unmet(rows: dict[str, Row]) -> set[str]:
    return {key for key, row in rows.items() if row.state is State.UNMET}


# What the shipped examples hold


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("place", PROFILES)
def test_every_must_is_met_in_english(place: str, name: str) -> None:
    """No MUST, IF or MUST NOT is unmet, so the form is printed and no point stands."""
    pack = compose_pack(example(name), clinic_maker()({"profile": place}), ENGLISH)
    assert blocking(pack.completeness) == {}
    assert pack.lacking == ()
    assert FORM in {document.sheet for document in pack.documents}
    assert "completeness.must-unmet" not in {point.id for point in pack.points}
    refuse_incomplete(pack)


@pytest.mark.parametrize(("name", "tags"), [("ordinary", BILINGUAL), ("hard", ("bn",)), ("second-eye", ("hi", "en"))])
@pytest.mark.parametrize("place", PROFILES)
def test_every_must_is_met_in_the_patients_language(place: str, name: str, tags: tuple[str, ...]) -> None:
    """Forbidden words of each language among them."""
    assert blocking(of_example(name, tags).of_profile(place).values()) == {}


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("place", PROFILES)
def test_a_should_that_the_examples_miss_is_one_of_these(place: str, name: str) -> None:
    """US-08, an option of CMS tag A-0466: a witness stands on the form only where one is needed."""
    rows = of_example(name).of_profile(place)
    assert unmet(rows) == ({"US-08"} if (place, name) == ("US", "ordinary") else set())


@pytest.mark.parametrize("place", PROFILES)
def test_where_a_met_element_stands_is_told(place: str) -> None:
    rows = of_example("hard").of_profile(place)
    measured = {"IN-20", "UK-11", "RK-10", "UN-07"}
    met = {key: row for key, row in rows.items() if row.state is State.MET}
    assert {key for key, row in met.items() if not row.where} == measured & set(met)
    assert met["SM-03"].where == ("day-of-surgery / eye",)
    if place == "IN":
        assert met["IN-22"].where == ("separate-choices / choices",)
        assert met["IN-04"].where == ("consent-form / risks",)
    assert met["RK-05"].where == ("risk-sheet / gain", "risk-sheet / harms")
    assert met["UN-03"].where == ("going-home / title",)
    assert met["UN-01"].where == ("counsellor-guide / back",)


# An element whose anchors are gone


def required(place: str) -> list[str]:
    """Ids of what must be anchored in a profile: not what is searched for words, drawn by choice, or for children."""
    wanted = [element for element in profile(place).elements if element.level in ("MUST", "IF")]
    return [element.id for element in wanted if not element.forbidden and element.id not in ("RK-11", "IN-10")]


REQUIRED = [(place, element) for place in PROFILES for element in required(place)]
each_required = pytest.mark.parametrize(("place", "element"), REQUIRED, ids=[f"{p}-{e}" for p, e in REQUIRED])


@each_required
def test_without_its_anchors_an_element_is_unmet_and_the_form_is_refused(
    place: str, element: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Taken from every sheet: the form is left out of the pack, everything else is there, and the error names it."""
    assert applicable(element).of_profile(place)[element].state is State.MET
    whole = Document.anchors

    def without(document: Document) -> Iterator[Anchor]:
        return (anchor for anchor in whole(document) if anchor.element != element)

    monkeypatch.setattr(Document, "anchors", without)
    assessment = applicable(element).assessment
    pack = compose_pack(assessment.case, assessment.clinic.model_copy(update={"profile": place}), ENGLISH)
    assert [row.element.id for row in pack.lacking] == [element]
    assert {document.sheet for document in pack.documents} == set(SHEETS) - {FORM, *NOT_OF_EVERY_CASE}
    (point,) = [point for point in pack.points if point.id == "completeness.must-unmet"]
    assert point.severity is Severity.STOP
    assert [fact.slots["element"] for fact in point.facts] == [element]
    with pytest.raises(IncompleteError, match=f"profile {place}: {element}: "):
        refuse_incomplete(pack)


@each_required
def test_taking_one_away_leaves_the_others_as_they_were(place: str, element: str) -> None:
    composed = applicable(element)
    before = composed.rows(place, composed.anchors)
    after = composed.rows(place, [anchor for anchor in composed.anchors if anchor.element != element])
    assert {key for key in after if after[key] != before[key]} == {element}


def test_a_refused_form_is_left_out_where_it_alone_was_asked_for() -> None:
    """The refusal is the command's to tell; the pack never holds an incomplete form, whatever sheets are asked for."""
    clinic = clinic_maker()({"profile": "UK"})
    case = example("ordinary", {"plan.reasons": []})
    assert compose_pack(case, clinic, ENGLISH, (FORM,)).documents == ()
    asked = compose_pack(case, clinic, ENGLISH, (FORM, "going-home")).documents
    assert [document.sheet for document in asked] == ["going-home"]


@pytest.mark.parametrize(
    "outcome",
    [
        "agrees",
        "refuses",
        "wants time",
    ],
)
def test_a_form_without_signatures_is_refused_whatever_else_is_signed(
    outcome: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Conduct regulations 2002, cl. 7.16, and CMS tag A-0466: a refusal that is signed is no signed consent."""

    def unsigned(assessment: Assessment, voice: Voice) -> Document:
        made = consent_form(assessment, voice)
        return replace(made, sections=tuple(section for section in made.sections if section.id != "signatures"))

    composed_as(monkeypatch, unsigned)
    pack = compose_pack(example("hard", {"talk.outcome": outcome}), clinic_maker()(), ENGLISH)
    signed = next(document for document in pack.documents if document.sheet == "separate-choices")
    assert {english(f"sign.{name}") for name in ("patient", "reader", "witness")} <= roles(signed)
    assert {"IN-08", "IN-09", "IN-13", "IN-14", "IN-15"} <= {row.element.id for row in pack.lacking}
    assert FORM not in {document.sheet for document in pack.documents}


@pytest.mark.parametrize("kind", EVERYTHING)
def test_the_separate_choices_answer_for_no_signature(kind: str) -> None:
    """Samira Kohli, para 32: consent to one thing is not consent to another. Their anchors are the choices alone."""
    composed = with_everything(kind)
    choices = composed.sheet("separate-choices")
    assert len(roles(choices)) >= 2
    held = {"IN-18", "IN-22"} if kind == "own" else {"IN-18", "IN-19", "IN-22"}
    assert {anchor.element for anchor in choices.anchors()} == held
    assert {anchor.section for anchor in choices.anchors()} == {"choices"}


def roles(document: Document) -> set[str]:
    """Who signs a sheet, in its last language."""
    return {block.role[-1].plain for block in blocks_of(document, Signature)}


def test_several_elements_missing_are_all_named_in_one_stop_and_one_error() -> None:
    clinic = clinic_maker()({"profile": "UK"})
    pack = compose_pack(example("ordinary", {"plan.reasons": [], "patient.what_matters": []}), clinic, ENGLISH)
    assert [row.element.id for row in pack.lacking] == ["UK-06", "UK-07"]
    (point,) = completeness_points(pack.completeness)
    assert [fact.slots["element"] for fact in point.facts] == ["UK-06", "UK-07"]
    with pytest.raises(IncompleteError) as raised:
        refuse_incomplete(pack)
    assert [problem.where for problem in raised.value.problems] == ["profile UK: UK-06", "profile UK: UK-07"]


def test_a_should_that_is_missing_stops_nothing() -> None:
    composed = of_example("ordinary")
    rows = composed.rows("IN", [anchor for anchor in composed.anchors if anchor.element != "ST-09"])
    assert rows["ST-09"].state is State.UNMET
    assert completeness_points(rows.values()) == ()


def test_a_should_that_the_clinic_demands_is_refused_when_it_is_missing() -> None:
    """US-08: no witness signs for a patient who reads and writes, unless the clinic demands one."""
    clinic = clinic_maker()({"required_elements": ["US-08"]})
    assert [row.element.id for row in compose_pack(example("ordinary"), clinic, ENGLISH).lacking] == ["US-08"]
    assert compose_pack(example("hard"), clinic, ENGLISH).lacking == ()


def test_one_anchor_left_of_several_is_enough() -> None:
    composed = of_example("hard")
    held = [anchor for anchor in composed.anchors if anchor.element == "UK-17"]
    others = [anchor for anchor in composed.anchors if anchor.element != "UK-17"]
    assert {anchor.sheet for anchor in held} == {FORM, "day-of-surgery"}
    assert {composed.rows("UK", [*others, anchor])["UK-17"].state for anchor in held} == {State.MET}


def test_an_anchor_of_no_element_counts_for_nothing() -> None:
    composed = of_example("ordinary")
    stray = Anchor("XX-01", "", {"en": "words"}, FORM, "who")
    assert composed.rows("IN", (*composed.anchors, stray)) == composed.rows("IN", composed.anchors)


def test_drawings_are_left_to_choice() -> None:
    """RK-11: drawings help some readers and mislead others (Galesic 2009), so a form without one is not refused."""
    composed = of_example("hard")
    assert composed.of_profile("UK")["RK-11"].state is State.MET
    rows = composed.rows("UK", [anchor for anchor in composed.anchors if anchor.element != "RK-11"])
    assert rows["RK-11"].state is State.NOT_APPLICABLE


# Said in every language, or not said


@pytest.mark.parametrize("blank", BLANKS, ids=["empty", "blank"])
@pytest.mark.parametrize("tag", BILINGUAL)
@pytest.mark.parametrize("place", PROFILES)
def test_an_anchor_blank_in_one_of_two_languages_does_not_count(place: str, tag: str, blank: str) -> None:
    composed = of_example("ordinary", BILINGUAL)
    # Theatre's sheet comes once in each language: none of its places holds two.
    whole = [anchor for anchor in composed.anchors if anchor.sheet != "day-of-surgery"]
    half = [
        replace(anchor, texts={**anchor.texts, tag: blank}) if len(anchor.texts) == 2 else anchor for anchor in whole
    ]
    before, after = composed.rows(place, whole), composed.rows(place, half)
    met = {key for key in required(place) if before[key].state is State.MET}
    assert len(met) > 7
    assert {key for key in met if after[key].state is not State.UNMET} == set()


def line(*texts: str) -> tuple[Said, ...]:
    return tuple(Said(text, text) for text in texts)


def document(*blocks: object, tags: tuple[str, ...] = BILINGUAL) -> Document:
    languages = tuple((tag, "ltr") for tag in tags)
    words = line(*("words" for _ in tags))
    section = Section("place", None, tuple(blocks))
    return Document(FORM, "portrait", words, languages, words, (), words, (section,), title_elements=("SM-02:title",))


def test_an_anchor_holds_the_words_of_each_language_apart() -> None:
    made = document(Bullets((line("এক", "one"), line("দুই", "two")), elements=("IN-08", "UK-05:by-hand: how sure")))
    assert list(made.anchors()) == [
        Anchor("IN-08", "", {"bn": "এক দুই", "en": "one two"}, FORM, "place"),
        Anchor("UK-05", "by-hand: how sure", {"bn": "এক দুই", "en": "one two"}, FORM, "place"),
        Anchor("SM-02", "title", {"bn": "words", "en": "words"}, FORM, "title"),
    ]


def test_a_spot_holds_its_own_line_only() -> None:
    whole, one = line("দুই", "two"), line("", "one")
    made = document(Bullets((whole, one), elements=("IN-07",), spots=(Spot(one, ("ST-03:mind", "UK-18")),)))
    found = {(anchor.element, anchor.part): anchor for anchor in made.anchors()}
    assert found["IN-07", ""].said
    assert found["ST-03", "mind"].texts == found["UK-18", ""].texts == {"bn": "", "en": "one"}
    assert not found["ST-03", "mind"].said


@pytest.mark.parametrize(
    ("texts", "counts"),
    [
        (("লেখা", "words"), True),
        (("", "words"), False),
        (("লেখা", ""), False),
        ((" \n\u00a0", "words"), False),
        (("", ""), False),
    ],
)
def test_a_document_answers_only_where_it_speaks_in_each_language(texts: tuple[str, str], counts: bool) -> None:
    made = document(Para(line(*texts), elements=("IN-08",)))
    rows = by_id(
        completeness(profile("IN"), of_example("ordinary").assessment, Composed(tuple(made.anchors()), {}, {}))
    )
    assert rows["IN-08"].state is (State.MET if counts else State.UNMET)
    assert rows["IN-08"].where == (("consent-form / place",) if counts else ())


# Parts of an element, each removed alone

# What the source of each asks for one by one, as far as it can be told apart on paper
PARTS: dict[str, tuple[str, ...]] = {
    "US-04": ("operation", "benefits", "material risks", "alternatives"),
    "US-06": ("date", "time"),
    "US-13": ("operation", "anaesthesia"),
    "US-15": ("risks of surgery", "benefits of surgery", "risks of anaesthesia"),
    "US-16": ("likely but mild", "unlikely but grave"),
    "UK-01": ("diagnosis", "course"),
    "UK-09": ("loss of the eye", "sight worse"),
    "UK-12": (
        "cataract",
        "surgery",
        "how long",
        "what can go wrong",
        "benefits",
        "help afterwards",
        "recovery",
        "in the long run",
        "without surgery",
    ),
    "UK-13": ("lens", "glasses"),
    "UK-14": ("planned", "other ways"),
    "UK-16": ("talk", "operates", "trainee"),
    "UK-19": ("told", "asked", "decided"),
    "IN-02": ("purpose", "benefits", "effect"),
    "IN-11": ("basis", "who", "relation"),
    "IN-14": ("mark", "hand", "name", "date", "time"),
    "IN-15": ("name", "relation", "address", "signature"),
    "IN-22": ("photographs", "recording", "teaching", "research"),
    "EU-06": ("representative", "own opinion"),
    "SM-02": ("title", "body", "signature", "day of surgery", "instructions"),
    "SM-06": ("lens", "one lens"),
    "ST-01": ("when", "who", "role", "language", "aids", "copy"),
    "ST-02": ("still wishes", "confirmed"),
    "ST-03": ("condition", "plan", "surgeon", "information", "time", "mind", "new talk"),
    "ST-06": ("name", "language", "mode", "signature"),
    "ST-07": ("explains", "operates", "delegate"),
    "ST-10": ("rights", "mind"),
    "UN-01": ("question", "key answer", "own words", "result"),
    "UN-02": ("which eye", "what is done", "one risk", "may refuse", "warning signs"),
}
# Of each of these one answer for every step, way or harm of this very case
STEPS = {"IN-06": "{}"}
WAYS = {
    "IN-03": ("{}: named",),
    "UK-03": ("{}: named",),
    "UK-04": ("{}: involves",),
    "UK-05": ("{}: good", "{}: bad", "{}: how sure"),
    "US-17": ("{}: good", "{}: bad"),
}
HARMS = ("IN-04", "EU-04", "RK-01", "RK-02", "RK-03", "RK-04", "RK-05", "RK-06")

# The ways open with each operation, no operation among them. Which are reasonable is for practice: no source
OPEN_WAYS = {
    "phacoemulsification": ("planned", "by-hand", "glasses", "wait"),
    "manual small-incision": ("planned", "by-ultrasound", "glasses", "wait"),
    "extracapsular": ("planned", "by-ultrasound", "glasses", "wait"),
    "phacoemulsification with trabeculectomy": ("planned", "by-hand", "cataract-alone", "glasses", "wait"),
}


def place_of(element: str) -> str:
    """A profile that holds the element."""
    return next(place for place in ("IN", "UK", "US", "general") if element in {e.id for e in profile(place).elements})


def missing_without(composed: Sheets, element: str, parts: Iterable[str]) -> dict[str, tuple[State, tuple[str, ...]]]:
    found = {}
    for part in parts:
        left = [anchor for anchor in composed.anchors if (anchor.element, anchor.part) != (element, part)]
        row = composed.rows(place_of(element), left)[element]
        found[part] = (row.state, row.missing)
    return found


def each_is_missed(composed: Sheets, element: str, parts: Iterable[str]) -> None:
    parts = tuple(parts)
    assert composed.of_profile(place_of(element))[element].state is State.MET
    assert missing_without(composed, element, parts) == {part: (State.UNMET, (part,)) for part in parts}


@pytest.mark.parametrize("element", PARTS)
def test_each_part_of_an_element_is_missed_by_name(element: str) -> None:
    each_is_missed(applicable(element), element, PARTS[element])


def test_each_extra_step_without_its_yes_and_no_is_missed() -> None:
    """IN-06, Samira Kohli, para 32: each further procedure is named and accepted by itself."""
    composed = of_example("hard")
    steps = shipped_example("hard")["plan"]["extra_steps"]
    assert len(steps) == 8
    each_is_missed(composed, "IN-06", steps)
    for anchor in composed.anchors:
        if anchor.element == "IN-06":
            assert english("choice.accept") in anchor.texts["en"]
            assert english("choice.refuse") in anchor.texts["en"]


def test_without_extra_steps_none_is_asked_for() -> None:
    composed = sheets(example("ordinary", {"plan.extra_steps": []}), clinic_maker()())
    assert composed.of_profile("IN")["IN-06"].state is State.NOT_APPLICABLE


@pytest.mark.parametrize("operation", OPEN_WAYS)
@pytest.mark.parametrize("element", WAYS)
def test_each_way_open_to_the_patient_is_missed_in_each_of_its_lines(element: str, operation: str) -> None:
    """GMC 2020, paras 8-11, and CMS tag A-0955: for each option, no treatment among them, its good and its bad."""
    composed = sheets(example("ordinary", {"plan.operation": operation}), clinic_maker()())
    each_is_missed(composed, element, [part.format(way) for way in OPEN_WAYS[operation] for part in WAYS[element]])


@pytest.mark.parametrize("element", HARMS)
def test_each_harm_is_missed_by_name(element: str) -> None:
    """Samira Kohli, para 32; Oviedo, Art. 5; IPDASi: each outcome on the form with every part of its figure."""
    composed = of_example("hard")
    harms = [name for name, risk in composed.assessment.risks.items() if risk.applies and not risk.benefit]
    assert {"loss_of_eye", "endophthalmitis", "capsule_rupture"} <= set(harms)
    assert "good_vision" not in harms
    each_is_missed(composed, element, harms)


@pytest.mark.parametrize("element", ["RK-07", "RK-08"])
def test_a_figure_of_this_eye_without_reason_or_range_is_missed(element: str) -> None:
    """GMC 2020, paras 21-24: how the patient's own condition shifts the chance; van der Bles 2020: its range."""
    each_is_missed(of_example("hard"), element, ["capsule_rupture"])


def test_a_figure_without_its_series_is_missed() -> None:
    """RK-09: the project's own rule, no figure without its series."""
    each_is_missed(of_example("hard"), "RK-09", ["capsule_rupture", "endophthalmitis"])


@pytest.mark.parametrize("element", ["RK-07", "RK-08"])
def test_figures_of_this_eye_that_nobody_accepted_are_not_asked_for(element: str) -> None:
    """The licensed clinician accepts the figures of a case before a patient sees them: common practice, no source."""
    composed = sheets(example("hard", {"figures_accepted": None}), clinic_maker()())
    assert composed.of_profile("UK")[element].state is State.NOT_APPLICABLE


# SM-01, SM-02: Universal Protocol UP.01.01.01, the same side everywhere


def side_places() -> list[tuple[str, str, str]]:
    """Element, sheet and section of each place of a bilingual form where the side stands."""
    found = of_example("ordinary", BILINGUAL).anchors
    places = [
        (anchor.element, anchor.sheet, anchor.section) for anchor in found if anchor.element in ("SM-01", "SM-02")
    ]
    return list(dict.fromkeys(places))


def eye(tag: str, side: str) -> str:
    return Speaker(tag).say(f"eye.{side}").plain


WRONG_SIDES: dict[str, Callable[[str, str, str], str]] = {
    "the other eye": lambda text, this, other: text.replace(this, other),
    "no eye": lambda text, this, _: text.replace(this, ""),
    "both eyes": lambda text, _, other: f"{text} {other}",
    "a letter": lambda text, this, _: text.replace(this, "L"),
}


@pytest.mark.parametrize("wrong", WRONG_SIDES)
@pytest.mark.parametrize("tag", BILINGUAL)
def test_another_eye_or_none_in_one_language_at_one_place_is_unmet(tag: str, wrong: str) -> None:
    """The ordinary example is of the left eye."""
    composed = of_example("ordinary", BILINGUAL)
    this, other = eye(tag, "left"), eye(tag, "right")
    places = side_places()
    assert {place[1:] for place in places} == {
        (FORM, "title"),
        (FORM, "who"),
        (FORM, "signatures"),
        ("risk-sheet", "how-to-read"),
        ("day-of-surgery", "who"),
        ("day-of-surgery", "eye"),
        ("going-home", "title"),
    }
    for element, sheet, section in places:
        changed = [
            replace(anchor, texts={**anchor.texts, tag: WRONG_SIDES[wrong](anchor.texts[tag], this, other)})
            if (anchor.element, anchor.sheet, anchor.section) == (element, sheet, section) and tag in anchor.texts
            else anchor
            for anchor in composed.anchors
        ]
        row = composed.rows("IN", changed)[element]
        assert (row.state, set(row.missing)) == (State.UNMET, {section}), (element, sheet, section)


@pytest.mark.parametrize("wrong", ["the other eye", "no eye"])
def test_a_form_with_another_eye_in_its_title_is_refused(wrong: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Through the whole pack: only the title of the composed form is changed."""

    def mistaken(assessment: Assessment, voice: Voice) -> Document:
        made = consent_form(assessment, voice)
        words = WRONG_SIDES[wrong](made.title[0].plain, eye("en", "left"), eye("en", "right"))
        return replace(made, title=line(words))

    composed_as(monkeypatch, mistaken)
    pack = compose_pack(example("ordinary"), clinic_maker()(), ENGLISH)
    assert blocking(pack.completeness) == {"SM-01": ("title",), "SM-02": ("title",)}
    assert FORM not in {document.sheet for document in pack.documents}


@pytest.mark.parametrize("side", Side)
def test_the_eye_is_the_same_word_everywhere(side: Side) -> None:
    """One whole word in title, head of page, body, signature, risk sheet and day of surgery; never the other eye."""
    keys = ("eye.side", "plan.side", "measurement.side", "talk.told.side")
    composed = sheets(example("ordinary", dict.fromkeys(keys, side.value)), clinic_maker()(), BILINGUAL)
    stands = {
        FORM: {"title", "header", "who", "signatures"},
        "risk-sheet": {"title", "header", "how-to-read"},
        "separate-choices": {"header"},
        "day-of-surgery": {"header", "who", "eye"},
    }
    for (name, places), tag in product(stands.items(), BILINGUAL):
        document, word, other = composed.sheet(name, tag), eye(tag, side), eye(tag, side.other)
        assert word not in other
        assert other not in word
        assert [text for text in document.texts_by_language()[tag] if other in text] == []
        place = [spoken for spoken, _ in document.languages].index(tag)
        assert places <= {section for section, words in document.lines() if word in words[place].plain}


# Words that may not stand. IN-20: Samira Kohli, para 32, and Bhushan Raina, reported 2019. UK-11: Thefaut v Johnston
# [2017] EWHC 497 (QB) and National Research Council 2007, pp. 37-38. RK-10: EC guideline on summaries of product
# characteristics 2009, Knapp 2015, Webster 2017

FORBIDDEN = {
    "IN-20": ("IN", ["any procedure considered necessary", "whatever is necessary", "any other procedure"]),
    "UK-11": ("UK", ["routine", "very small", "at least", "minimal", "lightning"]),
    "RK-10": ("general", ["very common", "uncommon", "rare", "very rare", "high risk"]),
}
EACH_WORD = [(element, place, word) for element, (place, words) in FORBIDDEN.items() for word in words]
each_word = pytest.mark.parametrize(("element", "place", "words"), EACH_WORD, ids=[word for _, _, word in EACH_WORD])


def others_say(words: str) -> dict[str, str]:
    """What somebody else than the patient says, on the form itself: the cost as the clinic entered it."""
    return {"plan.cost": f"your care, and {words.capitalize()}, as it comes"}


@each_word
def test_forbidden_words_in_the_composed_form_are_unmet_and_named(element: str, place: str, words: str) -> None:
    row = sheets(example("ordinary", others_say(words)), clinic_maker()()).of_profile(place)[element]
    assert row.state is State.UNMET
    assert words in row.measured


@pytest.mark.parametrize("tag", ["en", "bn", "hi"])
@pytest.mark.parametrize("element", FORBIDDEN)
def test_a_listed_word_of_any_language_is_found_in_any_text(element: str, tag: str) -> None:
    """A word of one language may have been put into the text of another."""
    kind = next(e.forbidden for e in profile(FORBIDDEN[element][0]).elements if e.id == element)
    listed = tomllib.loads(package_data("review", "elements", "forbidden.toml").read_text(encoding="utf-8"))
    assessment, chosen = of_example("ordinary").assessment, profile(FORBIDDEN[element][0])
    assert len(listed[kind][tag]) >= 4
    for word in listed[kind][tag]:
        texts = {"bn": ("পরিষ্কার লেখা।",), "en": ("Nothing to see.", f"It is so, {word.upper()}.")}
        row = by_id(completeness(chosen, assessment, Composed((), texts, {})))[element]
        assert row.state is State.UNMET
        assert word in row.measured


@pytest.mark.parametrize(("element", "refused"), [("IN-20", True), ("UK-11", False), ("RK-10", True)])
def test_forbidden_words_refuse_the_form_where_they_must_not_stand(element: str, refused: bool) -> None:
    """Minimising words are a SHOULD: the judgment weighed them among other faults."""
    place, (words, *_) = FORBIDDEN[element]
    pack = compose_pack(example("ordinary", others_say(words)), clinic_maker()({"profile": place}), ENGLISH)
    assert [row.element.id for row in pack.lacking] == ([element] if refused else [])
    assert (FORM in {document.sheet for document in pack.documents}) is not refused
    if refused:
        with pytest.raises(IncompleteError, match=rf"{element}: .*{words}"):
            refuse_incomplete(pack)


QUOTED = {
    "talk.questions": lambda asked: [{"question": asked, "answer": "We talked about it."}],
    "patient.what_matters_in_own_words": lambda asked: asked,
    "talk.outcome_words": lambda asked: asked,
}


@each_word
@pytest.mark.parametrize("key", QUOTED)
def test_a_patient_who_asks_about_such_words_has_not_signed_them(
    key: str, element: str, place: str, words: str
) -> None:
    """Quoted in the patient's own words it is a question; it must be printed, and must not stop the operation."""
    asked = f"Do I have to believe {words.upper()}?"
    composed = sheets(example("ordinary", {key: QUOTED[key](asked)}), clinic_maker()(), BILINGUAL)
    assert composed.of_profile(place)[element].state is State.MET
    assert any(asked in text for document, _ in composed.spoken for text in document.texts())


@pytest.mark.parametrize(("name", "refused"), [("Sharare Example", False), ("Dr Rare", True), ("Rarely Example", True)])
def test_a_listed_word_begins_a_word(name: str, refused: bool) -> None:
    """A syllable within a name is not the word; an ending does not hide it. Common practice, no source."""
    row = sheets(example("ordinary", {"patient.name": name}), clinic_maker()()).of_profile("IN")["RK-10"]
    assert (row.measured == ("rare",) or row.measured == ("rare", "rarely")) == refused
    assert (row.state is State.UNMET) == refused


@pytest.mark.parametrize(
    ("element", "changes"), [("ST-04", {"talk.at": None}), ("UN-04", {"talk.aids": []}), ("UK-15", {"talk.aids": []})]
)
def test_a_line_that_says_nothing_is_noted_answers_nothing(element: str, changes: dict) -> None:
    """GMC 2020, Recording decisions: a record of what was done, not of what was not."""
    noted = sheets(example("ordinary"), clinic_maker()())
    composed = sheets(example("ordinary", changes), clinic_maker()())
    places = [anchor.section for anchor in composed.anchors if anchor.element == element]
    assert "record" not in places
    assert "record" in [anchor.section for anchor in noted.anchors if anchor.element == element]


def test_uncertainty_is_told_by_the_sentence_that_tells_it() -> None:
    """GMC 2020, paras 8-11. Beside an unseen fundus, a hard lens does not tell the uncertainty."""
    changes = {"eye.nucleus.grade": "hard", "eye.fundus_seen": "no"}
    composed = sheets(example("ordinary", changes), clinic_maker()({"profile": "UK"}))
    (told,) = [anchor.texts["en"] for anchor in composed.anchors if anchor.element == "UK-02"]
    assert told == english("different.back-unseen")


@pytest.mark.parametrize("tags", [BILINGUAL, ("hi", "en"), ENGLISH], ids="-".join)
@pytest.mark.parametrize(
    "asked",
    [
        "Is it\n  rare?",
        " rare ",
        'I was told "rare" and “very rare”',
        "<b>rare</b> & uncommon",
        "rare",
    ],
)
def test_own_words_are_left_out_however_they_were_typed(asked: str, tags: tuple[str, ...]) -> None:
    """Line breaks, quotation marks and signs of markup in what a patient said, in each way of printing it."""
    case = example("ordinary", {key: QUOTED[key](asked) for key in QUOTED})
    composed = sheets(case, clinic_maker()(), tags)
    assert composed.of_profile("UK")["RK-10"].measured == ()


def test_own_words_excuse_the_same_words_nowhere_else() -> None:
    """Word for word what the patient asked, but said by the clinic."""
    case = example("ordinary", {"talk.questions": ["any other procedure"], "plan.cost": "any other procedure"})
    row = sheets(case, clinic_maker()()).of_profile("IN")["IN-20"]
    assert (row.state, row.measured) == (State.UNMET, ("any other procedure",))


# Where else words from outside reach the form: changes of the case, changes of the clinic; the words go to {}
ELSEWHERE: dict[str, tuple[Changes, Changes]] = {
    "who, people, signatures": ({"plan.surgeon.name": "Dr {}"}, {}),
    "people": ({"plan.camp": "yes"}, {"address": "{} Road"}),
    "people, others": ({"plan.others": [{**NURSE, "task": "does {}"}]}, {}),
    "cost": ({"plan.cost": "nothing, {}"}, {}),
    "separate": ({}, {"personal_data.purpose": "your care, and {}"}),
    "signatures": ({"talk.by": "{}"}, {}),
    "signatures, witness": (CANNOT_READ | {"talk.witness": "{}"}, {}),
    "signatures, guardian": ({"patient.decision": {**GUARDIAN["patient.decision"], "name": "{}"}}, {}),
    "header": ({}, {"name": "{} Eye Centre"}),
}
IN_THE_RECORD: dict[str, tuple[Changes, Changes]] = {
    "local law": ({}, {"local_additions": [{"source": "Example State Code 1", "words": {"en": "I agree to {}."}}]}),
    "emergency": ({"plan.emergency_reason": "we do {}"}, {}),
    "answer": ({"talk.questions": [{"question": "What is done?", "answer": "We do {}."}]}, {}),
}


def filled(changes: object, words: str) -> object:
    if isinstance(changes, dict):
        return {key: filled(value, words) for key, value in changes.items()}
    if isinstance(changes, list):
        return [filled(value, words) for value in changes]
    return changes.replace("{}", words) if isinstance(changes, str) else changes


@pytest.mark.parametrize("words", FORBIDDEN["IN-20"][1])
@pytest.mark.parametrize("place", ELSEWHERE)
def test_a_blanket_clause_anywhere_else_is_unmet(place: str, words: str) -> None:
    """Also where the patient asked about it too: the question excuses nothing but itself."""
    of_case, of_clinic = ELSEWHERE[place]
    case = example("ordinary", {**filled(of_case, words), "talk.questions": [f"What is {words}?"]})
    row = sheets(case, clinic_maker()(filled(of_clinic, words))).of_profile("IN")["IN-20"]
    assert (row.state, row.measured) == (State.UNMET, (words,))


@pytest.mark.parametrize("place", IN_THE_RECORD)
def test_a_blanket_clause_of_the_clinic_in_the_record_is_unmet(place: str) -> None:
    """Only the patient's own words are quoted; what the clinic writes into the record is signed with the rest."""
    of_case, of_clinic = IN_THE_RECORD[place]
    words = FORBIDDEN["IN-20"][1][0]
    row = sheets(example("ordinary", filled(of_case, words)), clinic_maker()(filled(of_clinic, words)))
    assert row.of_profile("IN")["IN-20"].state is State.UNMET


@pytest.mark.parametrize("tag", ["en", "bn", "hi"])
def test_no_message_of_the_catalogue_holds_a_blanket_clause(tag: str) -> None:
    listed = tomllib.loads(package_data("review", "elements", "forbidden.toml").read_text(encoding="utf-8"))["blanket"]
    words = [word.casefold() for words in listed.values() for word in words]
    forms = [form for message in load_catalogue(tag).messages.values() for form in message.forms]
    assert [form for form in forms if any(word in form.casefold() for word in words)] == []


# UN-07, UN-08. Grabeel 2018: name the formula. Sinha 2012: English formulas do not carry over to Hindi and Bengali


def reading(texts: dict[str, tuple[str, ...]], element: str) -> Row:
    assessment = of_example("ordinary").assessment
    return by_id(completeness(profile("IN"), assessment, Composed((), texts, {})))[element]


TWENTY = "It " + "is so " * 9 + "now."

# Flesch-Kincaid by hand, 0.39 words/sentences + 11.8 syllables/words - 15.59
READINGS = {
    "20 short words: 7.8 + 11.8 - 15.59": (TWENTY, State.MET, "4.0", "20 words"),
    "21 short words: 8.19 + 11.8 - 15.59": (f"{TWENTY[:-1]} so.", State.UNMET, "4.4", "21 words"),
    "3 words of 3 syllables: 1.17 + 35.4 - 15.59": ("Elephants remember bananas.", State.UNMET, "21.0", "3 words"),
}


@pytest.mark.parametrize("which", READINGS)
def test_english_is_measured_with_the_formula_named(which: str) -> None:
    text, state, grade, longest = READINGS[which]
    row = reading({"en": (text,)}, "UN-07")
    assert row.state is state
    assert f"Flesch-Kincaid {grade}" in row.measured
    assert f"longest sentence {longest}" in row.measured
    assert sum("SMOG " in measure for measure in row.measured) == 1


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_composed_english_is_measured_with_the_formula_named(name: str) -> None:
    row = of_example(name).of_profile("UK")["UN-07"]
    assert row.state is State.MET
    assert [measure.split(" ")[0] for measure in row.measured] == ["Flesch-Kincaid", "SMOG", "longest"]
    assert of_example(name).of_profile("UK")["UN-08"].state is State.NOT_APPLICABLE


def test_the_composed_english_of_a_guardian_is_plain_too() -> None:
    assert with_everything("represented").of_profile("IN")["UN-07"].state is State.MET


def test_a_form_without_english_has_no_grade() -> None:
    rows = of_example("hard", ("bn",)).of_profile("IN")
    assert rows["UN-07"].state is State.NOT_APPLICABLE
    (measure,) = rows["UN-08"].measured
    assert measure.startswith("bn: ")
    assert "words a sentence" in measure
    assert not any(word in measure for word in ("grade", "Flesch", "SMOG"))


@pytest.mark.parametrize(
    ("rung", "state"),
    [
        (Rung.MISSING, State.UNMET),
        (Rung.HUMAN_DRAFT, State.UNMET),
        (Rung.CLINICIAN_CHECKED, State.UNMET),
        (Rung.LAY_TESTED, State.MET),
        (Rung.RELEASED, State.MET),
    ],
)
def test_another_language_is_unmet_until_lay_readers_have_said_it_back(
    rung: Rung, state: State, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def release(ids: Iterable[str], tag: str, *, reviewed: str | None) -> ReleaseState:
        assert reviewed is None
        asked.append((tag, frozenset(ids)))
        return ReleaseState(rung, (), ())

    monkeypatch.setattr(import_module("consent.review.completeness"), "release_of", release)
    composed = of_example("ordinary", BILINGUAL)
    row = composed.of_profile("IN")["UN-08"]
    assert row.state is state
    assert row.missing == (() if state is State.MET else ("no lay reader has said it back",))
    assert not row.blocks
    assert asked == [("bn", composed.spoken[0][1].used()["bn"])]


def test_no_language_here_was_lay_tested_yet() -> None:
    """Nobody has read these words to a lay reader, so none of the shipped languages can meet it."""
    for name, tags in (("ordinary", BILINGUAL), ("second-eye", ("hi", "en"))):
        assert of_example(name, tags).of_profile("IN")["UN-08"].state is State.UNMET


# Who signs. IN-13, IN-15: Medical Devices Rules 2017 schedule as a model; IN-14: General Clauses Act 1897, s. 3(56)


@pytest.mark.parametrize("decides", DECIDERS)
@pytest.mark.parametrize(("reads", "writes", "sees"), list(product(ANSWERS, repeat=3)))
def test_reader_witness_and_thumb_exactly_where_needed(reads: str, writes: str, sees: str, decides: str) -> None:
    """Not known whether the patient reads or writes: the line is there. Not known whether they see: nothing asked.

    Where somebody else decides, the patient's own reading and thumb ask nothing; a witness is there all the same.
    """
    answers = {"patient.reads": reads, "patient.writes_name": writes, "patient.sees_to_read": sees}
    composed = sheets(example("ordinary", {**DECIDERS[decides], **answers}), clinic_maker()())
    own = decides == "self"
    read_aloud, thumb = own and (reads != "yes" or sees == "no"), own and writes != "yes"
    needed = {"IN-13": read_aloud, "UN-05": read_aloud, "IN-14": thumb, "IN-15": own and (read_aloud or thumb)}
    rows = composed.of_profile("IN")
    assert {key: rows[key].state for key in needed} == {
        key: State.MET if is_needed else State.NOT_APPLICABLE for key, is_needed in needed.items()
    }
    signs = {role: english(f"sign.{role}") in composed.roles() for role in ("reader", "witness", "patient", "guardian")}
    assert signs == {
        "reader": read_aloud,
        "witness": not own or read_aloud or thumb,
        "patient": own,
        "guardian": not own,
    }
    assert any(block.thumb for block in composed.signatures()) is thumb
    assert blocking(rows.values()) == {}


def test_the_witness_named_at_the_talk_stands_by_the_line() -> None:
    witness = of_example("hard").signature("sign.witness")
    assert witness.name is not None
    assert witness.name[-1].plain == "B. Example"
    labels = [label[-1].plain for label in witness.labels]
    assert labels == [english(f"sign.{name}") for name in ("relation", "address", "signature", "date", "time")]


# ST-06: 42 CFR 441.258 as a model


@pytest.mark.parametrize("needed", ANSWERS)
@pytest.mark.parametrize("named", [True, False])
def test_interpreter_signs_exactly_where_one_is_named(needed: str, named: bool) -> None:
    changes = {"patient.interpreter_needed": needed, **(INTERPRETER if named else {})}
    composed = sheets(example("ordinary", changes), clinic_maker()())
    assert (english("sign.interpreter") in composed.roles()) is named
    assert composed.of_profile("IN")["ST-06"].state is (State.MET if named else State.NOT_APPLICABLE)
    if named:
        block = composed.signature("sign.interpreter")
        assert block.name is not None
        assert block.name[0].plain == "I. Interpreter-Example"


# IN-09: Samira Kohli, the patient signs; IN-11: Bharatiya Nyaya Sanhita 2023, s. 28; IN-19: Digital Personal Data
# Protection Act 2023, s. 9(1); EU-06: Oviedo, Art. 6


@pytest.mark.parametrize("decides", DECIDERS)
def test_whoever_decides_signs_and_nobody_in_their_place(decides: str) -> None:
    composed = sheets(example("hard", DECIDERS[decides]), clinic_maker()())
    rows = composed.of_profile("IN") | composed.of_profile("general")
    own = decides == "self"
    assert rows["IN-09"].state is (State.MET if own else State.NOT_APPLICABLE)
    expected = State.NOT_APPLICABLE if own else State.MET
    assert {key: rows[key].state for key in BY_SOMEBODY_ELSE} == dict.fromkeys(BY_SOMEBODY_ELSE, expected)


@pytest.mark.parametrize("basis", ["legal guardian", "parent of a minor"])
def test_a_guardian_is_named_with_relation_basis_and_the_patients_own_opinion(basis: str) -> None:
    guardian = sheets(example("hard", DECIDERS[basis]), clinic_maker()()).signature("sign.guardian")
    assert guardian.name is not None
    assert guardian.name[-1].plain == "G. Guardian-Example"
    labels = [label[-1].plain for label in guardian.labels]
    assert {english(f"sign.{name}") for name in ("relation", "basis", "opinion")} <= set(labels)


@pytest.mark.parametrize(("place", "element", "part"), [("IN", "IN-11", "who"), ("general", "EU-06", "representative")])
def test_a_guardian_without_a_name_refuses_the_form(place: str, element: str, part: str) -> None:
    nameless = {**GUARDIAN["patient.decision"], "name": None}
    clinic = clinic_maker()({"profile": place})
    pack = compose_pack(example("hard", {"patient.decision": nameless}), clinic, ENGLISH)
    assert blocking(pack.completeness) == {element: (part,)}
    assert FORM not in {document.sheet for document in pack.documents}


@pytest.mark.parametrize(("decides", "lacking"), [("self", ["IN-18"]), ("legal guardian", ["IN-18", "IN-19"])])
def test_a_clinic_without_a_data_notice_has_no_form_in_india(decides: str, lacking: list[str]) -> None:
    """IN-18, IN-19: Digital Personal Data Protection Act 2023, ss. 5-6 and 9(1)."""
    clinic = clinic_maker()({"personal_data": None})
    pack = compose_pack(example("hard", DECIDERS[decides]), clinic, ENGLISH)
    assert [row.element.id for row in pack.lacking] == lacking


def test_a_patient_is_never_under_18() -> None:
    """IN-10 asks about a child; the program is for adults, so it never applies and a child's case is refused."""
    youngest = {"patient.birth_date": None, "patient.age_years": 18}
    rows = sheets(example("ordinary", youngest), clinic_maker()()).of_profile("IN")
    assert rows["IN-10"].state is State.NOT_APPLICABLE
    with pytest.raises(CaseError, match="age_years"):
        example("ordinary", {**youngest, "patient.age_years": 17})


# IN-21: Punjab, Norms of Service Delivery in Eye Camps 2015


@pytest.mark.parametrize("payer", ["free", "camp", "unknown"])
@pytest.mark.parametrize("camp", ANSWERS)
def test_a_camp_patient_is_told_hospital_visits_transport_and_contact(camp: str, payer: str) -> None:
    composed = sheets(example("ordinary", {"plan.camp": camp, "plan.payer": payer}), clinic_maker()())
    at_camp = camp == "yes" or payer == "camp"
    assert composed.of_profile("IN")["IN-21"].state is (State.MET if at_camp else State.NOT_APPLICABLE)
    told = " ".join(anchor.texts["en"] for anchor in composed.anchors if anchor.element == "IN-21")
    assert bool(told) is at_camp
    if at_camp:
        clinic = composed.assessment.clinic
        for words in (
            clinic.address,
            *map(unbroken, (clinic.telephone.day, clinic.telephone.night)),
            "25 February 2027",
        ):
            assert words in told
        each_is_missed(composed, "IN-21", ("hospital", "visits", "transport", "contact"))


# EU-08: Oviedo was not signed by every country; US-19: state law may add content

ADDITION = {"source": "Example State Code 1", "words": {"en": "The state asks for this.", "bn": "রাজ্যের আইনের কথা।"}}


@pytest.mark.parametrize(("place", "element"), [("general", "EU-08"), ("US", "US-19")])
def test_what_local_law_adds_stands_in_every_language(place: str, element: str) -> None:
    composed = sheets(example("ordinary"), clinic_maker()({"local_additions": [ADDITION]}), BILINGUAL)
    assert composed.of_profile(place)[element].state is State.MET
    (anchor,) = [anchor for anchor in composed.anchors if anchor.element == element]
    for tag, words in ADDITION["words"].items():
        assert words in anchor.texts[tag]
        assert "Example State Code 1" in anchor.texts[tag]
    assert of_example("ordinary").of_profile(place)[element].state is State.NOT_APPLICABLE


@pytest.mark.parametrize("missing", BILINGUAL)
def test_what_local_law_adds_in_one_language_only_is_an_error(missing: str) -> None:
    words = {tag: text for tag, text in ADDITION["words"].items() if tag != missing}
    second = {"source": "Example State Code 2", "words": words}
    clinic = clinic_maker()({"local_additions": [ADDITION, second], "profile": "general"})
    with pytest.raises(LanguageError, match=rf'not written in "{missing}"') as raised:
        compose_pack(example("ordinary"), clinic, BILINGUAL)
    assert raised.value.problems[0].where == "clinic: local_additions.1.words"


# US-20: 42 CFR 482.51(b)(2)


def test_an_emergency_is_recorded_with_its_reason() -> None:
    composed = sheets(example("ordinary", {"plan.emergency_reason": "The lens has burst."}), clinic_maker()())
    assert composed.of_profile("US")["US-20"].state is State.MET
    (anchor,) = [anchor for anchor in composed.anchors if anchor.element == "US-20"]
    assert "The lens has burst." in anchor.texts["en"]
    assert of_example("ordinary").of_profile("US")["US-20"].state is State.NOT_APPLICABLE


# US-10 to US-12: CMS tag A-0466 and QSO-24-10-Hospitals of 1 April 2024

PHYSICIANS = ("surgeon", "surgeon in training", "anaesthetist")
NOT_PHYSICIANS = ("nurse", "optometrist", "technician", "student")


@pytest.mark.parametrize("role", [*PHYSICIANS, *NOT_PHYSICIANS])
def test_others_who_take_part_are_told_by_name_and_task(role: str) -> None:
    helper = {"name": "O. Other-Example", "role": role, "task": "holds the mask"}
    composed = sheets(example("ordinary", {"plan.others": [helper]}), clinic_maker()())
    rows = composed.of_profile("US")
    told, other = ("US-10", "US-11") if role in PHYSICIANS else ("US-11", "US-10")
    assert (rows[told].state, rows[other].state) == (State.MET, State.NOT_APPLICABLE)
    (anchor,) = [anchor for anchor in composed.anchors if anchor.element == told]
    assert "O. Other-Example" in anchor.texts["en"]
    assert "holds the mask" in anchor.texts["en"]


@pytest.mark.parametrize("answer", ANSWERS)
def test_a_trainee_and_examinations_for_teaching_are_told_where_they_are_planned(answer: str) -> None:
    changes = {"plan.trainee_may_operate": answer, "plan.examined_for_teaching": answer}
    rows = sheets(example("ordinary", changes), clinic_maker()()).of_profile("US")
    expected = State.MET if answer == "yes" else State.NOT_APPLICABLE
    assert {key: rows[key].state for key in ("US-10", "US-11", "US-12")} == {
        "US-10": expected,
        "US-11": State.NOT_APPLICABLE,
        "US-12": expected,
    }
    assert rows["ST-08"].state is State.MET


# UK-02: GMC 2020, paras 8-11; EU-07 and ST-12: Oviedo, Art. 10


@pytest.mark.parametrize(
    "changes",
    [
        {"eye.fundus_seen": "no"},
        {"eye.fundus_seen": "unknown"},
        {"eye.pseudoexfoliation": "unknown"},
        {"health.diabetes": "yes", "eye.retinopathy": "unknown"},
        {"eye.light_projection": "inaccurate"},
        {"eye.afferent_pupil_defect": "yes"},
        {"eye.ultrasound": "abnormal"},
        {"eye.acuity_explained": "no"},
    ],
    ids=lambda changes: ", ".join(changes),
)
def test_what_is_uncertain_is_told(changes: Changes) -> None:
    """The ordinary eye is uncertain in nothing; each of these makes it so, and the form says it."""
    composed = sheets(example("ordinary", changes), clinic_maker()())
    assert of_example("ordinary").of_profile("UK")["UK-02"].state is State.NOT_APPLICABLE
    assert composed.of_profile("UK")["UK-02"].state is State.MET
    said = {anchor.texts["en"] for anchor in composed.anchors if anchor.element == "UK-02"}
    assert said - set(of_example("ordinary").form.texts())


@pytest.mark.parametrize("answer", ANSWERS)
def test_a_wish_not_to_be_told_is_recorded_and_the_risks_are_there_all_the_same(answer: str) -> None:
    composed = sheets(example("ordinary", {"patient.declines_information": answer}), clinic_maker()())
    rows = composed.of_profile("general")
    expected = State.MET if answer == "yes" else State.NOT_APPLICABLE
    assert (rows["EU-07"].state, rows["ST-12"].state) == (expected, expected)
    assert rows["EU-04"].state is State.MET


# The command


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, str, Path]:
    """Files of a case whose surgeon gave no reason, and of a clinic in the United Kingdom; a folder to print to."""
    monkeypatch.delenv("CONSENT_CLINIC", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    case = package_data("case", "examples", "ordinary.toml").read_text(encoding="utf-8")
    clinic = package_data("clinic", "demo.toml").read_text(encoding="utf-8")
    without = case.replace('\nreasons = ["small cut heals sooner"]\n', "\nreasons = []\n")
    there = clinic.replace('\nprofile = "IN"\npopulation', '\nprofile = "UK"\npopulation')
    assert without != case
    assert there != clinic
    files = tmp_path / "case.toml", tmp_path / "clinic.toml"
    for path, text in zip(files, (without, there), strict=True):
        path.write_text(text, encoding="utf-8")
    return str(files[0]), str(files[1]), tmp_path / "pack"


def test_prepare_writes_the_other_sheets_and_leaves_with_10(
    written: tuple[str, str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """UK-06, GMC 2020, paras 8-11: why an option is recommended."""
    case, clinic, folder = written
    assert main(["prepare", case, "--clinic", clinic, "--to", str(folder), "--language", "en"]) == 10
    said = capsys.readouterr()
    assert "UK-06" in said.err
    assert "Why an option is recommended" in said.err
    printed = {path.name.split(".")[0] for path in folder.glob("*.pdf")}
    assert printed == set(SHEETS) - {FORM, *NOT_OF_EVERY_CASE}
    listed = [Path(name) for name in said.out.splitlines()]
    assert all(path.is_file() for path in listed)
    assert not any(path.name.startswith(FORM) for path in folder.rglob("*"))


def test_prepare_of_another_sheet_says_nothing_of_the_form(
    written: tuple[str, str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    case, clinic, folder = written
    asked = ["--language", "en", "--sheet", "going-home"]
    assert main(["prepare", case, "--clinic", clinic, "--to", str(folder), *asked]) == 0
    assert "UK-06" not in capsys.readouterr().err
    assert [path.name for path in folder.glob("*.pdf")] == ["going-home.en.pdf"]
