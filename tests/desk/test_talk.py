"""The talk on the screen says what the guide says, shows no figure too early, and is kept as it happens."""

from __future__ import annotations

import re

import pytest

from consent.case import Answer, Done, LensPlace, Topic, read_case
from consent.compose import Voice, counsellor_guide
from consent.compose.document import Cue
from consent.compose.document import Question as Asked
from consent.desk.slides import talk_through
from consent.resources import package_data
from consent.review import assess, differences
from tests.desk.house import House

EXAMPLES = ("ordinary", "hard", "second-eye")


def patient_part(page: str) -> str:
    """What stands on the patient's side of the screen."""
    return page.partition('<div class="patient">')[2].partition('<aside class="counsellor"')[0]


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_line_of_the_guide_is_on_a_screen_and_nothing_else_is_said(kept_house: House, name: str) -> None:
    case = kept_house.case(name).case
    found = assess(case, kept_house.record.clinic)
    guide = counsellor_guide(found, Voice(("en",), "latin"))
    told = [
        text[0].plain
        for section in guide.sections
        if section.id != "different"
        for block in section.blocks
        if isinstance(block, Cue) and block.mark in ("say", "ask")
        for text in block.texts
    ]
    told += [block.text[0].plain for section in guide.sections for block in section.blocks if isinstance(block, Asked)]
    shown = [
        line[0].plain
        for slide in talk_through(found, ("en",), "latin").slides
        if slide.part != "different" and slide.kind != "close"
        for line in slide.lines
    ]
    assert sorted(shown) == sorted(told)


@pytest.mark.parametrize("name", EXAMPLES)
def test_what_is_different_is_told_one_thing_a_screen_and_whole(kept_house: House, name: str) -> None:
    found = assess(kept_house.case(name).case, kept_house.record.clinic)
    guide = counsellor_guide(found, Voice(("en",), "latin"))
    section = next(one for one in guide.sections if one.id == "different")
    cues = [block for block in section.blocks if isinstance(block, Cue) and block.mark == "say"]
    whole = " ".join(text[0].plain for cue in cues for text in cue.texts)
    units = [
        slide.lines[-1][0].plain
        for slide in talk_through(found, ("en",), "latin").slides
        if slide.part == "different" and not slide.pictures
    ]
    assert all(unit in whole for unit in units)
    assert sum(len(unit) for unit in units) <= len(whole)
    assert len(units) >= len(cues)


def test_personal_figures_are_not_shown_before_the_surgeon_accepted_them(house: House) -> None:
    story = house.story("ordinary")
    case = house.case("ordinary").case
    assert case.figures_accepted is None
    before = talk_through(assess(case, house.record.clinic), ("en",), "latin")
    words = [line[0].plain for slide in before.slides for line in slide.lines]
    assert any("Usual eye:" in line for line in words) and not any("Your eye:" in line for line in words)
    story.accept_figures()
    after = talk_through(assess(house.case("ordinary").case, house.record.clinic), ("en",), "latin")
    assert any("Your eye:" in line[0].plain for slide in after.slides for line in slide.lines)


def test_a_harm_that_is_frequent_in_this_eye_is_told_before_its_own_figure_is_accepted(kept_house: House) -> None:
    """GMC, Decision making and consent (2020), 23: harms a patient would want to know; until then the usual eye's."""
    hard = read_case(package_data("case") / "examples" / "hard.toml").model_copy(update={"figures_accepted": None})
    talk = talk_through(assess(hard, kept_house.record.clinic), ("en",), "latin")
    told = [slide.lines for slide in talk.slides if slide.part == "numbers" and slide.kind == "figure"]
    torn = next(lines for lines in told if "tears" in lines[0][0].plain)
    assert any("Usual eye:" in line[0].plain for line in torn)
    assert not any("Your eye:" in line[0].plain for lines in told for line in lines)


