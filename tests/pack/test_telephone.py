"""What goes to telephones: words of the calendar file, new versions over old ones, the text message."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from consent.case import Answer, Case, DropChange, OwnDrop
from consent.clinic import Clinic
from consent.compose import Voice
from consent.compose.entry import calendar_entry
from consent.drops import Row
from consent.drops.calendar_file import Entry
from consent.drops.events import Run, make_runs
from consent.errors import DropsError, MachineError
from consent.pack import Pack, compose_pack, files, write_pack
from consent.review import assess
from tests.conftest import shipped_case
from tests.published.telephone import Sittings, Telephone, since, until

NOW = dt.datetime(2027, 2, 23, 8, 0, tzinfo=dt.UTC)
SHEETS = ("drop-calendar",)
ENGLISH = Voice(("en",), "locale").speakers[0]


def case_with(**changed: Any) -> Case:
    case = shipped_case("ordinary")
    patient = case.patient.model_copy(update={"language": "en"})
    return case.model_copy(update={"patient": patient, **changed})


def pack_of(case: Case, clinic: Clinic) -> Pack:
    return compose_pack(case, clinic, ("en",), SHEETS)


def changed(case: Case, day: int, regimen: str = "two-hourly-start", version: int = 2) -> Case:
    on = case.plan.date + dt.timedelta(days=day)
    change = DropChange(on=on, regimen=regimen, by="Dr A", why="inflamed")
    return case.model_copy(update={"drop_changes": (*case.drop_changes, change), "version": version})


def file_of(case: Case, clinic: Clinic, now: dt.datetime = NOW, old: Path | None = None) -> bytes:
    file = files.calendar_file(pack_of(case, clinic), now, old)
    assert file is not None
    return file


def sittings(case: Case, clinic: Clinic, first: dt.date | None = None) -> Sittings:
    """Straight from the plan, in the words of the file: from ``first``, or the first day the print is about."""
    plan = assess(case, clinic).drops
    return Sittings(
        (run.first + dt.timedelta(day), calendar_entry(run, ENGLISH).summary)
        for run in make_runs(plan, first or plan.issued_on)
        for day in range(run.days)
    )


@pytest.fixture
def telephone(clinic: Clinic) -> Telephone:
    """A telephone that holds the first version."""
    return Telephone().take(file_of(case_with(), clinic))


def entry(clinic: Clinic, **changed: Any) -> Entry:
    """The first sitting of a changed case."""
    plan = assess(case_with(**changed), clinic).drops
    return calendar_entry(make_runs(plan, plan.issued_on)[0], ENGLISH)


def test_words_of_a_sitting(clinic: Clinic) -> None:
    """Eye and bottles in the line that rings; inside, the drops in their order with waiting and shaking."""
    assert entry(clinic) == Entry(
        "Eye drops, LEFT eye: bottle 1, 2",
        "In this order:\n"
        "Bottle 1, LEFT eye: moxifloxacin 0.5%.\n"
        "Wait 5 minutes.\n"
        "Bottle 2, LEFT eye: prednisolone acetate 1%. Shake first.",
    )


def test_words_of_a_sitting_for_both_eyes(clinic: Clinic) -> None:
    """The eyes are counted apart: no waiting between the right eye and the left."""
    own = (OwnDrop(drug="timolol", eyes="right", times_a_day=2, decision="continue"),)
    assert entry(clinic, own_drops=own) == Entry(
        "Eye drops, RIGHT eye: bottle 3; LEFT eye: bottle 1, 2",
        "In this order:\n"
        "Bottle 1, LEFT eye: moxifloxacin 0.5%.\n"
        "Bottle 3, RIGHT eye: timolol 0.5%.\n"
        "Wait 5 minutes.\n"
        "Bottle 2, LEFT eye: prednisolone acetate 1%. Shake first.",
    )


def test_ointment_comes_last_and_is_said_to(clinic: Clinic) -> None:
    own = (OwnDrop(drug="chloramphenicol-ointment", eyes="left", times_a_day=1, decision="continue"),)
    lines = entry(clinic, own_drops=own).description.splitlines()
    assert lines[-2] == "Wait 10 minutes."
    assert lines[-1].startswith("Tube 3, LEFT eye: chloramphenicol")
    assert lines[-1].endswith("Ointment: last of all.")


def test_an_ointment_comes_in_a_tube(clinic: Clinic) -> None:
    own = OwnDrop(drug="chloramphenicol-ointment", eyes="left", times_a_day=1, decision="continue")
    assert entry(clinic, own_drops=(own,)).summary == "Eye drops, LEFT eye: bottle 1, 2, tube 3"
    other = own.model_copy(update={"eyes": "right"})
    assert entry(clinic, own_drops=(other,)).summary == "Eye drops, RIGHT eye: tube 3; LEFT eye: bottle 1, 2"
    free = case_with().plan.model_copy(update={"regimen": "drop-free"})
    assert entry(clinic, own_drops=(own,), plan=free).summary == "Eye drops, LEFT eye: tube 1"


def test_two_drops_from_one_bottle_are_two_lines_and_one_number(clinic: Clinic) -> None:
    own = (OwnDrop(drug="timolol", eyes="left", times_a_day=2, drops_per_dose=2, decision="continue"),)
    words = entry(clinic, own_drops=own)
    assert words.summary == "Eye drops, LEFT eye: bottle 1, 3, 2"
    assert words.description.count("Bottle 3, LEFT eye") == 2
    assert words.description.count("Wait 5 minutes.") == 3


def test_bottle_is_shaken_once_in_a_sitting(clinic: Clinic) -> None:
    plan = assess(case_with(), clinic).drops
    row: Row = plan.row(2)
    moment = dt.datetime.combine(plan.surgery, dt.time(7))
    words = calendar_entry(Run(((row, 0), (row, 5)), moment, moment), ENGLISH)
    assert words.description.count("Shake first.") == 1


def test_a_changed_case_written_over_the_old_one(clinic: Clinic, tmp_path: Path, telephone: Telephone) -> None:
    """RFC 5545 sections 3.8.1.11 and 3.8.7.4: from the change on the new drops alone, before it what was told."""
    old, new = case_with(), changed(case_with(), 9)
    path = tmp_path / "drops.ics"
    path.write_bytes(file_of(old, clinic))
    on = new.drop_changes[0].on
    now = dt.datetime.combine(on, dt.time(4), dt.UTC)
    telephone.take(file_of(new, clinic, now, path))
    assert telephone.sittings() == until(sittings(old, clinic), on) + since(sittings(new, clinic), on)


def test_no_old_file_is_needed_for_changes(clinic: Clinic, telephone: Telephone) -> None:
    """Earlier versions follow from the changes of the case."""
    old, new = case_with(), changed(case_with(), 9)
    third = changed(new, 13, "nsaid-no-steroid", version=3)
    telephone.take(file_of(third, clinic, dt.datetime(2027, 3, 9, 6, tzinfo=dt.UTC)))
    on = third.drop_changes[-1].on
    assert since(telephone.sittings(), on) == since(sittings(third, clinic), on)
    assert since(telephone.sittings(), on) != since(sittings(old, clinic), on)


def test_an_operation_put_off_and_a_name_corrected(clinic: Clinic, tmp_path: Path, telephone: Telephone) -> None:
    """Neither the date nor the name is in the key: the drops of the old date are taken back."""
    path = tmp_path / "drops.ics"
    path.write_bytes(file_of(case_with(), clinic))
    case = case_with()
    later = case.model_copy(
        update={
            "plan": case.plan.model_copy(update={"date": case.plan.date + dt.timedelta(days=3)}),
            "patient": case.patient.model_copy(update={"name": "Santi Example"}),
            "version": 2,
        }
    )
    assert telephone.take(file_of(later, clinic, NOW, path)).sittings() == sittings(later, clinic)


def test_drops_taken_off_before_surgery_are_taken_back(clinic: Clinic, tmp_path: Path, telephone: Telephone) -> None:
    path = tmp_path / "drops.ics"
    path.write_bytes(file_of(case_with(), clinic))
    case = case_with(version=2, visits=())
    free = case.model_copy(update={"plan": case.plan.model_copy(update={"regimen": "drop-free"})})
    telephone.take(file_of(free, clinic, NOW, path))
    assert not telephone.sittings()
    assert not telephone.visits()
    assert files.calendar_file(pack_of(free, clinic), NOW) is None
    assert files.calendar_file(pack_of(free, clinic), NOW, tmp_path / "none.ics") is None


def second_of(first: Case, days: int = 12) -> Case:
    """The case of the other eye, so many days after ``first``, which is still on its drops."""
    regimen = first.plan.regimen or "weekly-4-3-2-1"
    return first.model_copy(
        update={
            "eye": first.eye.model_copy(update={"side": first.eye.side.other}),
            "other_eye": first.other_eye.model_copy(update={"regimen": regimen, "operated_on": first.plan.date}),
            "plan": first.plan.model_copy(update={"date": first.plan.date + dt.timedelta(days=days)}),
            "visits": (),
        }
    )


@pytest.mark.parametrize("in_folder", [True, False])
def test_the_second_eye_ends_the_file_of_the_first(clinic: Clinic, tmp_path: Path, in_folder: bool) -> None:
    """The first eye's drops stand in the second eye's plan; both files on one telephone ring once."""
    first = case_with()
    telephone = Telephone().take(file_of(first, clinic))
    path = tmp_path / "drops.ics"
    if in_folder:
        path.write_bytes(file_of(first, clinic))
    second = second_of(first)
    date = second.plan.date
    telephone.take(file_of(second, clinic, NOW, path))
    assert telephone.sittings() == until(sittings(first, clinic), date) + since(sittings(second, clinic), date)
    both = [text for _, text in telephone.sittings() if "RIGHT eye" in text and "LEFT eye" in text]
    assert both


@pytest.mark.parametrize("days", [20, 8])
def test_the_second_eye_put_off_leaves_no_day_of_the_first_empty(clinic: Clinic, tmp_path: Path, days: int) -> None:
    """RFC 5545 section 3.8.7.4. The first file was ended on day 12; put off to day 20, days 12 to 19 ring again."""
    own = (OwnDrop(drug="timolol", eyes="each", times_a_day=2, decision="continue"),)
    first = case_with(own_drops=own)
    second = second_of(first)
    put_off = second_of(first, days).model_copy(update={"version": 2})
    path = tmp_path / "drops.ics"
    telephone = Telephone()
    for case, day in ((first, 0), (second, 6), (put_off, 7)):
        now = dt.datetime.combine(first.plan.date + dt.timedelta(days=day), dt.time(8), dt.UTC)
        path.write_bytes(file_of(case, clinic, now, path))
        telephone.take(path.read_bytes())
    begins = first.plan.date + dt.timedelta(days=min(days, 12))
    expected = until(sittings(first, clinic), begins) + sittings(put_off, clinic, begins)
    assert telephone.sittings() == expected
    between = {moment.date() for moment, _ in telephone.sittings()}
    assert {first.plan.date + dt.timedelta(days=day) for day in range(1, 28)} <= between


def test_a_change_of_drops_that_were_put_forward(clinic: Clinic) -> None:
    """The case names no regimen: what was printed before the change is what was put forward, not the clinic's own."""
    health = case_with().health.model_copy(update={"diabetes": Answer.YES})
    old = case_with(health=health, plan=case_with().plan.model_copy(update={"regimen": None}))
    put_forward = assess(old, clinic).drops.regimen.id
    assert put_forward != clinic.drops.regimen
    on = old.plan.date + dt.timedelta(days=9)
    pack = pack_of(old.model_copy(update={"plan": old.plan.model_copy(update={"regimen": put_forward})}), clinic)
    changed_plan = assess(changed(pack.assessment.case, 9), clinic)
    nameless = replace(changed_plan, case=changed(old, 9))
    telephone = Telephone().take(file_of(old, clinic))
    file = files.calendar_file(replace(pack, assessment=nameless), dt.datetime(2027, 3, 5, 6, tzinfo=dt.UTC))
    assert file is not None
    telephone.take(file)
    assert since(telephone.sittings(), on) == since(sittings(changed(pack.assessment.case, 9), clinic), on)


