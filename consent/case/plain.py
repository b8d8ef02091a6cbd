"""Words of a table in a plain form, so that case, punctuation and stray blanks make no difference."""

from __future__ import annotations

import re
import unicodedata

_LONGEST_SHOWN = 40
_DASH_IN_WORD = re.compile(r"(?<=[^\W_])[-\u2010-\u2014](?=[^\W_])")
_SEPARATORS = str.maketrans(dict.fromkeys(".,;:/&_'\"()[]", " "))


def heading_key(text: str) -> str:
    """A heading in its plain form: lower case, words of letters, vowel signs and digits with one space between."""
    return " ".join("".join(letter if _is_of_a_word(letter) else " " for letter in text.casefold()).split())


def word_key(text: str) -> str:
    """A cell's word in its plain form: words and signs in lower case with one space between.

    Only what joins or separates words is dropped. "PCR-" keeps its sign: without it a no would be read as a yes.
    """
    joined = _DASH_IN_WORD.sub(" ", text.casefold()).translate(_SEPARATORS)
    return " ".join(re.findall(r"[^\W_]+|[^\w\s]", joined)) or text.strip()


def printable(text: str) -> str:
    """``text`` of a file made safe for a terminal: one line, no control characters, not long."""
    plain = "".join(letter if letter.isprintable() else " " for letter in text[: 2 * _LONGEST_SHOWN]).strip()
    return plain if len(plain) <= _LONGEST_SHOWN else f"{plain[: _LONGEST_SHOWN - 3]}..."


def ascii_digits(text: str) -> str:
    """``text`` with every decimal digit of any script (CLDR numbering systems) as 0 to 9."""
    return "".join(str(unicodedata.decimal(sign)) if sign.isdecimal() else sign for sign in text)


def _is_of_a_word(letter: str) -> bool:
    return letter.isalnum() or unicodedata.category(letter) in ("Mn", "Mc")