def test_people_are_drawn_for_this_eye_only_once_its_figures_are_accepted(kept_house: House) -> None:
    accepted = read_case(package_data("case") / "examples" / "hard.toml")
    waiting = accepted.model_copy(update={"figures_accepted": None})
    after, before = (
        [len(slide.pictures) for slide in talk.slides if slide.part == "numbers" and slide.kind == "figure"]
        for talk in (
            talk_through(assess(case, kept_house.record.clinic), ("en",), "latin") for case in (accepted, waiting)
        )
    )
    assert max(before) == 1 and max(after) == 2


@pytest.mark.parametrize(
    ("place", "drawn"),
    [("capsular bag", "in the bag"), ("ciliary sulcus", "in front of the bag"), ("scleral fixation", None)],
)
def test_the_new_lens_is_drawn_where_it_is_planned_or_not_at_all(
    kept_house: House, place: str, drawn: str | None
) -> None:
    case = kept_house.case("ordinary").case
    assert case.plan.lens is not None
    lens = case.plan.lens.model_copy(update={"place": LensPlace(place)})
    planned = case.model_copy(update={"plan": case.plan.model_copy(update={"lens": lens})})
    found = talk_through(assess(planned, kept_house.record.clinic), ("en",), "latin")
    second = [slide for slide in found.slides if slide.part == "wrong"][1]
    captions = [words[0].plain for _, words in second.pictures if words is not None]
    assert captions == [] if drawn is None else drawn in captions[0]


def test_notes_for_the_counsellor_are_not_on_the_patients_side(kept_house: House) -> None:
    subject = kept_house.subjects["hard"]
    browser = kept_house.browser("meera")
    talk = talk_through(assess(kept_house.case("hard").case, kept_house.record.clinic), ("bn", "en"), "locale")
    noted = [(number, slide) for number, slide in enumerate(talk.slides, start=1) if slide.notes or slide.key]
    assert noted
    for number, slide in noted:
        page = browser.get(f"/case/{subject}/talk/{number}").text
        side = re.sub(r"<[^>]+>", "", patient_part(page))
        for line in (*slide.notes, *((slide.key,) if slide.key else ())):
            for said in line:
                assert said.plain not in side, number


def test_the_patient_reads_the_own_language_and_the_counsellor_another(kept_house: House) -> None:
    subject = kept_house.subjects["hard"]
    page = kept_house.browser("meera").get(f"/case/{subject}/talk/1").text
    assert 'lang="bn"' in patient_part(page) and 'lang="en"' not in patient_part(page)
    assert 'lang="en"' in page.partition('<aside class="counsellor"')[2]


def test_asked_which_eye_the_patient_does_not_see_the_answer(kept_house: House) -> None:
    found = assess(kept_house.case("hard").case, kept_house.record.clinic)
    asked = next(
        one for one in talk_through(found, ("en",), "latin").slides if "which eye is it" in one.lines[0][0].plain
    )
    assert asked.pictures == ()


def test_said_back_asked_and_decided_are_kept_in_this_order(house: House) -> None:
    subject = house.subjects["ordinary"]
    meera = house.browser("meera")
    for topic in Topic:
        meera.post(f"/case/{subject}/said-back", {"topic": topic.value, "result": "first time", "number": "1"})
    meera.post(f"/case/{subject}/said-back", {"topic": "one risk", "result": "after explaining again", "number": "1"})
    meera.post(f"/case/{subject}/asked", {"question": "May I pray?", "answer": "Seated.", "number": "1"})
    case = house.case()
    assert {one.question: one.result.value for one in case.case.talk.said_back} == {
        **dict.fromkeys(Topic, "first time"),
        Topic.ONE_RISK: "after explaining again",
    }
    answer = meera.post(
        f"/case/{subject}/decision",
        {"seen": str(case.sequence), "outcome": "agrees", "asked": "talk.copy_given", "talk.copy_given": "yes"},
    )
    assert answer.status_code == 303
    after = house.case()
    talk = after.case.talk
    assert (after.state, talk.by, talk.outcome, talk.copy_given) == ("explained", "M. Example", "agrees", "yes")
    assert talk.told is not None and talk.told.side == after.case.plan.side and talk.told.date == after.case.plan.date
    assert [told.entry.kind for told in after.history[1:]] == ["said-back"] * 6 + ["asked", "explained"]


