"""RFC 5545: the calendar file read back by two independent programs holds exactly the sittings of the plan."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from icalendar import Calendar

from consent.case import DropChange, Side
from consent.clinic import read_clinic
from consent.drops import DropPlan, Order, Start, VisitEntry, drops_calendar, make_plan, plan_regimen
from consent.drops.calendar_file import Before
from consent.errors import DropsError
from tests.published.telephone import Telephone, expanded, say, since, sittings_of, until

NOW = dt.datetime(2026, 12, 1, 9, 30, tzinfo=dt.UTC)
VISITS = (
    VisitEntry(
        dt.date(2027, 1, 18), "Visit: চোখের চাপ মাপা, and a text long enough to be folded more than once by the rules"
    ),
)
CLINIC = read_clinic()


def made(regimen: str, surgery: dt.date, start: Start | None = None) -> DropPlan:
    return plan_regimen(CLINIC, regimen, Side.RIGHT, surgery, dt.time(7), dt.time(22), start)


def changed(surgery: dt.date, day: int, before: str = "weekly-4-3-2-1") -> DropPlan:
    change = DropChange(on=surgery + dt.timedelta(days=day), regimen="two-hourly-start", by="Dr A", why="inflamed")
    return make_plan(Order(before, Side.RIGHT, surgery, dt.time(7), dt.time(22), changes=(change,)), CLINIC)


def written(plan: DropPlan, timezone: str = "Asia/Kolkata", **changed: Any) -> bytes:
    arguments: dict[str, Any] = {"visits": VISITS, "name": "Drops", "key": "a1b2", "now": NOW, "void": "No", **changed}
    file = drops_calendar(plan, say, timezone=timezone, **arguments)
    assert file is not None
    return file


def events(file: bytes) -> dict[str, Any]:
    """Timed events by UID."""
    found = Calendar.from_ical(file).walk("VEVENT")
    return {str(event["UID"]): event for event in found if isinstance(event.DTSTART, dt.datetime)}


@pytest.mark.parametrize("regimen", ["weekly-4-3-2-1", "weekly-6-5-4-3-2-1", "two-hourly-start"])
@pytest.mark.parametrize("start", list(Start))
def test_expanded_events_are_the_sittings_of_the_plan(regimen: str, start: Start) -> None:
    """RFC 5545 section 3.8.5.3: the recurrence set, over the year's end and over 29 February 2028."""
    for surgery in (dt.date(2026, 12, 28), dt.date(2028, 2, 25)):
        plan = made(regimen, surgery, start)
        sittings = expanded(Calendar.from_ical(written(plan)))
        assert sittings == sittings_of(plan)
        assert sum(len(text.split()) for _, text in sittings.elements()) == plan.total
        assert any(moment.date() == dt.date(2028, 2, 29) for moment, _ in sittings) == (surgery.year == 2028)


@pytest.mark.parametrize("timezone", ["Europe/London", "America/New_York"])
def test_local_times_hold_across_a_change_of_clocks(timezone: str) -> None:
    """RFC 5545 section 3.6.5: clocks change on 14 and 28 March 2027; a sitting at seven stays at seven."""
    plan = made("weekly-6-5-4-3-2-1", dt.date(2027, 3, 1))
    file = written(plan, timezone)
    assert expanded(Calendar.from_ical(file)) == sittings_of(plan)
    (zone,) = Calendar.from_ical(file).walk("VTIMEZONE")
    assert zone.walk("STANDARD")
    assert zone.walk("DAYLIGHT")
    changes = {sub.DTSTART.date() for sub in zone.subcomponents}
    assert changes & {dt.date(2027, 3, 14), dt.date(2027, 3, 28)}


def test_one_event_for_a_sitting() -> None:
    """RFC 5545 section 3.6.1: an event is one scheduled time; four sittings on day 1 are four events, not eight."""
    plan = made("weekly-4-3-2-1", dt.date(2027, 2, 24))
    first = [event for event in events(written(plan)).values() if event.DTSTART.date() == dt.date(2027, 2, 25)]
    assert len(first) == len(plan.sessions[0].sessions) == 4
    assert {str(event["SUMMARY"]) for event in first} == {"1+0 2+5"}
    runs = {(event.DTSTART.date(), event.DTSTART.time()) for event in events(written(plan)).values()}
    assert (dt.date(2027, 3, 4), dt.time(7)) in runs, "bottle 2 alone at seven, from week 2 to the end in one event"
    assert (dt.date(2027, 3, 11), dt.time(7)) not in runs