def test_a_change_to_no_drops_printed_into_another_folder(clinic: Clinic, telephone: Telephone) -> None:
    """On day 1, without a visit: nothing is left to write but what the telephone still holds."""
    case = changed(case_with(visits=()), 1, "drop-free")
    telephone = Telephone().take(file_of(case_with(visits=()), clinic))
    assert telephone.sittings()
    assert not telephone.take(file_of(case, clinic, dt.datetime(2027, 2, 25, 1, tzinfo=dt.UTC))).sittings()


def test_cancelled_words_are_the_patients(clinic: Clinic) -> None:
    case = changed(case_with(plan=case_with().plan.model_copy(update={"regimen": "weekly-6-5-4-3-2-1"})), 9)
    file = file_of(case, clinic, dt.datetime(2027, 3, 6, tzinfo=dt.UTC))
    gone = [event for event in Calendar.from_ical(file).walk("VEVENT") if event["STATUS"] == "CANCELLED"]
    assert {str(event["SUMMARY"]) for event in gone} == {"Cancelled: leave this out"}


def test_time_zone_is_the_clinics(clinic: Clinic) -> None:
    """RFC 5545 section 3.2.19."""
    there = clinic.model_copy(update={"time_zone": "Asia/Kathmandu"})
    file = file_of(case_with(), there)
    assert b"TZID:Asia/Kathmandu" in file
    assert b"DTSTART;TZID=Asia/Kathmandu:20270225T070000" in file
    assert b"Kolkata" not in file


