"""The going-home sheet: one action for each warning sign, every date counted from the day of surgery.

All numbers of days are the clinic's own (common practice, no source); no date is shown that it has not set.
"""

from __future__ import annotations

import re
from typing import get_args

import pytest

from consent.case import Visit
from consent.clinic import Aftercare
from consent.compose import Document, Voice, going_home
from consent.compose.document import Blank, Para, PicturedList, PicturedTable, Steps, Table, Warnings
from consent.language import Speaker, load_catalogue
from consent.review import assess


@pytest.fixture
def sheet(make_case, make_clinic):
    def compose(name: str = "ordinary", changes: dict | None = None, clinic: dict | None = None) -> Document:
        return going_home(assess(make_case(changes, name), make_clinic(clinic)), Voice(("en",), "latin"))

    return compose


def section(document: Document, name: str):
    return next(part for part in document.sections if part.id == name)


def blocks(document: Document, name: str, kind: type) -> list:
    return [block for block in section(document, name).blocks if isinstance(block, kind)]


def english(message: str) -> str:
    return Speaker("en").say(message).plain


def care(document: Document) -> dict[str, str]:
    """What is said of until when, by the message of its row."""
    (table,) = blocks(document, "care", PicturedTable)
    names = {english(f"care.{name}"): name for name in ROWS}
    return {names[what[0].plain]: when[0].plain for _, what, when in table.rows}


ROWS = ("pad", "shield", "water", "head-bath", "lifting", "dust-smoke", "field-work", "pond", "prayer")

# Counted by hand on a calendar. Surgery on 28 December 2026 and on 24 February 2027; the demonstration clinic's days:
# shield 7 nights, water 10, head bath from day 11, lifting and prayer 14, dust, smoke and field work 30, pond 42.
BY_HAND = {
    "hard": {
        "pad": "the next morning",
        "shield": "until 4 January 2027",
        "water": "until 7 January 2027",
        "head-bath": "from 8 January 2027",
        "lifting": "until 11 January 2027",
        "dust-smoke": "until 27 January 2027",
        "field-work": "until 27 January 2027",
        "pond": "until 8 February 2027",
        "prayer": "until 11 January 2027",
    },
    "ordinary": {
        "pad": "the next morning",
        "shield": "until 3 March 2027",
        "water": "until 6 March 2027",
        "head-bath": "from 7 March 2027",
        "lifting": "until 10 March 2027",
        "dust-smoke": "until 26 March 2027",
        "field-work": "until 26 March 2027",
        "pond": "until 7 April 2027",
        "prayer": "until 10 March 2027",
    },
}


@pytest.mark.parametrize("name", BY_HAND)
def test_dates_counted_by_hand(name, sheet):
    assert care(sheet(name)) == BY_HAND[name]


def test_dates_move_with_the_day_of_surgery_over_a_leap_day(sheet):
    """Seven nights from 27 February 2028, a leap year, end on 5 March."""
    changes = {"plan.date": "2028-02-27", "visits": []}
    assert care(sheet("ordinary", changes))["shield"] == "until 5 March 2028"


SETTINGS = {
    "pad_off": "pad",
    "shield_nights": "shield",
    "no_water_in_eye_days": "water",
    "head_bath_from_day": "head-bath",
    "no_heavy_lifting_days": "lifting",
    "no_dust_smoke_days": "dust-smoke",
    "no_field_work_days": "field-work",
    "no_pond_bath_days": "pond",
    "pray_seated_days": "prayer",
}


def test_every_setting_has_a_row():
    assert set(SETTINGS) == set(Aftercare.model_fields)
    assert set(SETTINGS.values()) == set(ROWS)


@pytest.mark.parametrize("setting", SETTINGS)
def test_a_day_the_clinic_has_not_set_is_asked_for(setting, sheet):
    """The row stays, with a line to write on: neither a number nor another clinic's day."""
    shipped = care(sheet())
    found = care(sheet(clinic={f"aftercare.{setting}": None}))
    assert found[SETTINGS[setting]].startswith("ask us")
    assert not re.search(r"\d", found[SETTINGS[setting]])
    for name, text in found.items():
        if name != SETTINGS[setting]:
            assert text == shipped[name]


def test_a_clinic_that_has_set_nothing_gives_no_number(sheet):
    found = care(sheet(clinic={"aftercare": {}}))
    assert set(found.values()) == {english("care.ask-us")}


UNTIL = [setting for setting in SETTINGS if setting not in ("pad_off", "head_bath_from_day")]


@pytest.mark.parametrize("setting", UNTIL)
def test_no_days_is_no_row_and_neither_a_date_nor_a_question(setting, sheet):
    """0 days is the clinic's answer. "until" the day of surgery would be nonsense, "ask us" would deny the answer."""
    shipped = care(sheet())
    found = care(sheet(clinic={f"aftercare.{setting}": 0}))
    assert found == {name: text for name, text in shipped.items() if name != SETTINGS[setting]}


