"""How risk is told on the risk sheet, in English: each rule named by the publication it rests on."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from consent.case import Case
from consent.compose import Document, Voice
from consent.compose.document import Risk
from consent.compose.figures import risk_block
from consent.language import load_catalogue
from consent.review import assess
from consent.risk import assess_risks, may_show_personal, risk_plan
from tests.compose.estimates import invented_estimate
from tests.compose.eyes import EYES, every_eye, figures, outcome_name, read_figure, risks, texts, words


@pytest.fixture
def sheet(eye: str, english_risk_sheet) -> Document:
    return english_risk_sheet(*EYES[eye])


def check_both_sides(text: str) -> None:
    """Those who have it and those who do not make up the whole; none is said to be nobody."""
    told = read_figure(text)
    if told.how in ("unknown", "same"):
        return
    n = told.numbers
    assert n["whole"] == [1000]
    match told.how:
        case "count" | "spread" | "spread-up-to":
            assert n["count"][0] >= 1
            assert n["count"][0] + n["rest"][0] == 1000
            if told.how == "spread":
                low, high = n["span"]
                assert 1 <= low <= n["count"][0] <= high <= 1000
            if told.how == "spread-up-to":
                assert n["count"][0] <= n["high"][0] <= 1000
        case "range":
            assert n["span"][0] >= 1
            assert n["rest"] == [1000 - n["span"][1], 1000 - n["span"][0]]
        case "fewer":
            assert 1 <= n["tenth"][0] <= 9
            assert n["ten_whole"] == [10_000]
            assert n["rest"] == [999]
        case "fewer-range":
            assert 1 <= n["span"][0] < n["span"][1] <= 9
            assert n["ten_whole"] == [10_000]
            assert n["rest"] == [999]
        case "up-to":
            assert n["high"][0] >= 1
            assert n["high"][0] + n["rest"][0] == 1000
        case _:
            raise AssertionError(told)


# Akl 2011, Framing of health information messages, Cochrane CD006777; IPDASi: both sides of every figure


@every_eye
def test_both_sides_of_every_figure_make_up_the_whole(sheet):
    found = list(figures(sheet))
    assert len(found) >= len(risk_plan().outcomes) - 1  # harm of an injection is told only where one is given
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


def test_every_way_to_put_a_figure_is_met_in_some_eye(english_risk_sheet):
    """So that the rules above are not kept by silence. "spread up to" is met by constructed figures only."""
    found = {read_figure(text).how for eye in EYES.values() for text in figures(english_risk_sheet(*eye))}
    assert found == {"count", "spread", "range", "fewer", "fewer-range", "up-to", "unknown", "same"}


# IPDASi: over what time, and among whom


@every_eye
def test_every_figure_has_a_time_and_a_place(sheet):
    between = load_catalogue("en").messages["risk.counted-in"].forms[0]
    assert between.startswith("{when}")
    assert between.endswith("{place}")
    for block in risks(sheet):
        if [read_figure(line[0].plain).how for line in block.figures] == ["unknown"]:
            assert block.counted_in is None
            continue
        assert block.counted_in is not None
        when, place = block.counted_in[0].plain.split(between.removeprefix("{when}").removesuffix("{place}"))
        assert when.strip()
        assert place.strip()


@every_eye
def test_every_risk_says_what_it_means(sheet):
    for block in risks(sheet):
        assert block.name[0].plain.strip()
        assert block.means[0].plain.strip()


def test_every_outcome_of_the_plan_stands_on_the_risk_sheet(english_risk_sheet):
    named = [block.name[0].plain for block in risks(english_risk_sheet())]
    assert sorted(named) == sorted(outcome_name(outcome.id) for outcome in risk_plan().outcomes)


@every_eye
def test_every_figure_is_labelled_with_whose_it_is(sheet):
    """Also where it stands alone: a published figure without a label reads as that of this eye. Common practice, no
    source."""
    for block in risks(sheet):
        told = [read_figure(line[0].plain) for line in block.figures]
        assert [one.whose for one in told if one.how != "unknown"] in ([], ["usual-eye"], ["usual-eye", "your-eye"])
        assert "unknown" not in [one.how for one in told] or [(one.whose, one.how) for one in told] == [("", "unknown")]


@every_eye
def test_loss_of_the_eye_is_printed_first_and_as_not_known(sheet):
    """No published figure with a denominator was found; silence would read as never. Common practice, no source."""
    section = next(section for section in sheet.sections if section.id == "harms")
    first = next(block for block in section.blocks if isinstance(block, Risk))
    assert first.name[0].plain == outcome_name("loss_of_eye")
    (line,) = first.figures
    assert read_figure(line[0].plain).how == "unknown"
    assert line[0].plain.startswith("not known")
    assert first.arrays == ()


def test_figures_are_averages_and_no_promise(english_risk_sheet):
    assert words("form.risks.averages") in texts(english_risk_sheet())


def test_the_series_of_every_figure_is_named(english_risk_sheet, make_case, make_clinic):
    """The project's own rule, no source: no figure without its series and the years it was counted in."""
    (said,) = [text for text in texts(english_risk_sheet("hard")) if "narendran-2009 (" in text]
    for found in assess_risks(make_case(name="hard"), make_clinic()):
        if found.applies and not found.benefit:
            assert all(f"{source.series} ({source.years})" in said for source in found.sources)


