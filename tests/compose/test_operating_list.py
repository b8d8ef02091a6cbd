"""The operating day: who first, which lens, what to have ready, how many bottles; and who missed a visit.

Order, lists and counts: common practice, no source. WHO Surgical Safety Checklist (2009): implant and devices at hand
before the patient lies down.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter

import pytest

from consent.case import Case
from consent.compose import Document, Voice, missed_visits, operating_list
from consent.compose.document import Para, Table
from consent.compose.operating_list import in_order
from consent.review import Assessment, assess
from tests.blocks import blocks_of
from tests.editing import Changes, torn

DAY = dt.date(2027, 2, 24)
ONLY_EYE = {"other_eye.seeing": "no", "other_eye.acuity": "NPL"}
INFECTED = {"eye.lid_infection": "yes"}


@pytest.fixture(scope="module")
def patient(make_case, make_clinic):
    """``patient(number, hour, changes, name)``: a patient of the day with a record number and a time."""

    def make(number: str, hour: int | None = 9, changes: Changes | None = None, name: str = "ordinary") -> Assessment:
        time = None if hour is None else dt.time(hour, 0)
        whose = {"patient.record_number": number, "patient.name": f"Patient {number}", "plan.time": time}
        return assess(make_case({**whose, **(changes or {})}, name), make_clinic())

    return make


def composed(*patients: Assessment, tag: str = "en") -> Document:
    return operating_list(patients, DAY, Voice((tag,), "latin"))


def cells(document: Document, section: str, style: str) -> list[list[str]]:
    tables = [table for table in blocks_of(document, Table, section) if table.style == style]
    return [[cell[0].plain for cell in row] for table in tables for row in table.rows]


def order(document: Document) -> list[list[str]]:
    return cells(document, "order", "order")


def numbers(patients) -> list[str]:
    return [found.case.patient.record_number for found in patients]


def test_only_eyes_come_first_infected_ones_last_the_others_by_time(patient):
    day = [
        patient("D-5", 8, INFECTED),
        patient("D-4", None),
        patient("D-3", 10),
        patient("D-2", 9),
        patient("D-1", 12, ONLY_EYE),
    ]
    assert numbers(in_order(day)) == ["D-1", "D-2", "D-3", "D-4", "D-5"]
    assert numbers(in_order(reversed(day))) == ["D-1", "D-2", "D-3", "D-4", "D-5"]


def test_at_one_time_the_record_number_decides(patient):
    day = [patient("D-2"), patient("D-3"), patient("D-1")]
    assert numbers(in_order(day)) == ["D-1", "D-2", "D-3"]


def test_several_only_eyes_and_several_infected_ones_keep_their_times(patient):
    day = [
        patient("D-1", 11, INFECTED),
        patient("D-2", 10, INFECTED),
        patient("D-3", 13, ONLY_EYE),
        patient("D-4", 12, ONLY_EYE),
    ]
    assert numbers(in_order(day)) == ["D-4", "D-3", "D-2", "D-1"]


def test_an_only_eye_that_is_infected_still_comes_last(patient):
    """Germs on the table threaten everybody after: common practice, no source."""
    assert numbers(in_order([patient("D-1", 8, {**ONLY_EYE, **INFECTED}), patient("D-2", 9)])) == ["D-2", "D-1"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (ONLY_EYE, "only seeing eye"),
        (INFECTED, "infected"),
        ({"fitness.tear_sac": "pus"}, "infected"),
        ({"fitness.fever": "yes"}, "infected"),
        ({"health.allergies": {"asked": "known", "known": [{"substance": "latex"}]}}, "allergy: latex"),
        ({"health.anticoagulant": "yes"}, "anticoagulant"),
    ],
)
def test_why_to_look_out_is_named_on_the_line_of_that_patient_alone(changes, words, patient):
    found = {row[1].split(", ")[1]: row[5] for row in order(composed(patient("D-1", 9, changes), patient("D-2", 10)))}
    assert words in found["D-1"]
    assert words not in found["D-2"]


def test_a_sac_nobody_looked_at_is_not_called_infected(patient):
    """Not examined is an unknown, not a yes (DEVELOPERS.md, glossary, answer)."""
    (row,) = order(composed(patient("D-1", 9, {"fitness.tear_sac": "not examined"})))
    assert "infected" not in row[5]


def test_an_allergy_nobody_asked_about_is_not_passed_over(patient):
    """Not asked is not none (DEVELOPERS.md, glossary): the line of a patient nobody asked is not empty."""
    asked, not_asked = (
        order(composed(patient("D-1", 9, {"health.allergies": {"asked": answer}})))[0][5]
        for answer in ("none", "not asked")
    )
    assert asked != not_asked


def test_stops_are_counted_patient_by_patient(patient):
    """Two sides that disagree and pus in the sac are stops in ``points.toml``; answered ones are not open."""
    none, one = patient("D-1", 9), patient("D-2", 10, {"fitness.tear_sac": "pus"})
    more = patient("D-3", 11, {"fitness.tear_sac": "pus", "measurement.side": "right"})
    for found in (none, one, more):
        stops = [point for point in found.points if point.severity == "stop" and point.open]
        (row,) = order(composed(found))
        assert (f"{len(stops)} open stop" in row[5]) == bool(stops)
    assert "1 open stop" in order(composed(one))[0][5]
    assert "open stop" not in order(composed(none))[0][5]
    assert int(order(composed(more))[0][5].partition(" open stop")[0][-1]) > 1


def test_a_stop_a_surgeon_has_answered_is_not_counted(patient):
    """An answer holds while the facts stay the same: DEVELOPERS.md, decisions."""
    pus = {"fitness.tear_sac": "pus"}
    (stop,) = [point for point in patient("D-1", 9, pus).points if point.id == "infection.lid-or-sac"]
    said = {"point": stop.id, "key": stop.key, "by": "Dr Example", "registration": "INVENTED-0001", "why": "treated"}
    answered = patient("D-1", 9, {**pus, "answers": [{**said, "at": dt.datetime(2027, 2, 23, 9, 0, tzinfo=dt.UTC)}]})
    assert "1 open stop" in order(composed(patient("D-1", 9, pus)))[0][5]
    assert "open stop" not in order(composed(answered))[0][5]


def test_each_line_names_patient_time_eye_operation_anaesthesia_and_lenses(patient):
    (row,) = order(composed(patient("D-1", 9)))
    assert row[0] == "1"
    assert row[1] == "Patient D-1, D-1, 09:00"
    assert row[2].startswith("LEFT eye; ")
    assert "ultrasound" in row[2]
    assert "blunt tube" in row[2]
    assert row[3] == "soft one-piece lens, 21.5 D → soft three-piece lens, 20.5 D"


def test_places_count_from_one_without_a_gap(patient):
    rows = order(composed(*(patient(f"D-{n}", 8 + n) for n in range(4))))
    assert [row[0] for row in rows] == ["1", "2", "3", "4"]


def test_a_patient_without_time_or_lens_says_so_and_has_no_lens_to_pick(patient):
    found = composed(patient("D-1", None, {"plan.lens": None, "plan.fallback_lenses": []}))
    (row,) = order(found)
    assert row[1] == "Patient D-1, D-1"
    assert row[3] == "not chosen yet"
    assert blocks_of(found, Table, "lenses") == []


@pytest.mark.parametrize(("answer", "words"), [("yes", "yes"), ("no", "NO"), ("unknown", "not checked")])
def test_the_shelf_is_yes_no_or_not_checked(answer, words, patient):
    found = composed(patient("D-1", 9, {"plan.lens.on_shelf": answer}))
    first, second = cells(found, "lenses", "picks")
    assert first[3] == words
    assert second[3] == "yes"


def test_first_choices_of_all_stand_before_second_choices(patient):
    found = composed(patient("D-1", 9), patient("D-2", 8, name="hard", changes={}))
    rows = cells(found, "lenses", "picks")
    assert [row[0] for row in rows] == [
        "soft one-piece lens, 20.5 D, in the bag of the old lens",
        "soft one-piece lens, 21.5 D, in the bag of the old lens",
        "soft three-piece lens, 20 D, in the bag of the old lens",
        "hard lens that does not fold, 20 D, in the bag of the old lens",
        "soft three-piece lens, 20.5 D, in front of the bag",
    ]
    assert [row[1] for row in rows] == ["hydrophobic acrylic", "hydrophobic acrylic", "acrylic", "PMMA", "acrylic"]
    heads = [block.text[0].plain for block in blocks_of(found, Para, "lenses")]
    assert heads == ["First choices", "Second choices, agreed beforehand"]


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"plan.extra_steps": []}, "nothing besides"),
        ({"plan.extra_steps": ["pupil device"]}, "pupil hooks or ring"),
        ({"plan.extra_steps": ["capsular tension ring"]}, "capsular tension ring"),
        ({"plan.extra_steps": ["anterior vitrectomy"]}, "vitrector"),
        ({"plan.extra_steps": ["stitch"]}, "suture"),
        ({"plan.extra_steps": [], "plan.dye": "yes"}, "capsular dye"),
        ({"plan.extra_steps": [], "plan.pupil_expansion": "yes"}, "pupil hooks or ring"),
        ({"plan.extra_steps": [], "plan.capsular_tension_ring": "yes"}, "capsular tension ring"),
        ({"plan.extra_steps": ["pupil device"], "plan.pupil_expansion": "yes"}, "pupil hooks or ring"),
        ({"plan.extra_steps": [], "plan.dye": "unknown", "plan.pupil_expansion": "unknown"}, "nothing besides"),
        ({"plan.extra_steps": ["larger incision", "no lens today", "other anaesthesia"]}, "nothing besides"),
    ],
)
def test_what_a_foreseen_step_needs_is_had_ready_once(changes, named, patient):
    assert order(composed(patient("D-1", 9, changes)))[0][4] == named


def test_devices_are_counted_by_patients(patient):
    steps = (["stitch"], ["stitch", "anterior vitrectomy"], [])
    day = [patient(f"D-{n}", 9, {"plan.extra_steps": found}) for n, found in enumerate(steps)]
    counted = {row[0]: row[1] for row in cells(composed(*day), "ready", "counts")}
    assert counted["suture"] == "2"
    assert counted["vitrector"] == "1"
    assert "capsular dye" not in counted


def test_nothing_to_have_ready_is_said(patient):
    found = composed(patient("D-1", 9, {"plan.extra_steps": []}))
    assert ["nothing besides", "0"] in cells(found, "ready", "counts")


@pytest.mark.parametrize("names", [["ordinary"], ["hard"], ["ordinary", "hard"], ["hard", "ordinary", "hard"]])
def test_bottles_are_the_sum_over_the_patients(names, patient):
    """Counted here from each patient's own bottles, as on their drop calendars."""
    day = [patient(f"D-{n}", 9, name=name) for n, name in enumerate(names)]
    expected: Counter[str] = Counter()
    for found in day:
        expected.update({supply.drug.name: 0 for supply in found.drops.supplies})
        for supply in found.drops.supplies:
            expected[supply.drug.name] += supply.count
    rows = {row[0]: int(row[1]) for row in cells(composed(*day), "ready", "counts")}
    assert expected
    assert {drug: rows[drug] for drug in expected} == dict(expected)


