"""The sheet for theatre: does consent still hold, which eye, which lens, which steps.

WHO Surgical Safety Checklist (2009) and Universal Protocol UP.01.01.01: identity, site, operation and implant are
checked. GMC, Decision making and consent (2020): look again at the decision where something changed or time has passed.
"""

from __future__ import annotations

import datetime as dt

import pytest

from consent.compose import Document, Voice, day_of_surgery
from consent.compose.document import Bullets, Facts, Para, Signature, TickList
from consent.review import assess
from tests.blocks import blocks_of
from tests.editing import Changes

LANGUAGES = ("en", "bn", "hi")
SAME = {"talk.by": "Dr Asha Invented"}
"""Who talks is who operates."""


@pytest.fixture(scope="module")
def sheet(make_case, make_clinic):
    def compose(changes: Changes | None = None, name: str = "ordinary", tags: tuple[str, ...] = ("en",)) -> Document:
        return day_of_surgery(assess(make_case(changes, name), make_clinic()), Voice(tags, "latin"))

    return compose


def facts(document: Document) -> dict[str, str]:
    (rows,) = blocks_of(document, Facts, "who")
    return {label[0].plain: value[0].plain for label, value in rows.rows}


def ticked(document: Document, section: str) -> list[str]:
    return [row[0].plain for block in blocks_of(document, TickList, section) for row in block.rows]


def found(document: Document) -> list[str]:
    return [item[0].plain for block in blocks_of(document, Bullets, "still") for item in block.items]


@pytest.mark.parametrize("on_shelf", ["yes", "unknown"])
def test_a_lens_on_the_shelf_is_named_alone(on_shelf, sheet):
    """Not checked is not "not here": DEVELOPERS.md, glossary, answer."""
    document = sheet({"plan.lens.on_shelf": on_shelf})
    assert facts(document)["Lens"] == "soft one-piece lens, 21.5 D"
    (lens,) = [row for row in ticked(document, "eye") if row.startswith("One lens")]
    assert lens.endswith("soft one-piece lens, 21.5 D")


def test_a_lens_not_on_the_shelf_is_named_with_what_comes_instead_in_order(sheet):
    document = sheet(name="hard")
    for said in (facts(document)["Lens"], ticked(document, "eye")[-1]):
        places = [said.index(words) for words in ("one-piece lens, 20.5 D", "not here", "three-piece", "does not fold")]
        assert places == sorted(places)


def test_a_lens_not_on_the_shelf_without_another_is_still_told_as_not_there(sheet):
    """Without a second choice the surgeon has no lens: nobody should learn that with the eye open. Common practice."""
    document = sheet({"plan.lens.on_shelf": "no", "plan.fallback_lenses": []})
    assert "not here" in facts(document)["Lens"]


@pytest.mark.parametrize(
    ("tag", "words"), [("en", "not chosen yet"), ("bn", "এখনও ঠিক হয়নি"), ("hi", "अभी नहीं चुना गया")]
)
def test_a_lens_not_chosen_is_called_that(tag, words, sheet):
    assert words in facts(sheet({"plan.lens": None}, tags=(tag,))).values()


def test_the_steps_agreed_are_named_with_a_yes_and_a_no_each(sheet):
    document = sheet({"plan.extra_steps": ["stitch", "pupil device"]})
    assert [("stitch" in row, "pupil" in row) for row in ticked(document, "agreed")] == [(True, False), (False, True)]
    (block,) = blocks_of(document, TickList, "agreed")
    assert (block.yes[0].plain, block.no[0].plain) == ("Yes", "No")


def test_without_steps_agreed_it_says_to_stop_and_ask(sheet):
    document = sheet({"plan.extra_steps": []})
    assert ticked(document, "agreed") == []
    assert "stop and ask you first" in blocks_of(document, Para, "agreed")[0].text[0].plain


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"talk.by": "M. Example"}, ("Somebody else", "M. Example")),
        ({"talk.at": dt.datetime(2027, 2, 14, 10, 0, tzinfo=dt.UTC)}, ("10 days before surgery",)),
        ({"measurement.on": dt.date(2027, 2, 23)}, ("measured after the talk", "23 February 2027")),
        ({"fitness.sugar_on": dt.date(2027, 2, 23)}, ("Blood pressure or sugar", "23 February 2027")),
        (
            {"figures_accepted.at": dt.datetime(2027, 2, 23, 9, 0, tzinfo=dt.UTC)},
            ("accepted after", "23 February 2027"),
        ),
        ({"talk.said_back": [{"question": "which eye", "result": "not yet"}]}, ("Not everything was understood",)),
        ({"talk.told.lens_power_d": 20.0}, ("20", "21.5")),
        ({"talk.told.anaesthesia": "topical"}, ("drops alone", "blunt tube")),
        ({"talk.told.surgeon": "Dr Before"}, ("Dr Before", "Dr Asha Invented")),
        ({"talk.told.date": dt.date(2027, 2, 23)}, ("23 February 2027", "24 February 2027")),
        ({"talk.told.operation": "extracapsular"}, ("large cut", "ultrasound")),
    ],
)
def test_each_change_since_the_talk_is_named(changes, words, sheet):
    lines = found(sheet({**SAME, **changes}))
    assert any(all(word in line for word in words) for line in lines)


def test_what_did_not_change_is_not_named(sheet):
    """Two days between talk and surgery remain: the talk of the example was on 22 February, surgery is on the 24th."""
    assert found(sheet(SAME)) == ["The talk was 2 days before surgery."]


def test_a_name_in_a_change_is_printed_as_it_was_typed(sheet):
    document = sheet({"talk.by": "<i>M.</i> & Co"})
    (line,) = [
        item
        for block in blocks_of(document, Bullets, "still")
        for item in block.items
        if item[0].plain.startswith("Somebody")
    ]
    assert "<i>M.</i> & Co" in line[0].plain
    assert "<i>" not in line[0].html


def test_nothing_known_of_a_talk_names_no_change(sheet):
    document = sheet({"talk": {}})
    assert found(document) == []
    assert len(ticked(document, "still")) == 7


SAID = {"en": "awake", "bn": "জেগে", "hi": "होश में"}
EYES = {"en": "LEFT eye", "bn": "বাঁ চোখ", "hi": "बाईं आँख"}


@pytest.mark.parametrize("tag", LANGUAGES)
def test_the_eye_is_said_marked_and_on_the_form(tag, sheet):
    """WHO checklist, before anaesthesia and before the cut: patient confirms, site marked, team confirms."""
    rows = ticked(sheet(tags=(tag,)), "eye")
    assert len(rows) == 4
    assert all(EYES[tag] in row for row in rows[:3])
    assert SAID[tag] in rows[0]


@pytest.mark.parametrize(("section", "words"), [("still", "stop, and talk again"), ("eye", "stop, and do not start")])
def test_it_says_what_an_answer_means(section, words, sheet):
    assert any(words in block.text[0].plain for block in blocks_of(sheet(), Para, section))


def test_who_confirms_signs_and_a_withdrawal_has_its_own_block(sheet):
    """GMC (2020): a patient may withdraw at any time."""
    confirms, withdraws = blocks_of(sheet(), Signature)
    assert "before any sedation" in confirms.meaning[0].plain
    assert "withdrawn" in withdraws.meaning[0].plain
    for block in (confirms, withdraws):
        assert {"Signature", "Date", "Time"} <= {label[0].plain for label in block.labels}