def test_what_was_tapped_by_mistake_is_taken_back(house: House) -> None:
    subject = house.subjects["ordinary"]
    meera = house.browser("meera")
    said = {"topic": "one risk", "number": "1"}
    meera.post(f"/case/{subject}/said-back", {**said, "result": "first time"})
    assert meera.post(f"/case/{subject}/said-back", {**said, "result": "undo"}).status_code == 303
    for question in ("May I pray?", "May I cook?"):
        meera.post(f"/case/{subject}/asked", {"question": question, "number": "1"})
    meera.post(f"/case/{subject}/asked", {"undo": "2", "number": "1"})
    meera.post(f"/case/{subject}/asked", {"undo": "2", "number": "1"})  # sent twice: takes one back, not both
    talk = house.case().case.talk
    assert talk.said_back == () and [one.question for one in talk.questions] == ["May I pray?"]


def test_what_could_not_be_said_back_stands_beside_the_decision(house: House) -> None:
    subject = house.subjects["ordinary"]
    meera = house.browser("meera")
    for topic in Topic:
        result = "not yet" if topic is Topic.ONE_RISK else "first time"
        meera.post(f"/case/{subject}/said-back", {"topic": topic.value, "result": result, "number": "1"})
    page = meera.get(f"/case/{subject}/decision").text
    assert page.count("has not said this back yet") == 1


def test_a_paper_that_is_signed_off_can_be_refused_but_not_agreed_to_again(house: House) -> None:
    signed_off(house)
    page = house.browser("meera").get(f"/case/{house.case().subject}/decision").text
    assert 'value="refuses"' in page and 'value="wants time"' in page and 'value="agrees"' not in page


def test_a_wish_for_time_and_a_no_are_kept_as_such(house: House) -> None:
    meera = house.browser("meera")
    for name, outcome, state in (("ordinary", "wants time", "wants time"), ("hard", "refuses", "declined")):
        case = house.case(name)
        form = {
            "seen": str(case.sequence),
            "outcome": outcome,
            "asked": "talk.outcome_words",
            "talk.outcome_words": "Later.",
        }
        assert meera.post(f"/case/{case.subject}/decision", form).status_code == 303
        assert house.case(name).state == state


def test_nothing_is_decided_by_a_form_that_says_nothing(house: House) -> None:
    case = house.case()
    answer = house.browser("meera").post(f"/case/{case.subject}/decision", {"seen": str(case.sequence)})
    assert answer.status_code == 422 and house.case().state == "draft"


def signed_off(house: House) -> str:
    from tests.record.story import IST

    story = house.story()
    story.explain(house.record.clock().astimezone(IST))
    story.answer_all()
    story.sign_off()
    papers = house.case().sealed("consent")
    assert papers is not None
    return papers.code


def test_the_patient_signs_the_paper_that_holds_before_a_witness(house: House) -> None:
    code = signed_off(house)
    case = house.case()
    meera = house.browser("meera")
    form = {"seen": str(case.sequence), "by": case.case.patient.name, "how": "thumb impression", "code": code}
    first, *others = case.case.plan.extra_steps
    form |= {f"step.{step}": "yes" for step in others}
    left = meera.post(f"/case/{case.subject}/consented", {**form, "witness": "W. Neighbour"})
    assert left.status_code == 422 and "Some extra steps have neither yes nor no." in left.text
    form |= {f"step.{first}": "no"}
    refused = meera.post(f"/case/{case.subject}/consented", form)
    assert (
        refused.status_code == 409 and "has it read out before an impartial witness. Name the witness" in refused.text
    )
    assert 'class="wrong">' in refused.text and 'aria-describedby="witness-fault witness-help"' in refused.text
    refused = meera.post(f"/case/{case.subject}/consented", {**form, "witness": "W. Neighbour", "by": "her son"})
    assert refused.status_code == 409 and 'value="her son"' in refused.text
    assert house.case().state == "signed off"
    assert meera.post(f"/case/{case.subject}/consented", {**form, "witness": "W. Neighbour"}).status_code == 303
    assert house.case().state == "consented"
    assert (house.case().case.agreed_steps, house.case().case.talk.steps_refused) == (tuple(others), (first,))
    assert house.case().sealed("consent") is not None, "ticks alter no word of the paper"