def test_of_the_shipped_patient_two_bottles_of_the_steroid_are_handed_out(patient):
    """By hand: 8, 6, 4, 3, 2 and 1 drops a day for a week each are 168 drops; 5 mL at 20 drops a millilitre are 100."""
    rows = {row[0]: row[1] for row in cells(composed(patient("D-1", 9, name="hard")), "ready", "counts")}
    assert rows["prednisolone acetate 1%"] == "2"


def test_it_is_marked_as_for_staff_and_names_no_single_patient_at_its_head(patient):
    found = composed(patient("D-1"), patient("D-2"))
    assert found.marks[0][0].plain.startswith("FOR STAFF")
    assert "Patient" not in found.header[0].plain


@pytest.mark.parametrize(("tag", "eye"), [("en", "LEFT eye"), ("bn", "বাঁ চোখ"), ("hi", "बाईं आँख")])
def test_the_eye_is_in_words_in_each_language(tag, eye, patient):
    """Universal Protocol UP.01.01.01: the site in words."""
    assert order(composed(patient("D-1"), tag=tag))[0][2].startswith(eye)


def waiting(number: str, visits: list[dict[str, object]], changes: Changes | None = None) -> Case:
    """A patient after surgery with these visits, sent on nowhere."""
    whose = {"patient.record_number": number, "patient.name": f"Patient {number}", "visits": visits}
    return torn({**whose, "done.referral": None, **(changes or {})})


