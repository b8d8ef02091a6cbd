"""What a counsellor enters is kept at every change, by several people at once, and nothing typed is lost."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest

from consent.desk.screens import screens
from consent.errors import AccessError
from consent.record.state import CaseState, case_of, data_of
from tests.conftest import shipped_case
from tests.desk.house import House
from tests.record.story import PASSWORDS, Story


def asked(path: str, value: str, seen: int) -> dict[str, object]:
    """One answer as the page's script sends it."""
    return {"asked": path, path: value, "seen": str(seen)}


def test_a_change_is_an_entry_of_whoever_made_it(house: House) -> None:
    before = house.case()
    answer = house.browser("meera").post(
        f"/case/{before.subject}/enter/lens", asked("eye.nucleus.grade", "hard", before.sequence), script=True
    )
    after = house.case()
    assert answer.json()["faults"] == {}
    assert after.case.eye.nucleus.grade == "hard"
    assert [(told.entry.kind, told.entry.person) for told in after.history[-1:]] == [("changed", "M. Example")]
    assert after.history[-1].entry.body["touched"] == ["eye.nucleus.grade"]


def test_digits_of_the_own_language_and_a_decimal_comma_are_numbers(house: House) -> None:
    # CLDR: Bengali digits (numbering system "beng"); the comma is a decimal sign on many keyboards.
    before = house.case()
    browser = house.browser("meera")
    browser.post(f"/case/{before.subject}/enter/front", asked("eye.pupil_mm", "৪,৫", before.sequence), script=True)
    assert house.case().case.eye.pupil_mm == 4.5


def test_what_cannot_be_kept_is_shown_again_and_the_rest_is_kept(house: House) -> None:
    before = house.case()
    form = {
        "asked": ["eye.pupil_mm", "eye.chamber_depth_mm"],
        "eye.pupil_mm": "55",
        "eye.chamber_depth_mm": "2.9",
        "seen": str(before.sequence),
    }
    page = house.browser("meera").post(f"/case/{before.subject}/enter/front", form)
    after = house.case()
    assert page.status_code == 422
    assert 'value="55"' in page.text and "Between 1 and 10" in page.text
    assert (after.case.eye.pupil_mm, after.case.eye.chamber_depth_mm) == (before.case.eye.pupil_mm, 2.9)


def test_two_counsellors_in_different_parts_both_keep_theirs_and_both_are_told(house: House) -> None:
    before = house.case()
    meera, asha = house.browser("meera"), house.browser("asha")
    path = f"/case/{before.subject}/enter/front"
    meera.post(path, asked("eye.pupil_mm", "3.5", before.sequence), script=True)
    second = asha.post(path, asked("eye.chamber_depth_mm", "2.2", before.sequence), script=True)
    after = house.case()
    assert (after.case.eye.pupil_mm, after.case.eye.chamber_depth_mm) == (3.5, 2.2)
    assert "M. Example" in second.json()["told"][0]
    news = meera.get(f"/case/{before.subject}/news?since={before.sequence + 1}", script=True).json()
    assert "Dr Asha Invented" in news["told"][0] and news["others"] == ["Dr Asha Invented"]


def test_two_in_the_same_question_the_second_is_shown_both(house: House) -> None:
    before = house.case()
    path = f"/case/{before.subject}/enter/front"
    house.browser("meera").post(path, asked("eye.pupil_mm", "3.5", before.sequence), script=True)
    page = house.browser("asha").post(path, asked("eye.pupil_mm", "6.5", before.sequence))
    assert page.status_code == 409
    assert 'value="6.5"' in page.text and "3.5" in page.text
    assert house.case().case.eye.pupil_mm == 3.5
    house.browser("asha").post(path, asked("eye.pupil_mm", "6.5", house.case().sequence))
    assert house.case().case.eye.pupil_mm == 6.5


def test_a_change_can_be_taken_back(house: House) -> None:
    before = house.case()
    browser = house.browser("meera")
    kept = browser.post(
        f"/case/{before.subject}/enter/lens", asked("eye.white", "yes", before.sequence), script=True
    ).json()["kept"]
    browser.post(f"/case/{before.subject}/undo", {"entry": str(kept), "screen": "lens"})
    after = house.case()
    assert dict(after.data) == dict(before.data)
    assert [told.entry.kind for told in after.history[-2:]] == ["changed", "changed"]


