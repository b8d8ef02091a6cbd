"""Which plural form a count takes, and the gettext header that says so. Written from CLDR cardinal rules: Babel 2.18
writes ``n != 1`` for Bengali and Hindi, where CLDR counts 0 and 1 alike, and has no header at all for Urdu."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from consent.errors import LanguageError, Problem
from consent.language.tags import base_language


class PluralRule(NamedTuple):
    """A language's plural forms: their number, the gettext expression, and the same rule as a function."""

    forms: int
    expression: str
    form_of: Callable[[int], int]


# CLDR plurals.xml, cardinal, for whole numbers: category "one" is form 0, "other" is form 1.
_ONE_ALONE = PluralRule(2, "(n != 1)", lambda n: 0 if n == 1 else 1)
_NOUGHT_AND_ONE = PluralRule(2, "(n > 1)", lambda n: 1 if n > 1 else 0)

_RULES = {
    "as": _NOUGHT_AND_ONE,
    "bn": _NOUGHT_AND_ONE,
    "en": _ONE_ALONE,
    "hi": _NOUGHT_AND_ONE,
    "ne": _ONE_ALONE,
    "or": _ONE_ALONE,
    "ta": _ONE_ALONE,
    "te": _ONE_ALONE,
    "ur": _ONE_ALONE,
}


def languages_with_rules() -> tuple[str, ...]:
    """Base languages whose plural rule is written here."""
    return tuple(_RULES)


def plural_rule(tag: str) -> PluralRule:
    """The plural rule of a language; LanguageError if none is written for it yet."""
    rule = _RULES.get(base_language(tag))
    if rule is None:
        raise LanguageError(
            Problem(
                what=f"no plural rule is written for {tag!r}",
                where="consent/language/plurals.py",
                why="a count would be printed in the wrong form",
                remedy="add the CLDR cardinal rule of the language there",
            )
        )
    return rule


def plural_header(tag: str) -> str:
    """The ``Plural-Forms`` value every catalogue of this language must carry."""
    rule = plural_rule(tag)
    return f"nplurals={rule.forms}; plural={rule.expression};"


def plural_index(tag: str, count: int) -> int:
    """Index of the plural form for a whole number; the sign does not matter (CLDR operand n is absolute)."""
    return plural_rule(tag).form_of(abs(count))