# A personal figure reaches the patient only when accepted. Common practice, no source.

YOURS = "Your eye"


def own_figures(document: Document) -> set[str]:
    """Names of the risks whose figure of this eye is printed or drawn."""
    return {
        block.name[0].plain
        for block in risks(document)
        if any(YOURS in line[0].plain for line in (*block.figures, *(array.caption for array in block.arrays)))
    }


@every_eye
def test_no_personal_figure_without_the_surgeons_acceptance(eye, english_risk_sheet):
    name, changes, of_clinic = EYES[eye]
    document = english_risk_sheet(name, {**changes, "figures_accepted": None}, of_clinic)
    assert own_figures(document) == set()
    assert [text for text in texts(document) if YOURS in text and re.search(r"\d", text)] == []
    assert all(len(block.figures) == 1 for block in risks(document))


@every_eye
def test_no_personal_figure_from_a_series_the_clinic_has_not_accepted(eye, english_risk_sheet, make_case, make_clinic):
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
    assert own_figures(english_risk_sheet(name, changes, none_accepted)) == expected


def test_acceptance_is_series_by_series(english_risk_sheet):
    """In the hard eye macular oedema rests on chu-2016, capsule rupture on narendran-2009."""
    chu = [{"series": "chu-2016", "by": "Dr Example", "on": "2026-11-01"}]
    narendran = [{"series": "narendran-2009", "by": "Dr Example", "on": "2026-11-01"}]
    rupture, oedema = outcome_name("capsule_rupture"), outcome_name("macular_oedema")
    assert {rupture, oedema} <= own_figures(english_risk_sheet("hard"))
    only_chu = own_figures(english_risk_sheet("hard", {}, {"accepted_series": chu}))
    only_narendran = own_figures(english_risk_sheet("hard", {}, {"accepted_series": narendran}))
    assert (oedema in only_chu, rupture in only_chu) == (True, False)
    assert (oedema in only_narendran, rupture in only_narendran) == (False, True)


@every_eye
def test_a_personal_figure_never_stands_without_the_usual_one(sheet):
    for block in risks(sheet):
        plain = [line[0].plain for line in block.figures]
        if len(plain) > 1:
            assert plain[0].startswith("Usual eye: ")
            assert plain[1].startswith("Your eye: ")
            assert len(plain) == 2


# How this eye's figure came about. GMC, Decision making and consent, 2020, paras 21-24: how the patient's own
# condition shifts the chance


def reason(document: Document, outcome: str) -> str:
    """What is said beside the figures of one outcome; empty where nothing is."""
    (block,) = [block for block in risks(document) if block.name[0].plain == outcome_name(outcome)]
    return block.because[0].plain if block.because else ""


def second_figure(document: Document, outcome: str) -> str:
    (block,) = [block for block in risks(document) if block.name[0].plain == outcome_name(outcome)]
    return block.figures[1][0].plain if len(block.figures) > 1 else ""


@every_eye
def test_a_reason_stands_exactly_beside_a_figure_that_differs(sheet):
    """A figure that is the usual one needs no reason, and one that is not is never left without."""
    for block in risks(sheet):
        hows = [read_figure(line[0].plain).how for line in block.figures]
        assert (block.because is not None) == (len(hows) == 2 and hows[1] != "same")


@pytest.mark.parametrize(
    ("eye", "same"),
    [("ordinary", True), ("hard, one figure", False), ("diabetes, macula ill", False), ("with drainage", None)],
)
def test_a_figure_that_comes_out_as_the_usual_one_says_so(eye, same, english_risk_sheet):
    """Macular oedema of an eye without diabetes is the usual one worked out; with it, that of diabetics (chu-2016, 4.04
    percent). With drainage no series counted such an eye, so nothing was worked out and nothing is called the same."""
    said = second_figure(english_risk_sheet(*EYES[eye]), "macular_oedema")
    expected = {True: words("risk.same"), False: "Your eye: 40 of 1,000 have this; 960 do not.", None: ""}
    assert said == expected[same]


@pytest.mark.parametrize(
    ("usual", "same"), [(0.0142, True), (0.0136, True), (0.0134, False), (0.0146, False), (0.0004, False)]
)
def test_same_is_said_of_what_is_printed_alike(usual, same, make_case, make_clinic):
    """14 of 1,000 beside 13.6 to 14.4 is the same number of people on paper; beside 13.4, 14.6 or 0.4 it is not."""
    assessment = assess(make_case(), make_clinic())
    estimate = invented_estimate(0.014, 0.014, 0.014, True, usual)
    block = risk_block(Voice(("en",), "latin"), estimate, assessment, ())
    assert (block.figures[1][0].plain == words("risk.same")) is same
    assert (block.because is None) is same


