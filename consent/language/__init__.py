"""How it is said: catalogues, numbers and dates, isolation, review status, glyph coverage and readability."""

from consent.language.catalogue import (
    DESK_DOMAIN,
    SHEETS_DOMAIN,
    Catalogue,
    catalogue_path,
    inspect_catalogue,
    languages,
    load_catalogue,
)
from consent.language.dates import (
    DateStyle,
    brief_date,
    clock,
    clock_with_day_part,
    full_date,
    long_date,
    weekday,
    written_date,
)
from consent.language.glyphs import font_for, fonts_for, uncovered, uncovered_by_all
from consent.language.isolation import bare_runs
from consent.language.ladder import SIGNABLE, Rung
from consent.language.numbers import Digits, Numerals, numerals
from consent.language.plurals import languages_with_rules, plural_header, plural_index
from consent.language.po import Message
from consent.language.readability import EnglishReading, ReadingSignals, read_english, read_signals, running_text
from consent.language.speech import Speaker
from consent.language.status import Counts, ReleaseState, counts, refresh_status, release_of
from consent.language.tags import Direction, direction, has_wide_words, script_of
from consent.language.values import Day, DayPart, Quoted, Range, Said, Tongue, Value, Verbatim, Year

__all__ = [
    "DESK_DOMAIN",
    "SHEETS_DOMAIN",
    "SIGNABLE",
    "Catalogue",
    "Counts",
    "DateStyle",
    "Day",
    "DayPart",
    "Digits",
    "Direction",
    "EnglishReading",
    "Message",
    "Numerals",
    "Quoted",
    "Range",
    "ReadingSignals",
    "ReleaseState",
    "Rung",
    "Said",
    "Speaker",
    "Tongue",
    "Value",
    "Verbatim",
    "Year",
    "bare_runs",
    "brief_date",
    "catalogue_path",
    "clock",
    "clock_with_day_part",
    "counts",
    "direction",
    "font_for",
    "fonts_for",
    "full_date",
    "has_wide_words",
    "inspect_catalogue",
    "languages",
    "languages_with_rules",
    "load_catalogue",
    "long_date",
    "numerals",
    "plural_header",
    "plural_index",
    "read_english",
    "read_signals",
    "refresh_status",
    "release_of",
    "running_text",
    "script_of",
    "uncovered",
    "uncovered_by_all",
    "weekday",
    "written_date",
]