@pytest.mark.parametrize("when", ["same evening", "next morning", "at the clinic"])
def test_when_the_pad_comes_off(when, sheet):
    assert care(sheet(clinic={"aftercare.pad_off": when}))["pad"] == english(f"care.pad-off.{when}")


# Warning signs


def groups(document: Document) -> dict[str, list[str]]:
    (found,) = blocks(document, "warning-signs", Warnings)
    return {
        group.name: [sign[0].plain for sign in (*(words for _, words in group.drawn), *group.signs)]
        for group in found.groups
    }


def actions(document: Document) -> dict[str, str]:
    """What is said to do, by the name of the group."""
    (found,) = blocks(document, "warning-signs", Warnings)
    return {group.name: " ".join(line[0].plain for line in group.action) for group in found.groups}


@pytest.mark.parametrize("name", ["ordinary", "hard"])
def test_each_warning_sign_stands_under_exactly_one_action(name, sheet):
    """A sign under two actions is a sign under none. Common practice, no source."""
    found = groups(sheet(name))
    assert list(found) == ["now", "phone", "visit"]
    signs = [sign for under in found.values() for sign in under]
    assert len(signs) == len(set(signs))
    every_sign = {m.forms[0] for m in load_catalogue("en").messages.values() if m.id.startswith("sign-of.")}
    assert set(signs) == every_sign


def test_what_can_cost_the_eye_is_under_come_now(sheet):
    """Falling sight, pain, a curtain, a blow, a gush: infection, detachment, an open wound. Common practice."""
    found = groups(sheet())["now"]
    for name in ("sight-falls", "pain", "swollen-shut", "curtain", "flashes", "knock", "gush", "wheeze"):
        assert english(f"sign-of.{name}") in found


def test_who_is_to_come_now_is_told_where(sheet):
    """Name and address stand with the action itself, not on another page. Common practice, no source."""
    changes = {"name": "Elsewhere Eye Centre", "address": "2 Invented Road"}
    said = actions(sheet(clinic=changes))
    assert [name for name, words in said.items() if "Elsewhere Eye Centre" in words] == ["now"]
    assert "2 Invented Road" in said["now"]


def test_a_sign_is_drawn_or_written_and_never_both(sheet):
    """Twice the same sign reads like two. Common practice, no source."""
    (found,) = blocks(sheet(), "warning-signs", Warnings)
    drawn = [(picture, words[0].plain) for group in found.groups for picture, words in group.drawn]
    written = {sign[0].plain for group in found.groups for sign in group.signs}
    assert drawn
    assert not {words for _, words in drawn} & written
    assert all(picture.startswith("<svg") for picture, _ in drawn)
    assert len({picture for picture, _ in drawn}) == len(drawn)


@pytest.mark.parametrize("regimen", ["weekly-4-3-2-1", "drop-free"])
def test_telephone_and_warning_signs_stand_on_every_sheet(regimen, sheet):
    """Also on the sheet of a patient who goes home without drops."""
    document = sheet("ordinary", {"plan.regimen": regimen})
    assert document.footer is not None
    for text in (document.footer[0].plain, actions(document)["phone"]):
        for number in ("00000 11111", "00000 22222"):
            assert number.replace(" ", "\u00a0") in text


# Visits


def test_visits_stand_in_order_of_date_with_their_reason(sheet):
    later_first = [{"kind": "spectacles", "date": "2027-03-31"}, {"kind": "day 1", "date": "2027-02-25"}]
    (table,) = blocks(sheet("ordinary", {"visits": later_first}), "visits", Table)
    assert [(when[0].plain, why[0].plain) for when, why in table.rows] == [
        ("Thursday, 25 February 2027", english("visit.day 1")),
        ("Wednesday, 31 March 2027", english("visit.spectacles")),
    ]


@pytest.mark.parametrize("kind", get_args(Visit.model_fields["kind"].annotation))
def test_every_kind_of_visit_has_a_reason(kind, sheet):
    (table,) = blocks(sheet("ordinary", {"visits": [{"kind": kind, "date": "2027-03-01"}]}), "visits", Table)
    assert table.rows[0][1][0].plain == english(f"visit.{kind}")


def test_without_visits_there_are_lines_to_write_on(sheet):
    document = sheet("ordinary", {"visits": []})
    assert blocks(document, "visits", Table) == []
    (blank,) = blocks(document, "visits", Blank)
    assert blank.lines >= 3
    assert not re.search(r"\d", blank.label[0].plain)


# Drops and helper