def test_rows_are_added_and_taken_out(house: House) -> None:
    before = house.case()
    browser, path = house.browser("meera"), f"/case/{before.subject}/enter/medicines"
    row = {
        "asked": ["health.allergies.asked", "health.allergies.known"],
        "health.allergies.asked": "known",
        "health.allergies.known.0.substance": "povidone-iodine",
        "health.allergies.known.0.severe": "yes",
        "seen": str(before.sequence),
    }
    assert browser.post(path, row, script=True).json()["faults"] == {}
    known = house.case().case.health.allergies.known
    assert [(one.substance, one.severe) for one in known] == [("povidone-iodine", "yes")]
    gone = {**row, "health.allergies.asked": "none", "health.allergies.known.0.remove": "yes"}
    browser.post(path, {**gone, "seen": str(house.case().sequence)}, script=True)
    assert house.case().case.health.allergies.known == ()


def test_nobody_types_markup_into_a_page(house: House) -> None:
    before = house.case()
    browser = house.browser("meera")
    mean = "<script>alert(1)</script>"
    browser.post(f"/case/{before.subject}/enter/person", asked("patient.name", mean, before.sequence), script=True)
    for path in (f"/case/{before.subject}", f"/case/{before.subject}/enter/person", "/cases"):
        assert mean not in browser.get(path).text


def test_what_another_typed_on_this_device_is_not_entered_in_my_name(house: House) -> None:
    before = house.case()
    form = asked("eye.white", "yes", before.sequence) | {"me": house.staff.counsellor.id}
    answer = house.browser("asha").post(f"/case/{before.subject}/enter/lens", form, script=True)
    assert answer.status_code == 403 and house.case().sequence == before.sequence


def test_a_page_left_open_does_not_keep_the_session_alive(house: House) -> None:
    # OWASP ASVS 4.0.3, 3.3.2: a session ends when nobody does anything; a page that asks by itself is nobody.
    from dataclasses import replace

    from consent.record.login import IDLE, session_account, start_session

    moment = [house.record.clock()]
    record = replace(house.record, clock=lambda: moment[0])
    token = start_session(record, "meera", PASSWORDS["meera"])
    for _ in range(4):
        moment[0] += IDLE / 4 - dt.timedelta(seconds=1)
        session_account(record, token, is_step=False)
    moment[0] += dt.timedelta(seconds=10)
    with pytest.raises(AccessError):
        session_account(record, token)


def test_half_a_lens_is_not_kept_and_says_what_is_missing(house: House) -> None:
    # A lens of the plan has a design and a material, or there is none: its questions are kept together.
    before = house.case("hard")
    asked_together = [f"plan.lens.{name}" for name in ("design", "material", "place", "power_d", "on_shelf")]
    bare = {"asked": asked_together, "seen": str(before.sequence), "plan.lens.material": ""}
    form = bare | {"plan.lens.design": "rigid", "plan.lens.power_d": "21", "plan.lens.place": "capsular bag"}
    answer = house.browser("meera").post(f"/case/{before.subject}/enter/measurement", form, script=True).json()
    assert answer["faults"] == {"plan.lens.material": "This is needed."} and answer["kept"] == 0
    assert house.case("hard").case.plan.lens == before.case.plan.lens
    whole = form | {"plan.lens.material": "PMMA"}
    answer = house.browser("meera").post(f"/case/{before.subject}/enter/measurement", whole, script=True).json()
    kept = house.case("hard").case.plan.lens
    assert (
        answer["faults"] == {}
        and kept is not None
        and (kept.design, kept.material, kept.power_d) == ("rigid", "PMMA", 21)
    )


def test_a_number_in_the_place_of_a_date_is_no_day_of_1970(house: House) -> None:
    before = house.case()
    path = f"/case/{before.subject}/enter/fitness"
    answer = house.browser("meera").post(path, asked("fitness.sugar_on", "1", before.sequence), script=True)
    assert "fitness.sugar_on" in answer.json()["faults"]
    assert dict(house.case().data) == dict(before.data)


def test_day_and_hour_in_digits_of_the_own_language(house: House) -> None:
    before = house.case()
    path = f"/case/{before.subject}/enter/fitness"
    house.browser("meera").post(path, asked("fitness.sugar_on", "১৯/২/২০২৬", before.sequence), script=True)
    assert str(house.case().case.fitness.sugar_on) == "2026-02-19"


