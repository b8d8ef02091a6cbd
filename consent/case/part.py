"""What every part of the case is made of: strict models, texts without stray blanks, tags and acuities that parse."""

from __future__ import annotations

import unicodedata
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from consent.case.acuity import parse_acuity

_JOINERS = frozenset("\u200c\u200d\u200e\u200f")
"""Hidden signs that Indic and Arabic typing needs."""

_BLANK = frozenset("\u115f\u1160\u2800\u3164\uffa0")
"""Letters and symbols of Unicode that show nothing."""


def shows_something(text: str) -> bool:
    """Whether somebody who reads ``text`` sees anything."""
    return any(unicodedata.category(letter)[0] in "LNPS" and letter not in _BLANK for letter in text)


def _seen(text: str) -> str:
    """``text`` if it shows something and hides nothing."""
    if not shows_something(text):
        raise ValueError("the text shows nothing; type it again")
    if any(unicodedata.category(letter) == "Cf" and letter not in _JOINERS for letter in text):
        raise ValueError("the text holds hidden signs, which can turn letters round; type it again")
    return text


def _acuity(text: str) -> str:
    return parse_acuity(text).written


def _language(tag: str) -> str:
    from babel import Locale, UnknownLocaleError

    try:
        Locale.parse(tag, sep="-")
    except (UnknownLocaleError, ValueError) as error:
        raise ValueError(f'"{tag}" is not a language tag; write one such as "bn", "hi" or "en"') from error
    return tag


AcuityText = Annotated[
    str, AfterValidator(_acuity), Field(description="6/60, 20/200, decimal 0.1, 1.00 logMAR, CF, HM, PL or NPL")
]
LanguageTag = Annotated[str, AfterValidator(_language), Field(description="BCP 47 language tag")]
ShortText = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), AfterValidator(_seen)
]
LongText = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=1000), AfterValidator(_seen)
]


class Part(BaseModel):
    """Base of every part of the case: strict, unknown keys refused, never changed after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