def test_steps_of_a_drop(sheet):
    """Shaking is named only where a bottle is shaken; minutes are the clinic's."""
    (steps,) = blocks(sheet(clinic={"drops.gap_minutes": 10, "drops.close_eye_minutes": 1}), "drops", Steps)
    said = [line[0].plain for _, line in steps.items]
    assert english("drop-step.shake") in said
    assert any("10 minutes" in text for text in said)
    assert any("1 minute." in text for text in said)
    only_solution = {"own": {"title": "own", "items": [ONE_SOLUTION]}}
    (steps,) = blocks(sheet("ordinary", {"plan.regimen": "own"}, {"regimens": only_solution}), "drops", Steps)
    assert english("drop-step.shake") not in [line[0].plain for _, line in steps.items]


ONE_SOLUTION = {
    "drug": "moxifloxacin",
    "steps": [{"from_day": 1, "days": 7, "times_a_day": 4}],
    "source": "invented",
    "verified": "memory",
}


def test_without_drops_no_step_is_taught(sheet):
    document = sheet("ordinary", {"plan.regimen": "drop-free"})
    assert blocks(document, "drops", Steps) == []
    assert [para.text[0].plain for para in blocks(document, "drops", Para)] == [english("home.drops.none")]


@pytest.mark.parametrize(
    ("giver", "helper", "message"),
    [
        ("self", None, "home.help.self"),
        ("nobody", None, "home.help.nobody"),
        ("unknown", None, "home.help.unknown"),
        ("named helper", None, "home.help.unknown"),
    ],
)
def test_who_puts_the_drops_in(giver, helper, message, sheet):
    """Nobody, not known and the patient are three answers; a helper without a name is not settled."""
    document = sheet("ordinary", {"patient.drops_given_by": giver, "patient.drops_helper": helper})
    assert blocks(document, "drops", Para)[0].text[0].plain == english(message)


def test_a_named_helper_is_named(sheet):
    assert "her daughter" in blocks(sheet(), "drops", Para)[0].text[0].plain


@pytest.mark.parametrize("answer", ["yes", "no", "unknown"])
def test_a_shared_telephone_is_spoken_of_only_where_it_is_shared(answer, sheet):
    texts = list(sheet("ordinary", {"patient.telephone_shared": answer}).texts())
    assert (english("home.help.shared-telephone") in texts) == (answer == "yes")


def test_a_plan_is_called_a_plan_until_it_was_done(sheet):
    assert english("home.planned") in list(sheet().texts())
    assert [part.id for part in sheet().sections if part.id == "done"] == []
    after = sheet("ordinary", {"done": {"as_planned": "yes"}})
    assert english("home.planned") not in list(after.texts())
    assert section(after, "done").heading[0].plain == english("home.done.heading")
    assert english("home.done.as-planned") in [para.text[0].plain for para in blocks(after, "done", Para)]


def test_what_to_do_first_names_the_first_visit(sheet):
    """Signs, drops, first visit, above everything else. Common practice, no source."""
    first = blocks(sheet("ordinary"), "who", Para)[0].text[0].plain
    assert "warning signs" in first
    assert "25 February 2027" in first
    later_first = [{"kind": "spectacles", "date": "2027-03-31"}, {"kind": "day 1", "date": "2027-02-26"}]
    assert "26 February 2027" in blocks(sheet("ordinary", {"visits": later_first}), "who", Para)[0].text[0].plain
    without = blocks(sheet("ordinary", {"visits": []}), "who", Para)[0].text[0].plain
    assert without == english("home.first-no-visit")
    assert not re.search(r"\d", without)


FELLOW = {"operated": "yes", "operated_on": "2027-02-10", "regimen": "weekly-4-3-2-1", "acuity": "6/9"}


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"other_eye": FELLOW}, True),
        ({"other_eye": {**FELLOW, "regimen": None}}, False),
        ({"own_drops": [{"drug": "timolol", "eyes": "right", "times_a_day": 2, "decision": "continue"}]}, False),
        ({}, False),
    ],
)
def test_signs_count_for_each_eye_that_was_operated_and_is_on_drops(changes, told, sheet):
    """An eye with its old glaucoma drop only had no operation of late. Common practice, no source."""
    said = [para.text[0].plain for para in blocks(sheet("ordinary", changes), "warning-signs", Para)]
    assert said == ([english("home.both-eyes")] if told else [])


def test_what_holds_without_a_date_is_drawn_and_what_is_forbidden_is_crossed_out(sheet):
    """Rubbing and drops from a shop are crossed out; reading and tablets are not. Common practice, no source."""
    (found,) = blocks(sheet(), "care", PicturedList)
    crossed = {words[0].plain: 'd="M8 8L92 92"' in picture for picture, words in found.items}
    names = {"may-do": False, "no-rubbing": True, "nothing-else": True, "tablets": False}
    assert crossed == {english(f"care.{name}"): is_crossed for name, is_crossed in names.items()}