def test_a_case_that_is_not_there_is_said_to_be_missing(house: House) -> None:
    for subject in ("case-0000000000000000", "accounts", "nobody"):
        assert house.browser("meera").get(f"/case/{subject}").status_code == 404
        assert house.browser("meera").post(f"/case/{subject}/enter/person", {"seen": "1"}).status_code == 404


def test_the_head_of_the_page_follows_what_was_entered(house: House) -> None:
    before = house.case()
    other = before.case.eye.side.other
    path = f"/case/{before.subject}/enter/sight"
    browser = house.browser("meera")
    told = browser.post(path, asked("eye.side", other, before.sequence), script=True).json()
    assert "EYE NOT AGREED" in told["strip"].upper() and "<svg" not in told["strip"]
    told = browser.post(path, asked("eye.side", before.case.eye.side, told["seen"]), script=True).json()
    assert "EYE NOT AGREED" not in told["strip"].upper() and "<svg" in told["strip"]
    news = house.browser("asha").get(f"/case/{before.subject}/news?since={before.sequence}", script=True).json()
    assert news["strip"] == told["strip"]


NEW = {
    "patient.name": "Kamala Example",
    "patient.record_number": "DEMO-0300",
    "patient.age_years": "60",
    "patient.sex": "female",
    "patient.language": "bn",
    "eye.side": "left",
    "plan.side": "left",
    "plan.surgeon.name": "Dr Asha Invented",
    "plan.date": "2090-01-01",
}


def marked(page: str) -> set[str]:
    """The questions that are marked as wrong on ``page``."""
    return set(re.findall(r'class="field [a-z -]*wrong" data-field="([^"]+)"', page))


def test_of_a_new_case_only_what_is_wrong_or_missing_is_marked_and_all_that_was_typed_stays(house: House) -> None:
    browser = house.browser("meera")
    page = browser.post("/cases/new", NEW | {"patient.age_years": "sixty"})
    assert page.status_code == 422 and marked(page.text) == {"patient.age_years"}
    assert 'role="alert"' in page.text and 'href="#q-patient-age_years"' in page.text
    assert all(f'value="{typed}"' in page.text for typed in ("Kamala Example", "DEMO-0300", "sixty", "2090-01-01"))
    assert page.text.count('value="left" checked') == 2 and '<option value="bn" selected>' in page.text
    page = browser.post("/cases/new", NEW | {"patient.age_years": "", "patient.name": "", "plan.date": "2020-01-01"})
    assert marked(page.text) == {"patient.name", "patient.birth_date", "plan.date"}
    assert browser.post("/cases/new", NEW).status_code == 303


DROP = {"drug": "timolol", "eyes": "right", "times_a_day": "2"}
REST_OF_DROP = {"decision": "undecided"}


def drops(seen: int, *rows: dict[str, str], first: int = 0) -> dict[str, object]:
    """Rows of long-standing drops as a page sends them, the empty one at the end among them."""
    sent = {f"own_drops.{place}.{key}": value for place, row in enumerate(rows, first) for key, value in row.items()}
    return {"asked": ["own_drops", "health.anticoagulant"], "health.anticoagulant": "yes", "seen": str(seen), **sent}


def test_of_a_row_that_was_begun_only_what_it_lacks_is_marked(house: House) -> None:
    before = house.case()
    path = f"/case/{before.subject}/enter/medicines"
    begun = {"drug": "latanoprost", "times_a_day": "1"} | REST_OF_DROP
    page = house.browser("meera").post(path, drops(before.sequence, DROP | REST_OF_DROP, begun, REST_OF_DROP)).text
    wrong = re.findall(r'class="inner [a-z -]*wrong".*?id="q-([a-z0-9_-]+)"', page, re.DOTALL)
    assert wrong == ["own_drops-1-eyes"] and marked(page) == set() and 'href="#q-own_drops-1-eyes"' in page
    assert 'name="own_drops.0.times_a_day" value="2"' in page and 'name="own_drops.1.times_a_day" value="1"' in page
    assert 'name="own_drops.2.drug"' in page and 'name="own_drops.3.drug"' not in page
    assert (house.case().data["own_drops"], house.case().case.health.anticoagulant) == ([], "yes")


