"""How risk is told on the consent form, in English: each rule named by the publication it rests on."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from consent.case import Case
from consent.compose import Document, Voice, drop_calendar, going_home
from consent.compose.document import Risk
from consent.compose.figures import risk_block
from consent.language import load_catalogue
from consent.review import assess
from consent.risk import assess_risks, may_show_personal, risk_plan
from tests.compose.estimates import invented_estimate

# Eyes that bring out every way a figure can be put: example, changes of the case, changes of the clinic.
EYES: dict[str, tuple[str, dict, dict]] = {
    "ordinary": ("ordinary", {}, {}),
    "hard": ("hard", {}, {}),
    "hard, one figure": ("hard", {"eye.pseudoexfoliation": "no"}, {}),
    "exfoliation": ("hard", {"eye.pseudoexfoliation": "yes"}, {}),
    "guttata": ("ordinary", {"eye.guttata": "yes"}, {}),
    "glaucoma": ("ordinary", {"eye.glaucoma": "open angle"}, {}),
    "posterior polar": ("ordinary", {"eye.posterior_polar": "yes"}, {}),
    "brunescent, by hand": ("hard", {"plan.operation": "manual small-incision"}, {}),
    "with drainage": ("ordinary", {"plan.operation": "phacoemulsification with trabeculectomy"}, {}),
    "diabetes, macula ill": ("ordinary", {"health.diabetes": "yes", "eye.other_macular_disease": "yes"}, {}),
    "no antibiotic, general": ("ordinary", {"plan.injected_antibiotic": "no", "plan.anaesthesia": "general"}, {}),
    "nothing looked for": (
        "ordinary",
        {"eye.pseudoexfoliation": "unknown", "eye.pupil_grade": "unknown", "eye.nucleus": {}, "eye.white": "unknown"},
        {},
    ),
    "United Kingdom": ("hard", {}, {"population": "uk"}),
    "audited": (
        "hard",
        {},
        {"audit": {"operations": 1000, "events": 12, "expected_events": 15.0, "years": "2024-2025"}},
    ),
}
every_eye = pytest.mark.parametrize("eye", EYES)


@pytest.fixture
def form(eye: str, english_form) -> Document:
    return english_form(*EYES[eye])


def texts(document: Document) -> list[str]:
    return list(document.texts())


def risks(document: Document) -> list[Risk]:
    return [block for section in document.sections for block in section.blocks if isinstance(block, Risk)]


def figures(document: Document) -> Iterator[str]:
    for block in risks(document):
        yield from (line[0].plain for line in block.figures)


def pattern(message: str) -> re.Pattern[str]:
    """The message of the English catalogue as a pattern: its slots are numbers, alone or as a range."""
    words = load_catalogue("en").messages[message].forms[0].replace("**", "")
    return re.compile(re.sub(r"\\\{(\w+)\\\}", r"(?P<\1>[\\d,]+(?:–[\\d,]+)?)", re.escape(words)))


WAYS = ("count", "spread", "spread-up-to", "range", "fewer", "up-to", "unknown")
FIGURE = {name: pattern(f"risk.{name}") for name in WAYS}


def whole_numbers(text: str) -> list[int]:
    return [int(number.replace(",", "")) for number in text.split("–")]


def read_figure(text: str) -> tuple[str, dict[str, list[int]]]:
    """Which of the seven ways a figure is put, and its numbers."""
    labels = "|".join(load_catalogue("en").messages[f"risk.{name}"].forms[0] for name in ("usual-eye", "your-eye"))
    bare = re.sub(rf"^(?:{labels}): ", "", text)
    for name, words in FIGURE.items():
        if match := words.fullmatch(bare):
            return name, {slot: whole_numbers(number) for slot, number in match.groupdict().items()}
    raise AssertionError(f"not a figure: {text}")


def check_both_sides(text: str) -> None:
    """Those who have it and those who do not make up the whole; none is said to be nobody."""
    how, n = read_figure(text)
    if how == "unknown":
        return
    assert n["whole"] == [1000]
    match how:
        case "count" | "spread" | "spread-up-to":
            assert n["count"][0] >= 1
            assert n["count"][0] + n["rest"][0] == 1000
            if how == "spread":
                low, high = n["span"][0], n["span"][-1]
                assert 1 <= low <= n["count"][0] <= high <= 1000
            if how == "spread-up-to":
                assert n["count"][0] <= n["high"][0] <= 1000
        case "range":
            assert n["span"][0] >= 1
            assert n["rest"] == [1000 - n["span"][1], 1000 - n["span"][0]]
        case "fewer":
            assert 1 <= n["tenth"][0] <= 9
            assert n["ten_whole"] == [10_000]
            assert n["rest"] == [999]
        case "up-to":
            assert n["high"][0] >= 1
            assert n["high"][0] + n["rest"][0] == 1000


# Trevena 2013, doi:10.1186/1472-6947-13-S2-S7: one denominator throughout


@every_eye
def test_one_denominator(form):
    """Every frequency is out of 1,000; 10,000 stands only in brackets behind "fewer than one of 1,000"."""
    found = [(number, text) for text in texts(form) for number in re.findall(r"\bof (\d[\d,]*)", text)]
    assert found
    assert {number for number, _ in found} <= {"1,000", "10,000"}
    for number, text in found:
        if number == "10,000":
            assert re.search(r"fewer than one of 1,000 has this \(about \d[\d,]* of 10,000\)", text)


@every_eye
def test_nobody_is_told_nought_of_a_thousand(form):
    """A rate that was seen is not nil; "0 of 1,000" reads as never. Common practice, no source."""
    assert [text for text in texts(form) if re.search(r"(?<![\d,])0 of \d", text)] == []


@every_eye
def test_no_percentages_beside_counts(form):
    assert [text for text in texts(form) if re.search(r"%|per ?cent\b|percent", text, re.IGNORECASE)] == []


# Sirota 2014, doi:10.1177/0272989X13514776: "1 in N" makes a risk look larger


@every_eye
def test_no_one_in_so_many(form):
    said = re.compile(r"\b(?:1|one|a) in (?:\d[\d,]*|a hundred|a thousand|ten|hundred|thousand|million)\b", re.I)
    assert [found for text in texts(form) for found in said.findall(text) if not found.endswith(" 1,000")] == []


def test_no_message_of_the_catalogue_says_one_in_so_many():
    said = re.compile(r"\b(?:1|one|\{count\}) in (?:\{|\d)", re.I)
    forms = [(m.id, form) for m in load_catalogue("en").messages.values() for form in m.forms]
    assert [name for name, form in forms if said.search(form)] == []


# Akl 2011, Framing of health information messages, Cochrane CD006777; IPDASi: both sides of every figure


@every_eye
def test_both_sides_of_every_figure_make_up_the_whole(form):
    found = list(figures(form))
    assert len(found) >= len(risk_plan().outcomes)
    for text in found:
        check_both_sides(text)


proportions = st.floats(0, 1) | st.floats(0, 0.004)


@settings(max_examples=300, deadline=None)
@given(st.lists(proportions, min_size=3, max_size=3).map(sorted), st.booleans(), proportions)
def test_both_sides_of_any_figure(examples_of_one_case, three, single, usual):
    low, probability, high = three
    assessment, voice = examples_of_one_case
    block = risk_block(voice, invented_estimate(probability, low, high, single, usual), assessment, ())
    assert len(block.figures) == 2
    for line in block.figures:
        check_both_sides(line[0].plain)


@pytest.fixture(scope="module")
def examples_of_one_case(make_case, make_clinic):
    return assess(make_case(), make_clinic()), Voice(("en",), "latin")


def test_every_way_to_put_a_figure_is_met_in_some_eye(english_form):
    """So that the rules above are not kept by silence. "up to" is met by constructed figures only."""
    found = {read_figure(text)[0] for eye in EYES.values() for text in figures(english_form(*eye))}
    assert {"count", "spread", "range", "fewer", "unknown"} <= found


# IPDASi: over what time, and among whom


@every_eye
def test_every_figure_has_a_time_and_a_place(form):
    between = load_catalogue("en").messages["risk.counted-in"].forms[0]
    assert between.startswith("{when}")
    assert between.endswith("{place}")
    for block in risks(form):
        if [read_figure(line[0].plain)[0] for line in block.figures] == ["unknown"]:
            assert block.counted_in is None
            continue
        assert block.counted_in is not None
        when, place = block.counted_in[0].plain.split(between.removeprefix("{when}").removesuffix("{place}"))
        assert when.strip()
        assert place.strip()


@every_eye
def test_every_risk_says_what_it_means(form):
    for block in risks(form):
        assert block.name[0].plain.strip()
        assert block.means[0].plain.strip()


def test_every_outcome_of_the_plan_stands_on_the_form(english_form):
    named = [block.name[0].plain for block in risks(english_form())]
    words = load_catalogue("en").messages
    assert sorted(named) == sorted(words[f"outcome.{outcome.id}.name"].forms[0] for outcome in risk_plan().outcomes)


# Thefaut v Johnston [2017] EWHC 497 (QB): a risk is not talked down

MINIMISING = re.compile(r"\b(?:routine(?:ly)?|tiny|very small|at least|only a|minor operation)\b", re.IGNORECASE)


@every_eye
def test_no_minimising_words_on_any_patient_sheet(eye, make_case, make_clinic, english_form):
    name, changes, of_clinic = EYES[eye]
    assessment = assess(make_case(changes, name), make_clinic(of_clinic))
    voice = Voice(("en",), "latin")
    sheets = [english_form(*EYES[eye]), going_home(assessment, voice), drop_calendar(assessment, voice)]
    assert [text for sheet in sheets for text in texts(sheet) if MINIMISING.search(text)] == []


def test_no_minimising_words_in_any_message_for_patients():
    """Also those no example prints. The surgeon's own messages may say "very small pupil"."""
    surgeons = ("point.", "finding.", "fact.", "assume.", "review.", "head.", "range.")
    forms = [
        (m.id, form)
        for m in load_catalogue("en").messages.values()
        if not m.id.startswith(surgeons) and not m.id.endswith(".short")
        for form in m.forms
    ]
    assert len(forms) > 300
    assert [name for name, form in forms if MINIMISING.search(form)] == []