def test_a_broken_file_is_never_overwritten(clinic: Clinic, tmp_path: Path) -> None:
    """The old file may be all that is known of drops on a telephone: nothing is written until it is put right."""
    path = tmp_path / "drops.ics"
    path.write_bytes(b"BEGIN:VCALENDAR\r\nhalf")
    with pytest.raises(DropsError, match=r"drops\.ics: .*cannot be read(.|\n)*what to do"):
        write_pack(pack_of(case_with(), clinic), tmp_path, NOW)
    assert [entry.name for entry in tmp_path.iterdir()] == ["drops.ics"]
    assert path.read_bytes() == b"BEGIN:VCALENDAR\r\nhalf"


def test_an_old_file_that_is_a_folder_is_said(clinic: Clinic, tmp_path: Path) -> None:
    (tmp_path / "drops.ics").mkdir()
    with pytest.raises(MachineError, match=r"cannot be read \(Is a directory\)(.|\n)*move it away"):
        write_pack(pack_of(case_with(), clinic), tmp_path, NOW)


def test_pack_written_over_a_pack(clinic: Clinic, tmp_path: Path, telephone: Telephone) -> None:
    """The writer itself finds the old file, and the index counts the parts of the message."""
    write_pack(pack_of(case_with(), clinic), tmp_path, NOW)
    new = changed(case_with(), 9)
    written = write_pack(pack_of(new, clinic), tmp_path, dt.datetime(2027, 3, 5, 6, tzinfo=dt.UTC))
    telephone.take((tmp_path / "drops.ics").read_bytes())
    on = new.drop_changes[0].on
    assert since(telephone.sittings(), on) == since(sittings(new, clinic), on)
    (message,) = [entry for entry in written if entry.sheet == "message-file"]
    text = message.path.read_text(encoding="utf-8")
    assert message.path.name == "drops.en.txt"
    assert text.splitlines()[1] == "The earlier message no longer holds."
    html = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert f"Drops and visits as a text message ({message.parts} parts)" in html
    assert json.loads((tmp_path / "assessment.json").read_text(encoding="utf-8"))["final"] is False


def test_a_language_without_words_falls_back_to_the_clinics(clinic: Clinic) -> None:
    """The patient's own language is one nobody wrote: the file speaks the clinic's, as the sheets asked for do."""
    case = case_with()
    marathi = case.model_copy(update={"patient": case.patient.model_copy(update={"language": "mr"})})
    assert b"Eye drops\\, LEFT eye" in file_of(marathi, clinic)