def test_required_properties() -> None:
    """RFC 5545 sections 3.6 (PRODID, VERSION), 3.6.1 (UID, DTSTAMP, DTSTART), 3.6.6 (ACTION, TRIGGER, DESCRIPTION)."""
    calendar = Calendar.from_ical(written(made("two-hourly-start", dt.date(2026, 12, 28))))
    assert calendar["VERSION"] == "2.0"
    assert calendar["PRODID"]
    assert "METHOD" not in calendar
    zones = calendar.walk("VTIMEZONE")
    assert [zone["TZID"] for zone in zones] == ["Asia/Kolkata"]
    uids = []
    for event in calendar.walk("VEVENT"):
        uids.append(event["UID"])
        assert event["DTSTAMP"].dt == NOW
        assert event["DTSTART"].dt
        (alarm,) = event.walk("VALARM")
        assert (alarm["ACTION"], alarm["DESCRIPTION"]) == ("DISPLAY", event["SUMMARY"])
        timed = isinstance(event.DTSTART, dt.datetime)
        assert alarm["TRIGGER"].dt == (dt.timedelta() if timed else dt.timedelta(hours=-12))
    assert len(set(uids)) == len(uids)


def test_duration_is_the_length_of_the_sitting() -> None:
    """RFC 5545 section 3.8.2.5; never under 5 minutes, which a telephone would draw as a line."""
    plan = made("two-hourly-start", dt.date(2026, 12, 28))
    minutes = {
        dt.datetime.combine(day.date, session.at): max(session.minutes, 5)
        for day in plan.sessions
        for session in day.sessions
    }
    lengths = Counter()
    for event in events(written(plan)).values():
        length = event["DURATION"].dt // dt.timedelta(minutes=1)
        assert length == minutes[event.DTSTART.replace(tzinfo=None)]
        lengths[length] += 1
    assert {5, 15} <= lengths.keys()


def test_until_is_in_utc() -> None:
    """RFC 5545 section 3.3.10: with a time zone on DTSTART, UNTIL is in UTC; 07:00 in Kolkata is 01:30 UTC."""
    text = written(made("weekly-4-3-2-1", dt.date(2027, 2, 24))).decode()
    assert "DTSTART;TZID=Asia/Kolkata:20270225T070000" in text
    untils = re.findall(r"UNTIL=([^;\r\n]+)", text)
    assert untils
    assert all(re.fullmatch(r"\d{8}T\d{6}Z", until) for until in untils)
    assert "RRULE:FREQ=DAILY;UNTIL=20270303T013000Z" in text  # antibiotic, first sitting, last on 3 March


def test_until_across_a_change_of_clocks_is_the_last_sitting() -> None:
    """RFC 5545 sections 3.3.10 and 3.6.5: seven o'clock is 07:00 UTC in winter and 06:00 UTC in summer in London."""
    text = written(made("weekly-6-5-4-3-2-1", dt.date(2027, 3, 1)), "Europe/London").decode()
    assert "UNTIL=20270412T060000Z" in text


def test_lines_are_folded() -> None:
    """RFC 5545 section 3.1: lines end in CRLF and have at most 75 octets without it."""
    file = written(made("two-hourly-start", dt.date(2026, 12, 28)))
    assert file.endswith(b"\r\n")
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert max(len(line) for line in file.split(b"\r\n")) <= 75
    assert b"\r\n " in file


def test_visits_are_whole_days() -> None:
    """RFC 5545 section 3.6.1: a DATE as DTSTART is an all-day event."""
    calendar = Calendar.from_ical(written(made("drop-free", dt.date(2027, 1, 1))))
    (event,) = calendar.walk("VEVENT")
    assert event["DTSTART"].dt == dt.date(2027, 1, 18)
    assert type(event["DTSTART"].dt) is dt.date
    assert event["SUMMARY"] == VISITS[0].text