def test_a_step_that_was_refused_on_the_form_was_not_agreed(house: House) -> None:
    """WHO surgical checklist, Montgomery v Lanarkshire 2015: what was refused is told before, and told after."""
    signed_off(house)
    house.story().consent()
    case = house.case().case
    taken = case.plan.extra_steps[0]
    talk = case.talk.model_copy(update={"steps_answered": Answer.YES, "steps_refused": (taken,)})
    done = Done(side=case.eye.side, lens=case.plan.lens, steps=(taken,))
    after = case.model_copy(update={"talk": talk, "done": done})
    (difference,) = [one for one in differences(after) if one.told.id == "fact.step-taken"]
    assert not difference.agreed
    (difference,) = [
        one for one in differences(case.model_copy(update={"done": done})) if one.told.id == "fact.step-taken"
    ]
    assert difference.agreed


def test_a_patient_who_cannot_write_does_not_sign_by_a_slip(house: House) -> None:
    house.story().enter(house.staff.counsellor, "changed", {"patient.writes_name": "no"})
    code = signed_off(house)
    case, meera = house.case(), house.browser("meera")
    form = {"seen": str(case.sequence), "by": case.case.patient.name, "how": "signature", "code": code}
    form |= {"witness": "W. Neighbour", **{f"step.{step}": "yes" for step in case.case.plan.extra_steps}}
    asked = meera.post(f"/case/{case.subject}/consented", form)
    assert asked.status_code == 422 and "cannot write their own name" in asked.text
    assert meera.post(f"/case/{case.subject}/consented", {**form, "sure": "yes"}).status_code == 303


def test_a_mind_may_change_after_signing(house: House) -> None:
    signed_off(house)
    house.story().consent()
    case = house.case()
    meera = house.browser("meera")
    assert 'name="outcome"' not in meera.get(f"/case/{case.subject}/decision").text
    nothing = meera.post(f"/case/{case.subject}/mind", {"seen": str(case.sequence), "reason": ""})
    assert nothing.status_code == 409
    assert "They do not want it any more" in nothing.text
    meera.post(f"/case/{case.subject}/mind", {"seen": str(case.sequence), "reason": "Not now, my son is away."})
    assert (house.case().state, house.case().sealed("consent")) == ("withdrawn", None)


def test_the_counsellor_of_a_closed_case_changes_nothing_of_the_talk(house: House) -> None:
    signed_off(house)
    case = house.case()
    answer = house.browser("meera").post(
        f"/case/{case.subject}/said-back", {"topic": "one risk", "result": "not yet", "number": "1"}
    )
    assert answer.status_code == 409 and house.case().sequence == case.sequence


def slide_of(house: House, step: str) -> tuple[int, str]:
    """Number and page of the screen of one extra step."""
    from consent.desk.refused import refused_steps

    case = house.case()
    talk = talk_through(assess(case.case, house.record.clinic), ("en",), "latin", refused_steps(case))
    number = next(place for place, slide in enumerate(talk.slides, start=1) if slide.step == step)
    return number, house.browser("meera").get(f"/case/{case.subject}/talk/{number}").text


