"""The surgeon's pages: what needs an eye comes first, nothing is signed that the record would refuse, every number has
its chain, and what was done is never answered before somebody answers it."""

from __future__ import annotations

import datetime as dt
import re
from html import unescape
from typing import Any

from consent.compose.chain import chain_of
from consent.desk.screens import screens
from consent.desk.settling import settled_points
from consent.drops.grounds import read_checks
from consent.record.state import CaseState
from consent.review import Severity, assess
from consent.review.point import rules
from consent.risk import has_lapsed, may_show_personal
from tests.desk.house import House
from tests.record.clock import TestClock
from tests.record.story import IST, PASSWORDS


def explained(house: House, name: str = "ordinary") -> CaseState:
    story = house.story(name)
    story.explain(house.record.clock().astimezone(IST) - dt.timedelta(minutes=9))
    return house.case(name)


def ready(house: House) -> CaseState:
    """The ordinary case, explained, every ask answered."""
    explained(house)
    house.story().answer_all()
    return house.case()


def confirmed(house: House) -> CaseState:
    ready(house)
    story = house.story()
    story.sign_off()
    story.consent()
    story.confirm(house.record.clock().astimezone(IST))
    return house.case()


def waiting(house: House, name: str) -> list[Any]:
    points = assess(house.case(name).case, house.record.clinic).points
    return [point for point in points if point.severity is not Severity.NOTE and point.open]


def kinds(case: CaseState) -> list[str]:
    return [told.entry.kind for told in case.history]