def test_same_is_not_said_of_a_figure_that_has_a_range(make_case, make_clinic):
    """14 of 1,000 that could be 10 to 20 says more than the usual 14. van der Bles 2020, doi:10.1073/pnas.1913678117"""
    assessment = assess(make_case(), make_clinic())
    block = risk_block(Voice(("en",), "latin"), invented_estimate(0.014, 0.01, 0.02, True, 0.014), assessment, ())
    assert read_figure(block.figures[1][0].plain).how == "spread"


FEW = words("risk.because-few").partition("{reasons}")[2]
"""What is added where reasons that raise a figure stand beside one that is lower than the usual."""


@pytest.mark.parametrize(
    ("eye", "few"),
    [
        ("ordinary", True),
        ("glaucoma", True),
        ("hard", False),
        ("hard, one figure", False),
        ("nothing looked for", False),
    ],
)
def test_a_figure_below_the_usual_one_with_reasons_that_raise_it_says_why(eye, few, english_risk_sheet):
    """Your age, and fewer: read alone the reason would contradict the number. Only where the whole range lies below:
    4 to 84 of 1,000 beside 14 is neither. Common practice, no source."""
    sheet = english_risk_sheet(*EYES[eye])
    said = reason(sheet, "capsule_rupture")
    assert "your age" in said
    assert said.endswith(FEW) is few
    (block,) = [block for block in risks(sheet) if block.name[0].plain == outcome_name("capsule_rupture")]
    usual, own = (read_figure(line[0].plain).numbers for line in block.figures)
    assert (max(own.get("span", own.get("count"))) < usual["count"][0]) is few


# Eye, outcome, and in whom its figure was counted; a question mark where nobody has looked yet
GROUPS = [
    ("posterior polar", "capsule_rupture", "a cataract at the very back of the lens", False),
    ("brunescent, by hand", "capsule_rupture", "a brown lens taken out by hand", False),
    ("guttata", "corneal_failure", "a weak front window of the eye", False),
    ("glaucoma", "steroid_pressure_rise", "glaucoma", False),
    ("glaucoma", "good_vision", "another disease of the eye", False),
    ("diabetes, macula ill", "macular_oedema", "diabetes", False),
    ("hard", "good_vision", "another disease of the eye", True),
    ("hard", "capsule_rupture", None, False),
    ("hard", "retinal_detachment", None, False),
    ("ordinary", "capsule_rupture", None, False),
    ("ordinary", "macular_oedema", None, False),
]


@pytest.mark.parametrize(("eye", "outcome", "group", "assumed"), GROUPS)
def test_a_figure_counted_in_a_group_names_the_group(eye, outcome, group, assumed, english_risk_sheet):
    """Whether this eye is of the group, or is taken to be of it as long as nobody has looked, is told apart."""
    said = reason(english_risk_sheet(*EYES[eye]), outcome)
    counted, unlooked = (words(f"risk.because-{name}").replace("{group}", str(group)) for name in ("group", "assumed"))
    assert (said == counted) is (group is not None and not assumed)
    assert (said == unlooked) is assumed


@pytest.mark.parametrize(
    ("glaucoma", "told"), [("open angle", "risk.because-group"), ("none", None), ("unknown", "risk.because-assumed")]
)
def test_a_group_nobody_looked_for_is_told_as_not_known(glaucoma, told, english_risk_sheet):
    """Glaucoma, one of the other diseases of the eye, not looked for: the figure of those who have one is shown, and
    not as if this eye had it. Common practice, no source."""
    said = reason(english_risk_sheet("ordinary", {"eye.glaucoma": glaucoma}), "good_vision")
    group = words("counted-group.other eye disease")
    assert said == (words(told).replace("{group}", group) if told else "")


@pytest.mark.parametrize("disease", ["eye.uveitis", "eye.epiretinal_membrane"])
def test_a_figure_raised_by_a_disease_is_not_put_down_to_the_bag(disease, english_risk_sheet):
    """Chu 2016, doi:10.1016/j.ophtha.2015.10.001: the ratios of uveitis and of a membrane raise swelling at the centre
    of sight whether the bag tears or not, so how often it tears is not how this number comes about."""
    sheet = english_risk_sheet("ordinary", {disease: "yes"})
    assert read_figure(second_figure(sheet, "macular_oedema")).numbers["count"][0] > 12
    assert reason(sheet, "macular_oedema") != words("risk.because-bag")


# Fewer than one of 1,000 with no single figure


@pytest.mark.parametrize(
    ("low", "high", "span"), [(0.0002, 0.0008, [2, 8]), (0.00001, 0.00099, [1, 9]), (0.00035, 0.00044, None)]
)
def test_a_range_below_one_is_told_with_both_ends(low, high, span, make_case, make_clinic):
    """ "About 8 of 10,000" for 2 to 8 would make the upper end the figure. van der Bles 2020,
    doi:10.1073/pnas.1913678117: a range in numbers. 3.5 to 4.4 of 10,000 prints as one number."""
    assessment = assess(make_case(), make_clinic())
    block = risk_block(Voice(("en",), "latin"), invented_estimate(high, low, high, False, 0.01), assessment, ())
    told = read_figure(block.figures[1][0].plain)
    assert told.how == ("fewer-range" if span else "fewer")
    assert told.numbers.get("span") == span
    assert block.arrays == ()
