"""Numbers as printed: grouping, strengths, ranges. What CLDR itself says is in tests/published/test_cldr.py."""

from __future__ import annotations

import unicodedata
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from consent.errors import LanguageError
from consent.language import numerals

LANGUAGES = ("en", "bn", "hi", "ur", "ur-IN", "or", "ne", "ta", "te")


def as_ascii(text: str) -> str:
    """Independent reading back: every decimal digit by its Unicode value."""
    return "".join(str(unicodedata.digit(c)) if c.isdigit() else c for c in text)


@given(st.sampled_from(LANGUAGES), st.sampled_from(["locale", "latin", "native"]), st.integers(-(10**12), 10**12))
def test_a_whole_number_reads_back(tag, digits, number):
    # Unicode Character Database, property Numeric_Value: the value must survive any choice of digits.
    text = as_ascii(numerals(tag, digits).integer(number))
    assert int("".join(c for c in text if c in "-0123456789")) == number


@given(st.sampled_from(LANGUAGES), st.decimals(Decimal("0.0001"), Decimal(99999), places=4))
def test_a_strength_reads_back_without_trailing_zeros(tag, number):
    # ISMP list of error-prone abbreviations: 1.0 is read as 10, .5 is read as 5.
    written = numerals(tag, "native")
    whole, _, fraction = as_ascii(written.decimal(number)).partition(written.decimal_mark)
    assert whole
    assert Decimal(whole.replace(written.group_mark, "") + "." + (fraction or "0")) == number
    assert not fraction.endswith("0")


@pytest.mark.parametrize(
    ("number", "text"),
    [
        ("1.0", "1"),
        ("0.50", "0.5"),
        (".5", "0.5"),
        ("1E+3", "1,000"),
        ("0.0", "0"),
        ("-0.50", "-0.5"),
        ("1E-7", "0.0000001"),
    ],
)
def test_strengths(number, text):
    # ISMP: no trailing zero, always a leading zero.
    assert numerals("en").decimal(Decimal(number)) == text


def test_no_number_no_print():
    with pytest.raises(LanguageError, match="NaN"):
        numerals("bn").decimal(Decimal("NaN"))


def test_ranges():
    # CLDR miscPatterns, pattern "range": {0}–{1}.
    assert numerals("bn").between(5, 10) == "৫–১০"
    assert numerals("en").between(Decimal("0.50"), 1) == "0.5–1"
    assert numerals("en").between(3, Decimal("3.0")) == "3"
    with pytest.raises(LanguageError, match="backwards"):
        numerals("en").between(10, 5)


def test_years_are_not_grouped():
    assert numerals("bn").ungrouped(2026) == "২০২৬"
    assert numerals("en").ungrouped(2026) == "2026"


def test_minus_has_no_bidi_mark():
    # CLDR writes the Urdu minus as U+200E and a hyphen; isolation does that here, and a mark would break searching.
    assert numerals("ur").integer(-5) == "-5"


def test_unknown_choice_of_digits():
    with pytest.raises(LanguageError, match="roman"):
        numerals("bn", "roman")