def visit(day: dt.date, kept: str = "unknown", kind: str = "week 1") -> dict[str, object]:
    return {"kind": kind, "date": day, "kept": kept}


TODAY = dt.date(2027, 1, 20)
BEFORE = [dt.date(2027, 1, day) for day in (4, 11, 19)]


@pytest.fixture(scope="module")
def missed(make_clinic):
    def compose(*cases: Case, tag: str = "en") -> list[list[str]]:
        document = missed_visits(cases, make_clinic(), TODAY, Voice((tag,), "latin"))
        return cells(document, "missed", "missed")

    return compose


@pytest.mark.parametrize(("kept", "is_missed"), [("yes", False), ("no", True), ("unknown", True)])
def test_a_visit_is_missed_unless_it_is_ticked_as_kept(kept, is_missed, missed):
    assert len(missed(waiting("D-1", [visit(BEFORE[0], kept)]))) == is_missed


@pytest.mark.parametrize(("day", "is_missed"), [(19, True), (20, False), (21, False)])
def test_only_visits_before_today_are_missed(day, is_missed, missed):
    assert len(missed(waiting("D-1", [visit(dt.date(2027, 1, day))]))) == is_missed


@pytest.mark.parametrize(("kept", "is_missed"), [("yes", False), ("no", True), ("unknown", True)])
def test_a_patient_who_was_sent_on_is_asked_after(kept, is_missed, missed):
    """Whoever is waited for elsewhere and did not come there is lost first: common practice, no source."""
    sent = {"done.referral": {"to": "Dr Retina Invented", "expected_on": BEFORE[0]}}
    (unseen,) = missed(waiting("D-1", [], sent))
    assert unseen[:2] == ["Monday, 4 January 2027", "Seen by the surgeon you are sent to"]
    assert len(missed(waiting("D-1", [visit(BEFORE[0], kept, kind="referral")], sent))) == is_missed