def text_of(page: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", page)).split())


# The list.


def test_stops_come_before_asks_and_review_before_drafts_and_empty_groups_are_not_shown(house: House) -> None:
    explained(house, "ordinary")
    explained(house, "hard")
    page = house.browser("asha").get("/surgeon").text
    places = [page.index(name) for name in ("Haradhan Example", "Shanti Example", "Kamla Example")]
    assert places == sorted(places)
    assert page.index("Waiting for your review") < page.index("Not ready for review yet")
    assert "Operations today" not in page and "After surgery" not in page


def test_the_list_says_what_nobody_has_looked_for(house: House) -> None:
    explained(house, "hard")
    row = text_of(house.browser("asha").get("/surgeon").text)
    assert "NOT KNOWN: pseudoexfoliation or phacodonesis" in row


def test_a_case_that_cannot_be_worked_out_is_listed_first_and_hides_no_other(house: House) -> None:
    explained(house, "hard")
    house.story().enter(house.staff.counsellor, "changed", {"plan.regimen": "no-such-drops"})
    page = house.browser("asha").get("/surgeon").text
    assert page.index("Cannot be worked out") < page.index("Haradhan Example")
    assert "no-such-drops" in page


# The review.


def test_void_papers_and_what_made_them_void_stand_at_the_head(house: House) -> None:
    ready(house)
    house.story().sign_off()
    house.story().enter(house.staff.counsellor, "changed", {"plan.lens.power_d": 23.0})
    page = text_of(house.browser("asha").get(f"/case/{house.case().subject}/review").text)
    assert "The signed papers of version 1 are VOID" in page
    assert re.search(r"was 21\.5\b.*?, now 23\b", page)


def test_one_sitting_is_one_look_and_what_others_entered_since_is_shown(day: House, clock: TestClock) -> None:
    case = explained(day)
    path = f"/case/{case.subject}/review"
    for _ in range(2):
        assert day.browser("asha").get(path).status_code == 200
    assert kinds(day.case()).count("looked-at") == 1
    clock.advance(hours=1)
    day.browsers.clear()
    day.story().enter(day.staff.counsellor, "asked", {"talk.questions": [{"question": "Will I drive?"}]})
    page = text_of(day.browser("asha").get(path).text)
    assert "Entered by others since you looked" in page
    assert "The patient asked" in page and "Will I drive?" in page


def test_every_answer_written_is_recorded_in_one_entry_by_its_key(house: House) -> None:
    case = explained(house, "hard")
    asks = [point for point in waiting(house, "hard") if point.severity is Severity.ASK][:2]
    form = {f"why.{point.key}": f"Looked at in this eye, {place}." for place, point in enumerate(asks)}
    answer = house.browser("asha").post(f"/case/{case.subject}/answer", {**form, "seen": case.sequence})
    assert answer.status_code == 303
    after = house.case("hard")
    assert kinds(after)[-1] == "answered"
    assert {(one.point, one.key, one.by) for one in after.case.answers} == {
        (point.id, point.key, "Dr Asha Invented") for point in asks
    }


def test_an_answer_to_facts_that_changed_is_not_recorded_and_not_lost(house: House) -> None:
    case = explained(house, "hard")
    typed = "A long reason, thought over."
    page = house.browser("asha").post(
        f"/case/{case.subject}/answer", {"why.00000000": typed, "seen": case.sequence}
    )  # fmt: skip
    assert page.status_code == 409
    assert "has changed meanwhile" in page.text and typed in page.text
    assert "answered" not in kinds(house.case("hard"))


def test_what_two_surgeons_answer_at_once_is_refused_and_what_was_typed_stays(house: House) -> None:
    case = explained(house, "hard")
    first, second = [point for point in waiting(house, "hard") if point.severity is Severity.ASK][:2]
    asha = house.browser("asha")
    asha.post(f"/case/{case.subject}/answer", {f"why.{first.key}": "The first reason.", "seen": case.sequence})
    page = asha.post(f"/case/{case.subject}/answer", {f"why.{second.key}": "The second reason.", "seen": case.sequence})
    assert page.status_code == 409
    assert "The second reason." in page.text
    assert len(house.case("hard").case.answers) == 1


def test_nothing_is_signed_while_something_stands_in_the_way(house: House) -> None:
    case = explained(house, "hard")
    browser = house.browser("asha")
    assert 'name="password"' not in browser.get(f"/case/{case.subject}/review").text
    form = {"password": PASSWORDS["asha"], "seen": house.case("hard").sequence}
    page = browser.post(f"/case/{case.subject}/sign-off", form)
    assert page.status_code == 409
    assert "Nothing was signed" in page.text
    assert "signed-off" not in kinds(house.case("hard"))


def test_a_signature_needs_the_password_again(house: House) -> None:
    # 21 CFR 11.200(a): two parts to a signature.
    case = ready(house)
    browser = house.browser("asha")
    path = f"/case/{case.subject}/sign-off"
    assert browser.post(path, {"seen": house.case().sequence}).status_code == 422
    wrong = browser.post(path, {"password": "not my own password", "seen": house.case().sequence})
    assert wrong.status_code == 422 and "Wrong password. Nothing was signed." in text_of(wrong.text)
    assert not wrong.headers.get("location")
    assert "signed-off" not in kinds(house.case())
    right = browser.post(path, {"password": PASSWORDS["asha"], "seen": house.case().sequence})
    assert browser.get(right.headers["location"]).headers["location"] == f"/case/{case.subject}/review"
    assert house.case().state == "signed off"


def test_a_signature_rests_on_what_was_seen(house: House) -> None:
    case = ready(house)
    house.story().enter(house.staff.counsellor, "changed", {"patient.telephone": "00000 12345"})
    browser = house.browser("asha")
    sent = browser.post(
        f"/case/{case.subject}/sign-off", {"password": PASSWORDS["asha"], "seen": case.sequence}
    )  # fmt: skip
    page = browser.get(sent.headers["location"])
    assert page.status_code == 409
    assert house.case().state == "explained"


def test_figures_are_accepted_and_a_case_sent_back_with_a_reason(house: House) -> None:
    case = explained(house)
    browser = house.browser("asha")
    browser.post(f"/case/{case.subject}/accept-figures", {"seen": case.sequence})
    accepted = house.case().case.figures_accepted
    assert accepted is not None and accepted.by == "Dr Asha Invented"
    assert "Tell the patient the new number" in browser.get(f"/case/{case.subject}/review").text
    form = {"reason": "", "seen": house.case().sequence}
    assert browser.post(f"/case/{case.subject}/send-back", form).status_code == 422
    browser.post(f"/case/{case.subject}/send-back", {**form, "reason": "The pupil was not measured."})
    assert house.case().state == "sent back"
    assert house.case().history[-1].details["reason"] == "The pupil was not measured."


def _patient_sees(house: House) -> bool:
    """Whether this eye's own figure reaches the patient."""
    assessment = assess(house.case().case, house.record.clinic)
    rupture = assessment.risks["capsule_rupture"]
    return may_show_personal(rupture, assessment.case, house.record.clinic).allowed


def test_figures_accepted_are_those_that_were_seen(house: House) -> None:
    """Whoever accepts on a page with older facts accepts what stood there, and the patient is told nothing else."""
    case = explained(house)
    house.story().enter(house.staff.counsellor, "changed", {"eye.pseudoexfoliation": "yes"})
    browser = house.browser("asha")
    assert browser.post(f"/case/{case.subject}/accept-figures", {"seen": case.sequence}).status_code == 303
    assert house.case().case.figures_accepted is not None and not _patient_sees(house)
    page = browser.get(f"/case/{case.subject}/review").text
    assert "A number of this eye is another one since" in page and "/accept-figures" in page
    browser.post(f"/case/{case.subject}/accept-figures", {"seen": house.case().sequence})
    assert _patient_sees(house)
    assert "A number of this eye is another one since" not in browser.get(f"/case/{case.subject}/review").text


def test_figures_that_change_after_they_were_accepted_are_accepted_anew(house: House) -> None:
    case = explained(house)
    house.story().accept_figures()
    assert _patient_sees(house)
    house.story().enter(house.staff.counsellor, "changed", {"patient.telephone": "00000 99999"})
    assert _patient_sees(house), "a telephone is no figure"
    house.story().enter(house.staff.counsellor, "changed", {"eye.pseudoexfoliation": "yes"})
    assert not _patient_sees(house)
    assert "Not accepted by the surgeon yet" in house.browser("meera").get(f"/case/{case.subject}").text


def test_what_was_accepted_still_holds_once_the_eye_is_operated(day: House) -> None:
    house = day
    explained(house)
    house.story().accept_figures()
    house.story().answer_all()
    house.story().sign_off()
    house.story().consent()
    house.story().confirm(house.record.clock().astimezone(IST))
    house.story().operate()
    assessment = assess(house.case().case, house.record.clinic)
    assert assessment.case.done is not None and not has_lapsed(assessment.risks.values(), assessment.case)


def test_every_number_has_its_chain_with_every_step_and_source(kept_house: House) -> None:
    case = kept_house.case("hard")
    assessment = assess(case.case, kept_house.record.clinic)
    browser = kept_house.browser("asha")
    for outcome in assessment.risks:
        chain = chain_of(outcome, assessment.risks.values(), case.case, assessment.clinic)
        page = text_of(browser.get(f"/case/{case.subject}/figure/{outcome}").text)
        for step in chain.steps:
            assert " ".join(step.text.split()) in page, (outcome, step.text)
        for source, _ in chain.sources:
            assert " ".join(source.citation.split()) in page, (outcome, source.reference)


# Drops.


def test_what_a_choice_would_raise_is_shown_before_it_is_ordered(house: House) -> None:
    case = explained(house, "hard")
    browser = house.browser("asha")
    path, form = f"/case/{case.subject}/regimen", {"regimen": "diabetes-nsaid", "seen": case.sequence}
    first = browser.post(path, form)
    assert first.status_code == 200
    assert "Diabetes and NSAID drops" in first.text and "Before you order this" in first.text
    assert house.case("hard").case.plan.regimen == case.case.plan.regimen
    assert browser.post(path, {**form, "sure": "diabetes-nsaid"}).status_code == 303
    assert house.case("hard").case.plan.regimen == "diabetes-nsaid"


def test_after_surgery_other_drops_take_the_place_of_the_planned_ones_while_nothing_went_home(day: House) -> None:
    """Nobody has the first bottles yet: there is nothing to throw away, and no day from which it changes."""
    case = confirmed(day)
    day.story().operate(capsule_torn="yes", as_planned="no")
    browser = day.browser("asha")
    path, form = f"/case/{case.subject}/regimen", {"regimen": "two-weeks-flat", "seen": day.case().sequence}
    assert 'name="on"' not in browser.get(path).text
    answer = browser.post(path, form | {"sure": "two-weeks-flat"})
    assert answer.status_code == 303, text_of(answer.text)
    now = day.case()
    assert now.case.done is not None and now.case.done.regimen == "two-weeks-flat" and not now.case.drop_changes
    assert now.history[-1].entry.kind == "drops-changed"


def test_once_papers_went_home_other_drops_begin_on_a_day_with_a_reason(day: House, clock: TestClock) -> None:
    case = confirmed(day)
    day.story().operate()
    clock.advance(days=1)
    day.story().answer_all()
    day.story().issue_aftercare()
    browser = day.browser("asha")
    path, form = f"/case/{case.subject}/regimen", {"regimen": "two-weeks-flat", "seen": day.case().sequence}
    assert browser.post(path, form).status_code == 422
    form |= {"on": "2027-02-24", "why": "Pressure rose.", "sure": "two-weeks-flat"}
    early = browser.post(path, form)
    assert early.status_code == 422 and "The first day that can be chosen is Thursday, 25 February 2027." in early.text
    assert browser.post(path, form | {"on": "2027-02-26"}).status_code == 303
    change = day.case().case.drop_changes[-1]
    assert (change.on, change.regimen, change.by) == (dt.date(2027, 2, 26), "two-weeks-flat", "Dr Asha Invented")
    ordered = text_of(browser.get(f"/case/{case.subject}/review").text).partition("Ordered: ")[2]
    assert ordered.startswith("Combination one week, dexamethasone alone one more")


def test_after_a_torn_capsule_what_is_made_for_it_comes_first(day: House) -> None:
    """A hard nucleus has a regimen of its own; what happened in the operation counts for more than what was known."""
    confirmed(day)
    day.story().operate(capsule_torn="yes", as_planned="no")
    assessment = assess(day.case().case, day.record.clinic)
    assert assessment.proposal.chosen == "after-torn-capsule"


def test_why_a_case_came_back_stands_where_it_is_worked_on(house: House) -> None:
    case = explained(house)
    reason = "The pupil was not measured."
    form = {"reason": reason, "seen": house.case().sequence}
    house.browser("asha").post(f"/case/{case.subject}/send-back", form)
    meera = house.browser("meera")
    listed = text_of(meera.get("/cases").text)
    assert "Sent back by the surgeon Shanti Example" in listed
    for path in ("", "/talk", "/decision", "/enter/front"):
        page = text_of(meera.get(f"/case/{case.subject}{path}").text)
        assert reason in page and "Dr Asha Invented has sent it back" in page, path
    house.story().explain(house.record.clock().astimezone(IST) - dt.timedelta(minutes=2))
    assert reason not in text_of(meera.get(f"/case/{case.subject}").text)


def test_new_numbers_are_told_before_the_signature(house: House) -> None:
    case = ready(house)
    house.story().accept_figures()
    house.story().sign_off()
    meera = house.browser("meera")
    for path in ("", "/consented"):
        page = meera.get(f"/case/{case.subject}{path}").text
        assert "Tell the patient the new number" in page and f"/case/{case.subject}/talk/numbers" in page
    numbers = meera.get(f"/case/{case.subject}/talk/numbers")
    assert numbers.status_code == 303
    assert "good sight" in text_of(meera.get(numbers.headers["location"]).text).lower()
    house.story().consent()
    assert "Tell the patient the new number" not in meera.get(f"/case/{case.subject}").text


def test_answers_that_were_typed_stay_when_the_figures_are_accepted(house: House) -> None:
    case = explained(house, "hard")
    (key, *_) = [point.key for point in waiting(house, "hard")]
    browser = house.browser("asha")
    form = {"seen": case.sequence, f"why.{key}": "Seen with the patient today."}
    page = browser.post(f"/case/{case.subject}/accept-figures", form)
    assert page.status_code == 200 and "Seen with the patient today." in page.text
    assert house.case("hard").case.figures_accepted is not None and not house.case("hard").case.answers


def test_the_head_shows_the_lens_that_is_in_the_eye(day: House) -> None:
    case = confirmed(day)
    planned = case.case.plan.fallback_lenses[0]
    assert planned.power_d is not None
    lens = planned.model_dump(mode="json", exclude_none=True)
    day.story().operate(lens=lens, as_planned="no")
    page = text_of(day.browser("asha").get(f"/case/{case.subject}/aftercare").text)
    head = page.partition("Record number")[2][:400]
    assert f"{planned.power_d:g} D" in head and "21.5 D" not in head


# The day.

_NO = dict.fromkeys(
    ("condition_changed", "plan_changed", "surgeon_changed", "information_changed", "too_long_ago", "mind_changed"),
    "no",
)


def test_what_was_not_asked_is_not_confirmed(day: House, clock: TestClock) -> None:
    ready(day)
    story = day.story()
    story.sign_off()
    story.consent()
    clock.advance(minutes=1)
    tara = day.browser("tara")
    path, seen = f"/case/{day.case().subject}/confirm", day.case().sequence
    form = {**_NO, "still_wishes": "yes", "plan_changed": "", "seen": seen, "decision": "confirmed"}
    page = tara.post(path, form)
    assert page.status_code == 409
    assert re.search(r'name="condition_changed" value="no" checked', page.text)
    assert day.case().state == "consented"
    assert tara.post(path, {**form, "plan_changed": "no"}).status_code == 303
    second = day.case().case.confirmation
    assert day.case().state == "confirmed" and second is not None and second.by == "T. Example"


def test_not_confirmed_voids_the_papers_and_needs_a_reason(day: House) -> None:
    case = confirmed(day)
    tara = day.browser("tara")
    path, form = f"/case/{case.subject}/confirm", {"decision": "not", "seen": case.sequence}
    assert tara.post(path, form).status_code == 409
    tara.post(path, {**form, "reason": "A stye on the lid."})
    assert day.case().state == "draft"
    assert day.case().sealed("consent") is None


# After surgery.

_AS_PLANNED = {
    "asked": [
        "done.side", "done.operation", "done.by", "done.capsule_torn", "done.vitreous_lost", "done.piece_retained",
        "done.steps", "done.as_planned", "done.told.by", "done.told.at",
    ],
    "done.side": "left",
    "done.operation": "phacoemulsification",
    "done.by": "Dr Asha Invented",
    "done.capsule_torn": "no",
    "done.vitreous_lost": "no",
    "done.piece_retained": "no",
    "lens": "planned",
    "no-step": "yes",
    "done.as_planned": "yes",
}  # fmt: skip


def record(day: House, form: dict[str, Any]) -> Any:
    """Send the page after surgery, look at the differences, and record."""
    browser = day.browser("asha")
    path = f"/case/{day.case().subject}/done"
    look = browser.post(path, {**form, "seen": day.case().sequence})
    checked = re.search(r'name="checked" value="(\w+)"', look.text)
    assert checked is not None, text_of(look.text)
    return look, browser.post(path, {**form, "checked": checked[1], "seen": day.case().sequence})


def test_nothing_that_was_found_is_answered_beforehand(day: House) -> None:
    case = confirmed(day)
    page = day.browser("asha").get(f"/case/{case.subject}/done").text
    for name in ("done.side", "done.capsule_torn", "done.vitreous_lost", "done.piece_retained", "lens", "done.steps"):
        boxes = re.findall(rf'<input[^>]*name="{re.escape(name)}"[^>]*>', page)
        assert boxes and not any("checked" in box for box in boxes), name
    assert re.search(r'value="phacoemulsification" checked', page)


def test_what_is_left_open_is_named_and_nothing_is_recorded(day: House) -> None:
    case = confirmed(day)
    form = {key: value for key, value in _AS_PLANNED.items() if key not in ("done.vitreous_lost", "lens", "no-step")}
    page = day.browser("asha").post(f"/case/{case.subject}/done", {**form, "seen": case.sequence})
    assert page.status_code == 422
    assert "3 questions are not answered" in page.text
    assert day.case().state == "confirmed"


def test_as_planned_is_recorded_as_it_was_looked_at(day: House) -> None:
    confirmed(day)
    look, sent = record(day, _AS_PLANNED)
    assert "All was done as planned" in look.text
    assert sent.status_code == 303
    done = day.case().case.done
    assert day.case().state == "done" and done is not None
    assert done.lens == day.case().case.plan.lens and done.operation is None
    assert (done.capsule_torn, done.no_lens, done.steps) == ("no", "no", ())


def test_differences_are_shown_before_they_are_recorded_and_the_other_eye_loudly(day: House) -> None:
    confirmed(day)
    form = {**_AS_PLANNED, "done.side": "right", "done.capsule_torn": "yes", "done.steps": ["pupil device"]}
    form |= {"no-step": "", "done.as_planned": "no", "lens": "fallback-0"}
    browser = day.browser("asha")
    look = browser.post(f"/case/{day.case().subject}/done", {**form, "seen": day.case().sequence})
    said = text_of(look.text)
    assert "You wrote the RIGHT eye. Agreed was the LEFT eye." in said
    assert "capsule torn" in said and "yes or no is on the paper" in said and "not agreed beforehand" in said
    assert "Not entered who told the patient" in said
    assert day.case().state == "confirmed"


def test_what_was_altered_after_the_look_is_looked_at_again(day: House) -> None:
    confirmed(day)
    browser = day.browser("asha")
    path = f"/case/{day.case().subject}/done"
    look = browser.post(path, {**_AS_PLANNED, "seen": day.case().sequence})
    checked = re.findall(r'name="checked" value="(\w+)"', look.text)[0]
    again = browser.post(path, {**_AS_PLANNED, "done.capsule_torn": "yes", "checked": checked})
    assert again.status_code == 200 and "capsule torn" in text_of(again.text)
    assert day.case().state == "confirmed"


def test_an_eye_operated_out_of_order_needs_reason_and_password(day: House) -> None:
    case = ready(day)
    _, without = record(day, _AS_PLANNED)
    assert without.status_code in (403, 409) and 'name="password"' in without.text
    assert day.case().state == "explained"
    _, sent = record(day, {**_AS_PLANNED, "reason": "The tablet was off.", "password": PASSWORDS["asha"]})
    assert sent.status_code == 303
    assert kinds(day.case())[-1] == "done-out-of-order" and day.case().subject == case.subject


def test_the_first_morning_then_the_papers_for_home_then_the_end(day: House, clock: TestClock) -> None:
    confirmed(day)
    record(day, _AS_PLANNED)
    day.story().answer_all()
    clock.advance(hours=20)
    day.browsers.clear()
    browser, subject = day.browser("asha"), day.case().subject
    assert "Papers for home not signed" in browser.get("/surgeon").text
    form = {"asked": ["day1.pressure_mmhg"], "day1.pressure_mmhg": "18", "seen": day.case().sequence}
    assert browser.post(f"/case/{subject}/first-day", form).status_code == 303
    day.story().answer_all()
    early = browser.post(f"/case/{subject}/close", {"seen": day.case().sequence})
    assert early.status_code == 409 and day.case().state == "done"
    sent = browser.post(f"/case/{subject}/aftercare", {"password": PASSWORDS["asha"], "seen": day.case().sequence})
    assert browser.get(sent.headers["location"]).status_code == 303
    assert day.case().sealed("aftercare") is not None
    strip = text_of(browser.get(f"/case/{subject}/review").text)
    assert "Next visit:" in strip
    ahead = browser.post(f"/case/{subject}/close", {"seen": day.case().sequence})
    assert ahead.status_code == 409 and "Visits lie ahead" in ahead.text
    sent = browser.post(f"/case/{subject}/close", {"seen": day.case().sequence, "sure": "yes"})
    assert sent.status_code == 303
    assert day.case().state == "closed"


def test_differences_are_told_while_the_page_is_filled_and_nothing_is_recorded(day: House) -> None:
    case = confirmed(day)
    browser, path = day.browser("asha"), f"/case/{case.subject}/done/differences"
    half = {"asked": ["done.side", "done.capsule_torn"], "done.side": "right", "done.capsule_torn": "yes"}
    said = text_of(browser.post(path, {**half, "seen": case.sequence}, script=True).text)
    assert "You wrote the RIGHT eye" in said and "capsule torn" in said
    alike = {"asked": ["done.side"], "done.side": "left", "seen": case.sequence}
    assert text_of(browser.post(path, alike, script=True).text) == ""
    assert day.case().sequence == case.sequence


def test_who_told_the_patient_can_be_added_after_surgery(day: House, clock: TestClock) -> None:
    confirmed(day)
    record(day, {**_AS_PLANNED, "done.capsule_torn": "yes", "done.as_planned": "no"})
    browser, subject = day.browser("asha"), day.case().subject
    assert "Not written down that the patient was told" in browser.get(f"/case/{subject}/review").text
    at = (day.record.clock().astimezone(IST) - dt.timedelta(minutes=2)).strftime("%Y-%m-%dT%H:%M")
    form = {"asked": ["done.told.by", "done.told.at"], "done.told.by": "Dr Asha Invented", "done.told.at": at}
    assert browser.post(f"/case/{subject}/first-day", {**form, "seen": day.case().sequence}).status_code == 303
    done = day.case().case.done
    assert done is not None and done.told is not None and done.capsule_torn == "yes" and done.lens is not None
    assert "Not written down that the patient was told" not in browser.get(f"/case/{subject}/review").text


def test_what_nobody_can_tell_is_never_shown_as_planned(day: House) -> None:
    confirmed(day)
    browser, path = day.browser("asha"), f"/case/{day.case().subject}/done"
    unknown = browser.post(path, {**_AS_PLANNED, "done.vitreous_lost": "unknown", "seen": day.case().sequence})
    said = text_of(unknown.text)
    assert "All was done as planned" not in said
    assert "Not known : Vitreous was lost" in said and "The other answers say something else" in said
    other = browser.post(path, {**_AS_PLANNED, "done.as_planned": "no", "seen": day.case().sequence})
    assert "say what it was" in other.text and "All was done as planned" not in other.text


def test_a_stop_that_was_overridden_stays_a_stop_in_view(house: House) -> None:
    case = explained(house, "hard")
    stop = next(point for point in waiting(house, "hard") if point.severity is Severity.STOP)
    browser = house.browser("asha")
    path = f"/case/{case.subject}/answer"
    form = {f"why.{stop.key}": "ok", f"take-on.{stop.key}": "yes", "seen": case.sequence}
    assert "Write a full sentence why" in browser.post(path, form).text
    form = {f"why.{stop.key}": "Her son reads it to her.", "seen": case.sequence}
    assert "Tick that you take this on yourself" in unescape(browser.post(path, form).text)
    assert "answered" not in kinds(house.case("hard"))
    assert browser.post(path, {**form, f"take-on.{stop.key}": "yes"}).status_code == 303
    page = browser.get(f"/case/{case.subject}/review").text
    card = page[page.index(f'id="point-{stop.key}"') :].partition("</li>\n<li")[0]
    assert "STOP" in card and "Overridden, still a stop" in card and "Her son reads it to her." in card
    assert "1 stop overridden" in text_of(page)
    assert page.index(f'id="point-{stop.key}"') < page.index('<details class="fold"')


def test_an_overridden_stop_stands_beside_the_signature(house: House) -> None:
    case = explained(house, "hard")
    browser, path = house.browser("asha"), f"/case/{case.subject}/answer"
    for _ in range(4):
        if not (open_points := waiting(house, "hard")):
            break
        keys = [point.key for point in open_points if point.overridable]
        form = {f"why.{key}": "Looked at and accepted for this patient." for key in keys}
        form |= {f"take-on.{key}": "yes" for key in keys}
        browser.post(path, {**form, "seen": str(house.case("hard").sequence)})
    said = text_of(browser.get(f"/case/{case.subject}/review").text)
    assert "overridden" in said
    assert "Nothing stands in the way" not in said and "No stop or question is open" not in said


def test_drops_that_nobody_ordered_are_put_forward_only(house: House) -> None:
    explained(house, "hard")
    house.story("hard").enter(house.staff.counsellor, "changed", {"plan.regimen": None})
    page = house.browser("asha").get(f"/case/{house.case('hard').subject}/review").text
    said = text_of(page)
    assert "Put forward, not ordered yet:" in said and "Ordered:" not in said
    assert f'href="/case/{house.case("hard").subject}/regimen">Put it right: choose the drops' in page


def test_after_a_tear_the_drops_are_to_be_chosen_again(day: House) -> None:
    confirmed(day)
    look, _ = record(
        day, {**_AS_PLANNED, "done.capsule_torn": "yes", "done.vitreous_lost": "yes", "done.as_planned": "no"}
    )
    assert "chosen before the capsule tore" in text_of(look.text)
    said = text_of(day.browser("asha").get(f"/case/{day.case().subject}/review").text)
    assert "chosen before the capsule tore or vitreous was lost: choose again. Put forward now: After a torn" in said


def test_the_first_morning_on_the_day_of_surgery_wants_a_tick(day: House) -> None:
    confirmed(day)
    record(day, _AS_PLANNED)
    browser, path = day.browser("asha"), f"/case/{day.case().subject}/first-day"
    assert "The first morning is the day after surgery" in text_of(browser.get(path).text)
    form = {"asked": ["day1.pressure_mmhg"], "day1.pressure_mmhg": "18", "seen": day.case().sequence}
    assert browser.post(path, form).status_code == 422 and day.case().case.day1 is None
    assert browser.post(path, {**form, "sure": "yes"}).status_code == 303


def test_every_point_that_names_a_page_is_a_point_and_the_page_is_there() -> None:
    shown = {one.id for one in screens()}
    findings = {f"drops.{name}" for name in read_checks().findings}
    for point, path in settled_points().items():
        assert point in rules() or point in findings, point
        name = path.removeprefix("enter/")
        assert name in (shown if path != name else {"regimen", "decision", "first-day"}), path
