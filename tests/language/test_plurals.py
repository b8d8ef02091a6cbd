"""Plural rules written by ourselves. Against CLDR: tests/published/test_cldr.py."""

from __future__ import annotations

import pytest

from consent.errors import LanguageError
from consent.language import languages_with_rules, plural_header, plural_index


def test_headers():
    # CLDR plurals.xml: one is i = 0 or n = 1 in as, bn and hi; n = 1 in the others.
    assert {tag for tag in languages_with_rules() if "(n > 1)" in plural_header(tag)} == {"as", "bn", "hi"}
    assert plural_header("ur-IN") == "nplurals=2; plural=(n != 1);"


def test_the_sign_does_not_matter():
    # CLDR, Language Plural Rules: operand n is the absolute value.
    assert plural_index("en", -1) == plural_index("en", 1)


def test_a_language_without_a_rule_is_refused():
    # French has a third category for millions: guessing would print a wrong form.
    with pytest.raises(LanguageError, match="no plural rule"):
        plural_header("fr")