def test_two_visits_on_one_day_are_two_events() -> None:
    """RFC 5545 section 3.8.4.7: a UID is unique."""
    day = dt.date(2027, 1, 18)
    file = written(made("drop-free", dt.date(2027, 1, 1)), visits=[VisitEntry(day, "one"), VisitEntry(day, "two")])
    assert len({str(event["UID"]) for event in Calendar.from_ical(file).walk("VEVENT")}) == 2


def test_same_arguments_same_bytes() -> None:
    """Made twice, the file is the same; another key changes the UIDs, a new version keeps them (section 3.8.7.4)."""
    plan = made("weekly-4-3-2-1", dt.date(2027, 2, 24))
    assert written(plan) == written(plan)

    def uids(file: bytes) -> set[str]:
        return {str(event["UID"]) for event in Calendar.from_ical(file).walk("VEVENT")}

    assert uids(written(plan)).isdisjoint(uids(written(plan, key="other")))
    assert uids(written(plan)) == uids(written(plan, version=2))
    assert b"SEQUENCE:1" in written(plan, version=2)
    assert b"SEQUENCE:0" not in written(plan, version=2)


SURGERY = dt.date(2027, 2, 24)
CHANGE = SURGERY + dt.timedelta(days=10)
AT_CHANGE = dt.datetime.combine(CHANGE, dt.time(3), dt.UTC)


def second_version(regimen: str = "weekly-4-3-2-1", **more: Any) -> bytes:
    first = made(regimen, SURGERY)
    before = Before(file=written(first), plans=(first,))
    return written(changed(SURGERY, 10, regimen), **{"now": AT_CHANGE, "version": 2, "before": before, **more})


def test_a_run_that_a_change_ends_keeps_its_uid_and_start() -> None:
    """RFC 5545 sections 3.8.4.7 and 3.8.5.3: bottle 2 at seven ran from 4 March; the change on 6 March ends it."""
    old, new = events(written(made("weekly-4-3-2-1", SURGERY))), events(second_version())
    moment = dt.datetime.combine(dt.date(2027, 3, 4), dt.time(7))
    (uid,) = [uid for uid, event in old.items() if event.DTSTART.replace(tzinfo=None) == moment]
    assert new[uid].DTSTART == old[uid].DTSTART
    assert old[uid]["RRULE"]["UNTIL"] == [dt.datetime(2027, 3, 24, 1, 30, tzinfo=dt.UTC)]
    assert new[uid]["RRULE"]["UNTIL"] == [dt.datetime(2027, 3, 5, 1, 30, tzinfo=dt.UTC)]
    assert int(new[uid]["SEQUENCE"]) == 1


def test_what_no_longer_holds_is_cancelled() -> None:
    """RFC 5545 section 3.8.1.11: STATUS CANCELLED; it neither repeats nor rings, and shows no bottle."""
    old = events(written(made("weekly-6-5-4-3-2-1", SURGERY)))
    new = events(second_version("weekly-6-5-4-3-2-1"))
    gone = [event for event in new.values() if event["STATUS"] == "CANCELLED"]
    later = {uid for uid, event in old.items() if event.DTSTART.date() >= CHANGE}
    assert later
    assert {str(event["UID"]) for event in gone} == later, "the change has no sitting that starts on the same day"
    for event in gone:
        assert event.DTSTART.date() >= CHANGE
        assert int(event["SEQUENCE"]) == 1
        assert str(event["SUMMARY"]) == "No"
        assert "RRULE" not in event
        assert "DESCRIPTION" not in event
        assert not event.walk("VALARM")
    assert {event["STATUS"] for event in new.values()} == {"CANCELLED", "CONFIRMED"}


def test_only_days_of_the_change_and_after_are_new() -> None:
    """A version after a change tells no earlier day anew: its new events start on the day of the change or later."""
    old, new = events(written(made("weekly-4-3-2-1", SURGERY))), events(second_version())
    assert all(event.DTSTART.date() >= CHANGE for uid, event in new.items() if uid not in old)