def test_what_a_row_lacks_is_told_at_its_place_in_the_form(house: House) -> None:
    before = house.case()
    path = f"/case/{before.subject}/enter/medicines"
    gone = DROP | REST_OF_DROP | {"remove": "yes"}
    sent = drops(before.sequence, gone, REST_OF_DROP, {"drug": "latanoprost", "eyes": "left"}, REST_OF_DROP)
    told = house.browser("meera").post(path, sent, script=True).json()
    assert told["faults"] == {"own_drops.2.times_a_day": "This is needed."}
    page = house.browser("meera").post(path, sent).text
    assert 'name="own_drops.0.remove" value="yes" checked' in page and 'name="own_drops.2.drug"' in page


def test_after_a_row_was_kept_there_is_an_empty_one_and_a_row_begun_can_be_emptied(house: House) -> None:
    browser, before = house.browser("meera"), house.case()
    path = f"/case/{before.subject}/enter/medicines"
    told = browser.post(path, drops(before.sequence, DROP | REST_OF_DROP), script=True).json()
    assert told["faults"] == {} and 'name="own_drops.1.drug"' in told["questions"]["own_drops"]
    emptied = {"drug": "latanoprost", "remove": "yes"}
    told = browser.post(path, drops(told["seen"], DROP | REST_OF_DROP, emptied), script=True).json()
    assert told["faults"] == {} and told["kept"] == 0
    assert [drop.drug for drop in house.case().case.own_drops] == ["timolol"]


def test_allergies_that_are_not_named_are_asked_for_at_the_question(house: House) -> None:
    before = house.case()
    sent = {"asked": ["health.allergies.asked", "health.allergies.known"], "health.allergies.asked": "known"}
    path = f"/case/{before.subject}/enter/medicines"
    told = house.browser("meera").post(path, sent | {"seen": str(before.sequence)}, script=True).json()
    assert set(told["faults"]) == {"health.allergies.asked"}


def set_all(house: House, values: dict[str, Any]) -> CaseState:
    house.story().enter(house.staff.counsellor, "changed", values)
    return house.case()


UNKNOWN = dict.fromkeys(("health.asthma", "health.copd", "health.diabetes_controlled", "health.pregnant"), "unknown")


def test_all_others_are_no_in_one_entry_that_can_be_taken_back(house: House) -> None:
    before = set_all(house, UNKNOWN | {"health.kidney_disease": "yes", "health.can_lie_flat": "unknown"})
    browser, path = house.browser("meera"), f"/case/{before.subject}/enter/health"
    assert 'name="rest"' in browser.get(path).text
    sent = asked("health.copd", "yes", before.sequence) | {"rest": "no"}
    answer = browser.post(path, sent)
    after = house.case()
    assert len(after.history) == len(before.history) + 1
    now = after.case.health
    assert (now.asthma, now.copd, now.kidney_disease) == ("no", "yes", "yes")
    assert (now.diabetes_controlled, now.can_lie_flat) == ("unknown", "unknown")
    assert now.pregnant == "unknown", "she is 62 and is not asked"
    assert f"mine={after.sequence}" in answer.headers["location"]
    browser.post(f"/case/{before.subject}/undo", {"entry": str(after.sequence), "screen": "health"})
    assert dict(house.case().data) == dict(before.data)


def test_what_another_answered_meanwhile_is_not_among_the_others(house: House) -> None:
    before = set_all(house, UNKNOWN)
    path = f"/case/{before.subject}/enter/health"
    house.browser("asha").post(path, asked("health.asthma", "yes", before.sequence), script=True)
    house.browser("meera").post(path, {"seen": str(before.sequence), "rest": "no"})
    assert (house.case().case.health.asthma, house.case().case.health.copd) == ("yes", "no")


def test_nothing_is_no_by_the_way_on_other_screens(house: House) -> None:
    before = set_all(house, {"fitness.fever": "unknown", "eye.white": "unknown", "eye.uveitis": "unknown"})
    browser = house.browser("meera")
    for name in {one.id for one in screens()} - {"past", "health"}:
        path = f"/case/{before.subject}/enter/{name}"
        assert 'name="rest"' not in browser.get(path).text
        browser.post(path, {"seen": str(before.sequence), "rest": "no"})
    assert dict(house.case().data) == dict(before.data)
    browser.post(f"/case/{before.subject}/enter/past", {"seen": str(before.sequence), "rest": "no"})
    assert house.case().case.eye.uveitis == "no"