@every_eye
def test_loss_of_the_eye_is_printed_first_and_as_not_known(form):
    """No published figure with a denominator was found; silence would read as never. Common practice, no source."""
    section = next(section for section in form.sections if section.id == "risks")
    first = next(block for block in section.blocks if isinstance(block, Risk))
    assert first.name[0].plain == outcome_name("loss_of_eye")
    (line,) = first.figures
    assert read_figure(line[0].plain)[0] == "unknown"
    assert line[0].plain.startswith("not known")
    assert first.arrays == ()


def test_figures_are_averages_and_no_promise(english_form):
    said = load_catalogue("en").messages["form.risks.averages"].forms[0]
    assert said in texts(english_form())


# A personal figure reaches the patient only when accepted. Common practice, no source.

YOURS = "Your eye"


def own_figures(document: Document) -> set[str]:
    """Names of the risks whose figure of this eye is printed or drawn."""
    return {
        block.name[0].plain
        for block in risks(document)
        if any(YOURS in line[0].plain for line in block.figures) or block.arrays
    }


def outcome_name(outcome: str) -> str:
    return load_catalogue("en").messages[f"outcome.{outcome}.name"].forms[0]


@every_eye
def test_no_personal_figure_without_the_surgeons_acceptance(eye, english_form):
    name, changes, of_clinic = EYES[eye]
    document = english_form(name, {**changes, "figures_accepted": None}, of_clinic)
    assert own_figures(document) == set()
    assert [text for text in texts(document) if YOURS in text] == []
    assert all(len(block.figures) == 1 for block in risks(document))


