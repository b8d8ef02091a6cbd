"""Unicode CLDR 48 as Babel carries it: plural forms, digits, direction, grouping, and dates."""

from __future__ import annotations

import gettext
import json
import re
import subprocess
import sys
import unicodedata
from datetime import date, time, timedelta

import pytest

from consent.language import (
    brief_date,
    clock,
    direction,
    full_date,
    languages_with_rules,
    long_date,
    numerals,
    plural_header,
    plural_index,
    script_of,
    weekday,
)
from consent.language.numbers import numbering_system
from consent.language.tags import locale_of

TAGS = ("en", "bn", "hi", "ur", "or", "ne", "ta", "te")
NATIVE = ("bn", "hi", "ur", "or", "ne", "ta", "te")
COUNTS = (0, 1, 2, 3, 5, 11, 100, 1000, 1_000_000)
MONTHS = [date(2026, month, 5) for month in range(1, 13)]


@pytest.mark.parametrize("tag", languages_with_rules())
@pytest.mark.parametrize("count", COUNTS)
def test_plural_forms(tag, count):
    # CLDR plurals.xml, cardinal: "one" is form 0, "other" form 1. Two readings: Babel's rule, Python's gettext parser.
    from babel import Locale

    category = Locale.parse(tag).plural_form(count)
    assert ["one", "other"][plural_index(tag, count)] == category
    expression = re.fullmatch(r"nplurals=2; plural=(.+);", plural_header(tag))
    assert gettext.c2py(expression[1])(count) == plural_index(tag, count)


@pytest.mark.parametrize(
    ("tag", "row"),
    [
        # CLDR 48 language plural rules, values 0 1 2 3 11.
        ("bn", "one one other other other"),
        ("hi", "one one other other other"),
        ("ur", "other one other other other"),
        ("or", "other one other other other"),
        ("ne", "other one other other other"),
        ("ta", "other one other other other"),
        ("te", "other one other other other"),
    ],
)
def test_plural_chart(tag, row):
    assert [["one", "other"][plural_index(tag, n)] for n in (0, 1, 2, 3, 11)] == row.split()


@pytest.mark.parametrize(
    ("tag", "script", "way", "system", "text"),
    [
        # CLDR 48, ICU 78: default digits, direction, grouping of 1234567.
        ("en", "Latn", "ltr", "latn", "1,234,567"),
        ("bn", "Beng", "ltr", "beng", "১২,৩৪,৫৬৭"),
        ("hi", "Deva", "ltr", "latn", "12,34,567"),
        ("ta", "Taml", "ltr", "latn", "12,34,567"),
        ("te", "Telu", "ltr", "latn", "12,34,567"),
        ("or", "Orya", "ltr", "latn", "12,34,567"),
        ("ur", "Arab", "rtl", "latn", "1,234,567"),
        ("ur-IN", "Arab", "rtl", "arabext", "۱٬۲۳۴٬۵۶۷"),
        ("ne", "Deva", "ltr", "deva", "१२,३४,५६७"),
    ],
)
def test_digits_direction_grouping(tag, script, way, system, text):
    assert (script_of(tag), direction(tag)) == (script, way)
    assert numbering_system(tag, "locale") == system
    assert numerals(tag).integer(1234567) == text
    assert numerals(tag, "latin").integer(1234567).isascii()


@pytest.mark.parametrize(
    ("tag", "zero"),
    [("bn", 0x09E6), ("hi", 0x0966), ("ne", 0x0966), ("or", 0x0B66), ("te", 0x0C66), ("ta", 0x0BE6), ("ur", 0x06F0)],
)
def test_native_digits(tag, zero):
    # CLDR numberingSystems.xml; values by the Unicode Character Database.
    text = numerals(tag, "native").ungrouped(9876543210)
    assert text[-1] == chr(zero)
    assert [unicodedata.digit(letter) for letter in text] == [9, 8, 7, 6, 5, 4, 3, 2, 1, 0]


@pytest.mark.parametrize("tag", [*TAGS, "ur-IN"])
@pytest.mark.parametrize("number", [0, 7, 999, 1000, 10_000, 99_999, 100_000, 12_345_678, -1_000])
def test_grouping_agrees_with_babel(tag, number):
    # A second way to the same text: Babel's own pattern engine, in Latin digits.
    from babel.numbers import format_decimal

    expected = format_decimal(number, locale=tag.replace("-", "_"), numbering_system="latn")
    assert numerals(tag, "latin").integer(number) == expected.replace("\u200e", "")


@pytest.mark.parametrize("tag", TAGS)
@pytest.mark.parametrize("write", [full_date, long_date, brief_date])
@pytest.mark.parametrize("digits", ["locale", "latin", "native"])
def test_the_month_is_always_a_word(tag, write, digits):
    # CLDR short dates: Odia 3/5/26 is month first, Nepali २६/३/५ year first. A date in digits would be misread.
    from babel.dates import get_month_names

    for day in MONTHS:
        text = write(day, tag, digits)
        names = [get_month_names(width, locale=locale_of(tag))[day.month] for width in ("wide", "abbreviated")]
        assert any(name in text for name in names), text
        numbers = ["".join(str(unicodedata.digit(c)) for c in run) for run in re.findall(r"\d+", text)]
        assert sorted(numbers) == sorted(["5"] if write is brief_date else ["5", "2026"])
        assert not re.search(r"\d\s*[/.\-]\s*\d", text)


@pytest.mark.parametrize(
    ("tag", "text"),
    [
        # CLDR 48, dateFormatLength full, 5 March 2026.
        ("bn", "বৃহস্পতিবার, ৫ মার্চ, ২০২৬"),
        ("hi", "गुरुवार, 5 मार्च 2026"),
        ("or", "ଗୁରୁବାର, ମାର୍ଚ୍ଚ 5, 2026"),
        ("ne", "२०२६ मार्च ५, बिहिबार"),
        ("ur", "جمعرات، 5 مارچ، 2026"),
    ],
)
def test_full_dates(tag, text):
    assert full_date(date(2026, 3, 5), tag) == text


@pytest.mark.parametrize("tag", TAGS)
def test_times_are_on_the_24_hour_clock(tag):
    # CLDR availableFormats Hm is HH:mm in all of these.
    text = clock(time(19, 5), tag, "latin")
    assert text == "19:05"


_FRESH = """
import datetime, json, sys
from babel import Locale
from babel.dates import format_date, format_skeleton, get_day_names
locale = Locale.parse(sys.argv[1], sep="-")
days = [datetime.date(2026, 2, 9) + datetime.timedelta(days=17 * n) for n in range(24)]
print(json.dumps([
    [format_date(day, "full", locale=locale) for day in days],
    [format_skeleton("MMMEd", day, locale=locale) for day in days],
    [get_day_names("wide", context="stand-alone", locale=locale)[day.weekday()] for day in days],
]))
"""


@pytest.mark.parametrize("tags", [TAGS, TAGS[::-1]])
def test_one_language_never_leaks_into_another(tags):
    # Babel issue 1234: after Urdu, Odia weekdays came out in Urdu. Slow way: a fresh process for each language.
    days = [date(2026, 2, 9) + timedelta(days=17 * n) for n in range(24)]
    for tag in tags:
        source = {"en": "en-001"}.get(tag, tag)
        run = subprocess.run([sys.executable, "-c", _FRESH, source], capture_output=True, text=True, check=True)
        here = [
            [full_date(day, tag, "latin") for day in days],
            [brief_date(day, tag, "latin") for day in days],
            [weekday(day, tag) for day in days],
        ]
        assert here == json.loads(run.stdout)