def test_visits_that_moved_are_cancelled_and_those_past_stay() -> None:
    """RFC 5545 section 3.8.1.11, for all-day events."""
    old_days = [SURGERY + dt.timedelta(days=day) for day in (1, 7, 28)]
    new_days = [SURGERY + dt.timedelta(days=day) for day in (12, 28)]
    first = written(made("weekly-4-3-2-1", SURGERY), visits=[VisitEntry(day, "Visit") for day in old_days])
    second = second_version(visits=[VisitEntry(day, "Visit") for day in new_days], before=Before(file=first))
    assert Telephone().take(first).take(second).visits() == [*old_days[:2], *new_days]
    early = second_version(visits=[VisitEntry(day, "Visit") for day in new_days], before=Before(file=first), now=NOW)
    assert Telephone().take(first).take(early).visits() == new_days


def test_another_patient_in_the_old_file_is_never_touched() -> None:
    """UIDs of one key share a prefix; a file of another key is neither read from nor cancelled."""
    plan = made("weekly-4-3-2-1", SURGERY)
    other = written(plan, key="another patient")
    mine = written(changed(SURGERY, 10), now=AT_CHANGE, version=2, before=Before(file=other))
    assert not events(mine).keys() & events(other).keys()
    telephone = Telephone().take(other)
    assert telephone.take(mine).events.keys() >= events(other).keys()
    assert all(event["STATUS"] == "CONFIRMED" for uid, event in telephone.events.items() if uid in events(other))


def test_refusals() -> None:
    """A moment without a zone, no such zone, no key."""
    plan = made("weekly-4-3-2-1", dt.date(2027, 2, 24))
    with pytest.raises(DropsError, match="no time zone"):
        written(plan, now=NOW.replace(tzinfo=None))
    with pytest.raises(DropsError, match="not a time zone"):
        written(plan, timezone="Asia/Nowhere")
    with pytest.raises(DropsError, match="key is empty"):
        written(plan, key="")


def test_no_event_no_file() -> None:
    """RFC 5545 section 3.6 asks for one component at least: neither a drop nor a visit is no calendar."""
    empty = made("drop-free", dt.date(2027, 1, 1))
    assert drops_calendar(empty, say, name="Drops", key="a1b2", now=NOW, void="No") is None
    other = written(made("weekly-4-3-2-1", SURGERY), key="another patient")
    assert drops_calendar(empty, say, name="Drops", key="a1b2", now=NOW, void="No", before=Before(other)) is None


def exported(file: bytes, form: str) -> bytes:
    """``file`` as a telephone may write it out again: the same moments, told in another way."""
    if form == "a zone of its own":
        return file.replace(b"TZID=Asia/Kolkata", b"TZID=Telephone").replace(b"TZID:Asia/Kolkata", b"TZID:Telephone")

    def start(found: re.Match[bytes]) -> bytes:
        local = dt.datetime.strptime(found[1].decode(), "%Y%m%dT%H%M%S").replace(tzinfo=dt.UTC)
        kept = local if form == "floating" else local - dt.timedelta(hours=5, minutes=30)
        return f"DTSTART:{kept:%Y%m%dT%H%M%S}{'' if form == 'floating' else 'Z'}".encode()

    def until(found: re.Match[bytes]) -> bytes:
        moment = dt.datetime.strptime(found[1].decode(), "%Y%m%dT%H%M%S").replace(tzinfo=dt.UTC)
        local = moment + dt.timedelta(hours=5, minutes=30)
        return f"UNTIL={local:%Y%m%d}{f'T{local:%H%M%S}' if form == 'floating' else ''}".encode()

    file = re.sub(rb"DTSTART;TZID=Asia/Kolkata:(\w+)", start, file)
    return file if form == "UTC" else re.sub(rb"UNTIL=(\w+)Z", until, file)


