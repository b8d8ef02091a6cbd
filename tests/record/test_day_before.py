"""The sheet for the day before: signed off while it says what the surgeon signed off, whatever hour the list gives."""

from __future__ import annotations

import datetime as dt

from consent.record.day_before import sign_off_that_holds
from consent.record.place import Record
from tests.record.acts import without_printing
from tests.record.clock import TestClock
from tests.record.story import Story, make_staff


def signed(record: Record, clock: TestClock) -> Story:
    story = Story(record, make_staff(record))
    story.open()
    story.explain(clock.now)
    story.answer_all()
    story.accept_figures()
    story.sign_off()
    return story


def test_it_carries_the_sign_off_until_it_says_something_else(sqlite_record: Record, clock: TestClock) -> None:
    with without_printing():
        story = signed(sqlite_record, clock)
        counsellor = story.staff.counsellor
        found = sign_off_that_holds(sqlite_record, story.now)
        assert found is not None and (found.by, found.registration) == ("Dr Asha Invented", "INVENTED-0002")
        story.enter(counsellor, "changed", {"plan.time": dt.time(11, 45).isoformat()})
        assert sign_off_that_holds(sqlite_record, story.now) is not None
        story.enter(counsellor, "changed", {"health.anticoagulant": "yes"})
        assert sign_off_that_holds(sqlite_record, story.now) is None


def test_nothing_is_signed_off_before_the_surgeon_has(sqlite_record: Record) -> None:
    with without_printing():
        story = Story(sqlite_record, make_staff(sqlite_record))
        story.open()
        assert sign_off_that_holds(sqlite_record, story.now) is None
