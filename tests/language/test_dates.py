"""Dates and times as printed. What CLDR itself says is in tests/published/test_cldr.py."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

import pytest

from consent.errors import LanguageError
from consent.language import brief_date, clock, clock_with_day_part, full_date, long_date, weekday

MONDAY = date(2026, 2, 9)


def test_english_is_day_first():
    # CLDR en-001 (English, world); plain CLDR "en" is American and month first.
    assert full_date(MONDAY, "en") == "Monday, 9 February 2026"
    assert long_date(MONDAY, "en") == "9 February 2026"
    assert brief_date(MONDAY, "en") == "Mon, 9 Feb"


def test_american_english_when_asked_for():
    assert full_date(MONDAY, "en-US") == "Monday, February 9, 2026"


def test_bengali():
    # A month that releases of CLDR spell alike; February is not one of them.
    assert full_date(date(2026, 3, 9), "bn") == "সোমবার, ৯ মার্চ, ২০২৬"
    assert full_date(date(2026, 3, 9), "bn", "latin") == "সোমবার, 9 মার্চ, 2026"


def test_weekday_heads_a_column():
    assert weekday(MONDAY, "hi") == "सोमवार"


def test_times():
    assert clock(time(7, 0), "en") == "07:00"
    assert clock(time(21, 30), "bn") == "২১:৩০"
    assert clock(time(21, 30), "bn", "latin") == "21:30"
    assert clock_with_day_part(time(7, 0), "hi") == "सुबह 7:00"


def test_no_day_part_in_latin_letters():
    # CLDR 48 has no dayPeriods for Odia, so skeleton Bhm falls back to AM and PM.
    with pytest.raises(LanguageError, match="24-hour"):
        clock_with_day_part(time(7, 0), "or")


def test_a_moment_is_not_a_date():
    with pytest.raises(LanguageError, match="with a time"):
        full_date(datetime(2026, 2, 9, 7, tzinfo=UTC), "en")