@pytest.mark.parametrize(
    ("sex", "age", "answer", "is_asked"),
    [
        ("female", 54, "unknown", True),
        ("female", 55, "unknown", False),
        ("female", 55, "no", False),
        ("male", 30, "unknown", False),
        ("male", 30, "yes", True),
        ("unknown", 30, "unknown", True),
    ],
)
def test_who_is_asked_whether_she_is_with_child(house: House, sex: str, age: int, answer: str, is_asked: bool) -> None:
    given = {"patient.sex": sex, "patient.age_years": age, "patient.birth_date": None, "health.pregnant": answer}
    case = set_all(house, given)
    page = house.browser("meera").get(f"/case/{case.subject}/enter/health").text
    assert ('name="health.pregnant"' in page) == is_asked
    assert house.case().case.health.pregnant == answer


@pytest.mark.parametrize(
    ("path", "typed", "held"),
    [
        ("eye.endothelial_cells_per_mm2", "2,300", 2300),
        ("eye.endothelial_cells_per_mm2", "২,৩০০", 2300),
        ("eye.endothelial_cells_per_mm2", "2 300", 2300),
        ("eye.endothelial_cells_per_mm2", "2,30", "comma"),
        ("eye.endothelial_cells_per_mm2", "5,5", "comma"),
        ("eye.endothelial_cells_per_mm2", "5 5", "whole number"),
        ("eye.pupil_mm", "5,5", 5.5),
        ("eye.pupil_mm", "5 5", "number"),
    ],
)
def test_commas_between_digits(house: House, path: str, typed: str, held: int | float | str) -> None:
    before = house.case()
    sent = asked(path, typed, before.sequence)
    told = house.browser("meera").post(f"/case/{before.subject}/enter/front", sent, script=True).json()
    if isinstance(held, str):
        assert held in told["faults"][path] and dict(house.case().data) == dict(before.data)
    else:
        assert getattr(house.case().case.eye, path.removeprefix("eye.")) == held


@pytest.mark.parametrize("path", ["measurement.on", "fitness.blood_pressure_on", "fitness.sugar_on", "fitness.inr_on"])
def test_nothing_was_measured_tomorrow(house: House, path: str) -> None:
    before = house.case()
    today = house.app.state.office.today
    screen = "measurement" if path == "measurement.on" else "fitness"
    where, browser = f"/case/{before.subject}/enter/{screen}", house.browser("meera")
    tomorrow = asked(path, str(today + dt.timedelta(days=1)), before.sequence)
    said = browser.post(where, tomorrow, script=True).json()["faults"][path]
    assert str(today.year) in said and str(today.day) in said and dict(house.case().data) == dict(before.data)
    assert browser.post(where, asked(path, str(today), before.sequence), script=True).json()["faults"] == {}


def test_the_lower_pressure_is_below_the_upper(house: House) -> None:
    before = house.case()
    where, browser = f"/case/{before.subject}/enter/fitness", house.browser("meera")
    upper, lower = "fitness.systolic_mmhg", "fitness.diastolic_mmhg"
    sent = {"asked": [upper, lower, "fitness.fever"], upper: "80", lower: "80", "fitness.fever": "yes"}
    told = browser.post(where, sent | {"seen": str(before.sequence)}, script=True).json()
    assert set(told["faults"]) == {lower}
    now = house.case().case.fitness
    assert (now.systolic_mmhg, now.diastolic_mmhg) == (
        before.case.fitness.systolic_mmhg,
        before.case.fitness.diastolic_mmhg,
    )
    assert now.fever == "yes"
    told = browser.post(where, sent | {lower: "79", "seen": str(told["seen"])}, script=True).json()
    assert told["faults"] == {} and house.case().case.fitness.diastolic_mmhg == 79


def listed(page: str, name: str) -> list[tuple[str, str]]:
    """What can be chosen in the list ``name`` of ``page``, headings among it."""
    found = re.search(rf'<select [^>]*name="{re.escape(name)}".*?</select>', page, re.DOTALL)
    assert found is not None
    choices: list[tuple[str, str]] = re.findall(
        r'<optgroup label="([^"]+)"|<option value="[^"]+"[^>]*>([^<]+)', found[0]
    )
    return choices