@pytest.mark.parametrize("form", ["UTC", "floating", "a zone of its own", "UTC, the last day as a date"])
def test_a_file_that_a_telephone_exported(form: str) -> None:
    """RFC 5545 section 3.3.5, forms 1 and 2, and section 3.3.10: DTSTART floating or in UTC, UNTIL as a date.

    Waking at four: in UTC the first sitting is on the day before.
    """
    order = Order("weekly-4-3-2-1", Side.RIGHT, SURGERY, dt.time(4), dt.time(22))
    change = DropChange(on=CHANGE, regimen="two-hourly-start", by="Dr A", why="inflamed")
    first, second = make_plan(order, CLINIC), make_plan(replace(order, changes=(change,)), CLINIC)
    file = written(first)
    assert exported(file, form) != file
    before = Before(file=exported(file, form))
    new = written(second, now=AT_CHANGE, version=2, before=before)
    same = written(second, now=AT_CHANGE, version=2, before=Before(file=file))
    assert starts_and_ends(new) == starts_and_ends(same)
    telephone = Telephone().take(file).take(new)
    assert telephone.sittings() == until(sittings_of(first), CHANGE) + since(sittings_of(second), CHANGE)


def starts_and_ends(file: bytes) -> dict[str, tuple[bytes, str, bytes]]:
    """Of each event its start and its zone as written, and its rule."""
    found = {}
    for uid, event in events(file).items():
        rule = event["RRULE"].to_ical() if "RRULE" in event else b""
        found[uid] = (event["DTSTART"].to_ical(), event["DTSTART"].params["TZID"], rule)
    return found


def test_an_end_by_the_other_eye_is_no_version() -> None:
    """The case of the eye operated on first, printed again over the calendar that ended it: a version is no help."""
    first = made("weekly-4-3-2-1", SURGERY)
    second = make_plan(
        Order(
            "weekly-4-3-2-1",
            Side.LEFT,
            CHANGE,
            dt.time(7),
            dt.time(22),
            other_eye=("weekly-4-3-2-1", SURGERY),
        ),
        CLINIC,
    )
    ended = written(second, key="second eye", before=Before(file=written(first), other_eye=("a1b2", first)))
    with pytest.raises(DropsError, match=r"ended by that of the other eye(.|\n)*eye operated on last"):
        written(first, version=2, before=Before(file=ended))


def test_a_later_version_in_the_folder_is_refused() -> None:
    """RFC 5546 section 2.1.5: a lower SEQUENCE would be ignored, and the telephone would keep the later drops."""
    plan = made("weekly-4-3-2-1", SURGERY)
    with pytest.raises(DropsError, match=r"version 3, this case is version 2(.|\n)*version = 3 or more"):
        written(plan, version=2, before=Before(file=written(plan, version=3)))


WHOLE = written(made("weekly-4-3-2-1", SURGERY))


@pytest.mark.parametrize(
    "content",
    [
        b"not a calendar",
        b"\xff\xfe\x00",
        b"",
        b"BEGIN:VEVENT\r\nUID:x\r\nEND:VEVENT\r\n",
        WHOLE[: len(WHOLE) // 2],
        WHOLE.replace(b"DTSTART;TZID=Asia/Kolkata:2027", b"DTSTART;TZID=Asia/Kolkata:20x7"),
        WHOLE.replace(b"DTSTART;", b"X-START;"),
        WHOLE.replace(b"SEQUENCE:0", b"SEQUENCE:none"),
        re.sub(rb"UNTIL=\w+", b"COUNT=3", WHOLE),
        re.sub(rb"UNTIL=\w+", b"UNTIL=soon", WHOLE),
    ],
    ids=["text", "bytes", "empty", "event", "half", "date", "no start", "sequence", "no until", "until"],
)
def test_a_broken_old_file_is_refused_with_advice(content: bytes) -> None:
    with pytest.raises(DropsError, match=r"old\.ics: .*cannot be read(.|\n)*what to do: put an unharmed copy"):
        written(changed(SURGERY, 10), version=2, before=Before(file=content, where="old.ics"))


def test_issued_days() -> None:
    """A plan with drops before surgery is about those days too; after a change, about the change and after."""
    assert made("weekly-4-3-2-1", SURGERY).issued_on == SURGERY
    assert changed(SURGERY, 10).issued_on == CHANGE
