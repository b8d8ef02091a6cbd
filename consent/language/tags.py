"""Language tags: which CLDR locale, script and direction of writing stand behind one."""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING, Any, Literal

from consent.errors import LanguageError, Problem

if TYPE_CHECKING:
    from babel import Locale

Direction = Literal["ltr", "rtl"]

_TAG = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")


@cache
def locale_of(tag: str) -> Locale:
    """CLDR locale of a BCP 47 tag such as ``bn`` or ``ur-IN``; LanguageError for a tag CLDR does not know."""
    from babel import Locale, UnknownLocaleError

    try:
        if not _TAG.fullmatch(tag):
            raise ValueError(tag)
        return _with_own_data(Locale.parse(tag, sep="-"))
    except (ValueError, UnknownLocaleError):
        raise LanguageError(
            Problem(
                what=f"{tag!r} is not a language tag that CLDR knows",
                where="language",
                why="digits, dates and plural forms come from CLDR",
                remedy="use a tag such as en, bn, hi or ur-IN",
            )
        ) from None


def _with_own_data(locale: Locale) -> Locale:
    """The locale with a copy of its CLDR data to itself.

    Babel up to 2.18 writes what it looks up for one locale into data that others share, so Urdu weekdays came out on
    Odia sheets of the same process (https://github.com/python-babel/babel/issues/1234).
    """
    from copy import deepcopy

    from babel.localedata import LocaleDataDict, load

    data: Any = deepcopy(load(str(locale)))
    locale.__dict__["_Locale__data"] = LocaleDataDict(data)
    return locale


def base_language(tag: str) -> str:
    """The language of a tag without its region or script: ``ur`` of ``ur-IN``."""
    return str(locale_of(tag).language)


@cache
def direction(tag: str) -> Direction:
    """``"rtl"`` for languages written from the right, else ``"ltr"`` (CLDR characterOrder)."""
    return "rtl" if locale_of(tag).text_direction == "rtl" else "ltr"


_WIDE_SCRIPTS = frozenset({"Taml"})
"""Scripts whose words take far more room. Measured with HarfBuzz in the Noto faces over what patients read: the widest
twentieth of the words begins at 8.9 em in Tamil, 5.1 in Telugu, 4.1 in English, 3.9 in Bengali."""


def has_wide_words(tag: str) -> bool:
    """Whether words of the language are so wide that what stands in narrow columns needs fewer of them."""
    return script_of(tag) in _WIDE_SCRIPTS


@cache
def script_of(tag: str) -> str:
    """ISO 15924 code of the script a language is written in, such as ``Beng`` (CLDR likelySubtags)."""
    from babel.core import get_global

    locale = locale_of(tag)
    if locale.script:
        return str(locale.script)
    likely = get_global("likely_subtags")
    return str(likely.get(str(locale)) or likely[str(locale.language)]).split("_")[1]