def test_drugs_stand_in_order_and_those_that_read_alike_are_told_apart(house: House) -> None:
    case = house.case()
    page = house.browser("meera").get(f"/case/{case.subject}/enter/medicines").text
    found = listed(page, "own_drops.0.drug")
    heads = [place for place, (head, _) in enumerate(found) if head]
    assert [found[place][0] for place in heads] == ["For glaucoma", "Others"] and heads[0] == 0
    glaucoma, others = ([text for _, text in part] for part in (found[1 : heads[1]], found[heads[1] + 1 :]))
    assert glaucoma == sorted(glaucoma) and others == sorted(others)
    assert {"timolol 0.5%", "latanoprost 0.005%"} <= set(glaucoma) and len(set(glaucoma + others)) == len(found) - 2
    assert {
        "dexamethasone sodium phosphate 0.1% (bottle)",
        "dexamethasone sodium phosphate 0.1% (single-use units, no preservative)",
        "loteprednol 0.5% (ointment)",
        "loteprednol 0.5% (suspension)",
    } <= set(others)


def test_caps_are_asked_of_bottles_the_patient_has(house: House) -> None:
    before = house.case()
    browser = house.browser("meera")
    browser.post(f"/case/{before.subject}/enter/medicines", drops(before.sequence, DROP | REST_OF_DROP))
    found = [text for _, text in listed(browser.get(f"/case/{before.subject}/enter/home").text, "caps_seen.0.drug")]
    ordered = {row.drug.name for row in house.app.state.office.shelf.assessment(house.case()).drops.rows}
    assert found == sorted(ordered | {"timolol 0.5%"})


def test_the_last_screen_goes_on_to_the_case_and_says_so(house: House) -> None:
    before = house.case()
    browser, path = house.browser("meera"), f"/case/{before.subject}/enter/{screens()[-1].id}"
    page = browser.get(path).text
    assert 'name="go" value="case" class="main">Next: Where the case stands' in page
    answer = browser.post(path, {"seen": str(before.sequence), "go": "case"})
    assert answer.headers["location"] == f"/case/{before.subject}"


def test_a_list_that_another_added_to_is_not_put_over_theirs_unseen(house: House) -> None:
    # The page's script sends a list with the entry it was last looked at, whatever else was kept since.
    before = house.case()
    path = f"/case/{before.subject}/enter/medicines"
    house.browser("asha").post(path, drops(before.sequence, DROP | REST_OF_DROP), script=True)
    mine = {"drug": "latanoprost", "eyes": "left", "times_a_day": "1"}
    told = house.browser("meera").post(path, drops(before.sequence, mine), script=True)
    assert told.status_code == 409 and "timolol" in told.json()["faults"]["own_drops"]
    assert [drop.drug for drop in house.case().case.own_drops] == ["timolol"]


def test_the_usual_visits_of_the_clinic_are_entered_with_one_touch(house: House) -> None:
    """Put forward with their days, never entered by themselves; one entry, which is taken back as one."""
    bare = {name: part for name, part in data_of(shipped_case("ordinary")).items() if name != "visits"}
    story = Story(house.record, house.staff)
    story.open(case_of(bare))
    case, meera = story.now, house.browser("meera")
    path = f"/case/{case.subject}/enter/home"
    assert "No visit is entered yet" in meera.get(path).text
    sent = {"seen": str(case.sequence), "usual": "yes"}
    assert meera.post(path, sent).status_code == 303
    surgery = case.case.plan.date
    usual = [(one.kind, surgery + dt.timedelta(one.after_days)) for one in house.record.clinic.usual_visits]
    assert usual and [(one.kind, one.date) for one in story.now.case.visits] == usual
    assert len(story.now.history) == len(case.history) + 1
    assert "No visit is entered yet" not in meera.get(path).text
    assert meera.post(path, {"seen": str(story.now.sequence), "usual": "yes"}).status_code == 303
    assert len(story.now.case.visits) == len(usual), "nothing is entered over what is there"
    last = {"entry": str(story.now.sequence), "screen": "home"}
    assert meera.post(f"/case/{case.subject}/undo", last).status_code == 303
    assert not story.now.case.visits