def test_the_oldest_comes_first_then_by_record_number(missed):
    rows = missed(
        waiting("D-2", [visit(BEFORE[2]), visit(BEFORE[0])]),
        waiting("D-1", [visit(BEFORE[1]), visit(BEFORE[0]), visit(BEFORE[2], "yes")]),
    )
    assert [(row[0], row[2]) for row in rows] == [
        ("Monday, 4 January 2027", "Patient D-1, D-1"),
        ("Monday, 4 January 2027", "Patient D-2, D-2"),
        ("Monday, 11 January 2027", "Patient D-1, D-1"),
        ("Tuesday, 19 January 2027", "Patient D-2, D-2"),
    ]


@pytest.mark.parametrize(
    ("changes", "call"),
    [
        ({"patient.telephone": "00000 66666", "patient.telephone_shared": "yes"}, "00000 66666; shared"),
        ({"patient.telephone": "00000 66666", "patient.telephone_shared": "no"}, "00000 66666"),
        ({"patient.telephone": None, "patient.telephone_shared": "unknown"}, "not written down"),
    ],
)
def test_a_shared_telephone_is_called_that(changes, call, missed):
    ((_, _, _, found, _),) = missed(waiting("D-1", [visit(BEFORE[0])], changes))
    assert found == call


def test_nobody_knows_whether_a_telephone_is_shared_is_not_private(missed):
    """An unknown is not a no (DEVELOPERS.md, glossary): an illness told to the wrong person cannot be taken back."""
    known, unknown = (
        missed(waiting("D-1", [visit(BEFORE[0])], {"patient.telephone_shared": answer}))[0][3]
        for answer in ("no", "unknown")
    )
    assert known != unknown


def test_a_patient_with_a_number_and_a_reason_gets_room_for_what_was_said(missed):
    (row,) = missed(waiting("D-1", [visit(BEFORE[0], kind="retina")]))
    assert "back of the eye" in row[1]
    assert set(row[4]) == {"_"}


@pytest.mark.parametrize(("tag", "words"), [("en", "No visit before this day is missing."), ("bn", ""), ("hi", "")])
def test_no_visit_missed_is_said(tag, words, make_clinic):
    document = missed_visits([waiting("D-1", [])], make_clinic(), TODAY, Voice((tag,), "latin"))
    (said,) = blocks_of(document, Para, "missed")
    assert words in said.text[0].plain
    assert said.text[0].plain.strip()
    assert blocks_of(document, Table) == []