def test_a_step_that_the_patient_does_not_want_leaves_the_form_and_can_be_taken_back(house: House) -> None:
    """Montgomery [2015] UKSC 11: each step is the patient's to decide; what was refused is not agreed to."""
    meera, before = house.browser("meera"), house.case().case.plan.extra_steps
    place, asked = slide_of(house, "stitch")
    assert "stitch" in before and "A yes needs nothing here" in asked
    answer = meera.post(f"/case/{house.case().subject}/step", {"step": "stitch", "result": "no"})
    number, page = slide_of(house, "stitch")
    assert number == place and answer.headers["location"].endswith(f"/talk/{number}")
    assert "Ask the surgeon what that would mean" in page
    case = house.case()
    assert "stitch" not in case.case.plan.extra_steps
    assert (case.history[-1].entry.kind, dict(case.history[-1].details)) == (
        "changed",
        {"the patient does not want": "stitch"},
    )
    assert "Steps the patient does not want" in meera.get(f"/case/{case.subject}/decision").text
    meera.post(f"/case/{case.subject}/step", {"step": "stitch", "result": "undo"})
    assert house.case().case.plan.extra_steps == before and "A yes needs nothing here" in slide_of(house, "stitch")[1]


def test_no_step_is_taken_off_a_paper_that_is_signed_off(house: House) -> None:
    signed_off(house)
    case = house.case()
    answer = house.browser("meera").post(f"/case/{case.subject}/step", {"step": "stitch", "result": "no"})
    assert answer.status_code == 404 and house.case().sequence == case.sequence


def test_what_the_patient_answers_at_the_greeting_is_kept(house: House) -> None:
    case, meera = house.case(), house.browser("meera")
    for asks, form in (
        (("patient.detail_wanted",), {"patient.detail_wanted": "full"}),
        (("patient.what_matters", "patient.what_matters_in_own_words"), {
            "patient.what_matters": "prayer", "patient.what_matters_in_own_words": "To see the lamp."}),
    ):  # fmt: skip
        talk = talk_through(assess(case.case, house.record.clinic), ("en",), "latin")
        number = next(place for place, slide in enumerate(talk.slides, start=1) if slide.asks == asks)
        assert f'name="{asks[0]}"' in meera.get(f"/case/{case.subject}/talk/{number}").text
        answer = meera.post(f"/case/{case.subject}/talk/{number}/answer", {"asked": list(asks), **form})
        assert answer.headers["location"].endswith(f"/talk/{number + 1}")
    patient = house.case().case.patient
    assert (patient.detail_wanted, patient.what_matters) == ("full", ("prayer",))
    assert patient.what_matters_in_own_words == "To see the lamp."


def test_words_typed_beside_a_question_are_never_thrown_away(house: House) -> None:
    case, meera = house.case(), house.browser("meera")
    talk = talk_through(assess(case.case, house.record.clinic), ("en",), "latin")
    number = next(place for place, slide in enumerate(talk.slides, start=1) if slide.topic is Topic.ONE_RISK)
    on = f"/case/{case.subject}/said-back/{number}/on"
    assert "Not asked: go on" in meera.get(f"/case/{case.subject}/talk/{number}").text
    kept = meera.post(on, {"words": "It may tear."})
    assert kept.status_code == 422 and "It may tear." in kept.text and house.case().case.talk.said_back == ()
    assert meera.post(on, {"words": ""}).headers["location"].endswith(f"/talk/{number + 1}")
    said = {"topic": "one risk", "result": "first time", "number": str(number), "words": "It may tear."}
    meera.post(f"/case/{case.subject}/said-back", said)
    meera.post(on, {"words": "The bag may tear."})
    assert [(one.result, one.words) for one in house.case().case.talk.said_back] == [
        ("first time", "The bag may tear.")
    ]


def test_a_yes_that_would_stop_at_the_signing_is_asked_about_first(house: House) -> None:
    """A patient who cannot read, and no witness named."""
    house.story().enter(house.staff.counsellor, "changed", {"patient.reads": "no"})
    case, meera = house.case(), house.browser("meera")
    form = {"seen": str(case.sequence), "outcome": "agrees", "asked": "talk.witness", "talk.witness": ""}
    asked = meera.post(f"/case/{case.subject}/decision", form)
    assert asked.status_code == 422 and house.case().state == "draft"
    assert "this will stop the signing" in asked.text and 'name="without"' in asked.text
    assert re.search(r'class="field [^"]*wrong" data-field="talk.witness"', asked.text)
    assert meera.post(f"/case/{case.subject}/decision", {**form, "without": "yes"}).status_code == 303
    assert house.case().state == "explained"