@every_eye
def test_no_personal_figure_from_a_series_the_clinic_has_not_accepted(eye, english_form, make_case, make_clinic):
    name, changes, of_clinic = EYES[eye]
    case: Case = make_case(changes, name)
    none_accepted = {**of_clinic, "accepted_series": []}
    clinic = make_clinic(none_accepted)
    expected = set()
    for found in assess_risks(case, clinic):
        unread = [source.series for source in found.sources if not source.verified.is_primary]
        if found.known and found.personal and not unread:
            expected.add(outcome_name(found.outcome))
        if unread:
            assert not may_show_personal(found, case, clinic).allowed
    assert own_figures(english_form(name, changes, none_accepted)) == expected


def test_acceptance_is_series_by_series(english_form):
    """In the hard eye macular oedema rests on chu-2016, capsule rupture on narendran-2009."""
    chu = [{"series": "chu-2016", "by": "Dr Example", "on": "2026-11-01"}]
    narendran = [{"series": "narendran-2009", "by": "Dr Example", "on": "2026-11-01"}]
    rupture, oedema = outcome_name("capsule_rupture"), outcome_name("macular_oedema")
    assert {rupture, oedema} <= own_figures(english_form("hard"))
    only_chu = own_figures(english_form("hard", {}, {"accepted_series": chu}))
    only_narendran = own_figures(english_form("hard", {}, {"accepted_series": narendran}))
    assert (oedema in only_chu, rupture in only_chu) == (True, False)
    assert (oedema in only_narendran, rupture in only_narendran) == (False, True)


@every_eye
def test_a_personal_figure_never_stands_without_the_usual_one(form):
    for block in risks(form):
        plain = [line[0].plain for line in block.figures]
        if len(plain) > 1:
            assert plain[0].startswith("Usual eye: ")
            assert plain[1].startswith("Your eye: ")
            assert len(plain) == 2
