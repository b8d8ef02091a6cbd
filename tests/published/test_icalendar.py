"""RFC 5545: the calendar file read back by two independent programs holds exactly the drops of the plan."""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter

import pytest
import recurring_ical_events
from icalendar import Calendar

from consent.case import Side
from consent.clinic import read_clinic
from consent.drops import DropPlan, Phase, Row, Start, VisitEntry, drops_calendar, plan_regimen
from consent.errors import DropsError

NOW = dt.datetime(2026, 12, 1, 9, 30, tzinfo=dt.UTC)
VISITS = (
    VisitEntry(
        dt.date(2027, 1, 18), "Visit: চোখের চাপ মাপা, and a text long enough to be folded more than once by the rules"
    ),
)


def say(row: Row, phase: Phase) -> str:
    return f"Bottle {row.number}"


def made(regimen: str, surgery: dt.date, start: Start | None = None) -> DropPlan:
    return plan_regimen(read_clinic(), regimen, Side.RIGHT, surgery, dt.time(7), dt.time(22), start)


def written(plan: DropPlan, timezone: str = "Asia/Kolkata", **changed: object) -> bytes:
    arguments: dict[str, object] = {"visits": VISITS, "name": "Drops", "key": "a1b2", "now": NOW, **changed}
    return drops_calendar(plan, say, timezone=timezone, **arguments)  # type: ignore[arg-type]


def expected(plan: DropPlan) -> Counter[tuple[str, dt.datetime]]:
    """Every drop straight from the plan's days and sittings."""
    return Counter(
        (f"Bottle {number}", dt.datetime.combine(day.date, session.at) + dt.timedelta(minutes=offset))
        for day in plan.sessions
        for session in day.sessions
        for number, offset in session.drops
    )


def expanded(file: bytes) -> Counter[tuple[str, dt.datetime]]:
    """Every occurrence of a timed event, in local time, by recurring_ical_events."""
    events = recurring_ical_events.of(Calendar.from_ical(file)).between(dt.date(2026, 1, 1), dt.date(2029, 1, 1))
    return Counter(
        (str(event["SUMMARY"]), event["DTSTART"].dt.replace(tzinfo=None))
        for event in events
        if isinstance(event["DTSTART"].dt, dt.datetime)
    )


@pytest.mark.parametrize("regimen", ["weekly-4-3-2-1", "weekly-6-5-4-3-2-1", "two-hourly-start"])
@pytest.mark.parametrize("start", list(Start))
def test_expanded_events_are_the_drops_of_the_plan(regimen: str, start: Start) -> None:
    """RFC 5545 section 3.8.5.3: the recurrence set, over the year's end and over 29 February 2028."""
    for surgery in (dt.date(2026, 12, 28), dt.date(2028, 2, 25)):
        plan = made(regimen, surgery, start)
        assert expanded(written(plan)) == expected(plan)
        assert sum(expected(plan).values()) == plan.total


@pytest.mark.parametrize("timezone", ["Europe/London", "America/New_York"])
def test_local_times_hold_across_a_change_of_clocks(timezone: str) -> None:
    """RFC 5545 section 3.6.5: clocks change on 14 and 28 March 2027; a drop at seven stays at seven."""
    plan = made("weekly-6-5-4-3-2-1", dt.date(2027, 3, 1))
    assert expanded(written(plan, timezone)) == expected(plan)


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
        assert "TRIGGER" in alarm
    assert len(set(uids)) == len(uids)


def test_until_is_in_utc() -> None:
    """RFC 5545 section 3.3.10: with a time zone on DTSTART, UNTIL is in UTC; 07:00 in Kolkata is 01:30 UTC."""
    text = written(made("weekly-4-3-2-1", dt.date(2027, 2, 24))).decode()
    assert "DTSTART;TZID=Asia/Kolkata:20270225T070000" in text
    untils = re.findall(r"UNTIL=([^;\r\n]+)", text)
    assert untils
    assert all(re.fullmatch(r"\d{8}T\d{6}Z", until) for until in untils)
    assert "RRULE:FREQ=DAILY;UNTIL=20270303T013000Z" in text  # antibiotic, first sitting, last on 3 March


def test_lines_are_folded() -> None:
    """RFC 5545 section 3.1: lines end in CRLF and have at most 75 octets without it."""
    file = written(made("two-hourly-start", dt.date(2026, 12, 28)))
    assert file.endswith(b"\r\n")
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert max(len(line) for line in file.split(b"\r\n")) <= 75


def test_visits_are_whole_days() -> None:
    """RFC 5545 section 3.6.1: a DATE as DTSTART is an all-day event."""
    calendar = Calendar.from_ical(written(made("drop-free", dt.date(2027, 1, 1))))
    (event,) = calendar.walk("VEVENT")
    assert event["DTSTART"].dt == dt.date(2027, 1, 18)
    assert type(event["DTSTART"].dt) is dt.date
    assert event["SUMMARY"] == VISITS[0].text


def test_same_arguments_same_bytes() -> None:
    """Made twice, the file is the same; another key changes the UIDs, a new version keeps them (section 3.8.7.4)."""
    plan = made("weekly-4-3-2-1", dt.date(2027, 2, 24))
    assert written(plan) == written(plan)

    def uids(file: bytes) -> set[str]:
        return {str(event["UID"]) for event in Calendar.from_ical(file).walk("VEVENT")}

    assert uids(written(plan)).isdisjoint(uids(written(plan, key="other")))
    assert uids(written(plan)) == uids(written(plan, version=2))
    assert b"SEQUENCE:1" in written(plan, version=2)


def test_refusals() -> None:
    """No event (section 3.6 asks for one component), a moment without a zone, no such zone, no key."""
    empty, plan = made("drop-free", dt.date(2027, 1, 1)), made("weekly-4-3-2-1", dt.date(2027, 2, 24))
    with pytest.raises(DropsError, match="neither a drop nor a visit"):
        written(empty, visits=())
    with pytest.raises(DropsError, match="no time zone"):
        written(plan, now=NOW.replace(tzinfo=None))
    with pytest.raises(DropsError, match="not a time zone"):
        written(plan, timezone="Asia/Nowhere")
    with pytest.raises(DropsError, match="key is empty"):
        written(plan, key="")
