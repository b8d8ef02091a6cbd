"""What a counsellor enters is kept at every change, by several people at once, and nothing typed is lost."""

from __future__ import annotations

import pytest

from consent.errors import AccessError
from tests.desk.house import House
from tests.record.story import PASSWORDS


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
    import datetime as dt
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
    house.browser("meera").post(path, asked("fitness.sugar_on", "১৯/২/২০২৭", before.sequence), script=True)
    assert str(house.case().case.fitness.sugar_on) == "2027-02-19"


def test_a_case_that_is_not_there_is_said_to_be_missing(house: House) -> None:
    for subject in ("case-0000000000000000", "accounts", "nobody"):
        assert house.browser("meera").get(f"/case/{subject}").status_code == 404
        assert house.browser("meera").post(f"/case/{subject}/enter/person", {"seen": "1"}).status_code == 404
