"""Passwords that somebody who knows nobody here would try first."""

from __future__ import annotations

import re
from collections.abc import Iterable
from enum import StrEnum
from itertools import pairwise

_FEWEST = 4
"""Signs that a password must hold of different kinds, and letters that a part of a name must have to be told by it."""
_ROWS = ("01234567890", "abcdefghijklmnopqrstuvwxyz", "qwertyuiop", "asdfghjkl", "zxcvbnm")
_WORDS = """
    access admin administrator baby cataract change changeme clinic computer consent cricket doctor dragon eye football
    from guest hello hospital i india is jesus letmein let login love lovely me monkey mother my new now omsairam one
    our pass passphrase password please princess qwerty root secret secure shadow sunshine superman surgeon surgery
    temp test the this to trust u user welcome word you your
    """
"""Words that stand in every list of passwords in use, and those of this trade; a password of these alone is guessed."""
_PLAIN = frozenset(_WORDS.split())
_LEET = str.maketrans("013457@$!", "oieastasi")
_NO_LETTERS = "0123456789 !#$%&*+-._@?"


class Why(StrEnum):
    """What is wrong with a password, by how it would be guessed."""

    SAME = "the password is the same few signs again and again"
    NAME = "the password holds the name of its owner"
    ROWS = "the password follows the alphabet, the digits or the rows of a keyboard"
    WORDS = "the password is made of words that everybody takes"


def guessable(password: str, own: Iterable[str]) -> Why | None:
    """Why ``password`` would be guessed, or None; ``own``: login and names of its owner.

    NIST SP 800-63B, 5.1.1.2: commonly used, repeated or sequential signs, words of the context such as the name.
    """
    plain = password.casefold()
    if len(set(plain)) < _FEWEST:
        return Why.SAME
    if any(len(part) >= _FEWEST and part.casefold() in plain for part in own):
        return Why.NAME
    if _in_rows(plain) or (_in_rows(plain[::2]) and _in_rows(plain[1::2])):
        return Why.ROWS
    if _common(plain) or _common(plain.strip(_NO_LETTERS).translate(_LEET)):
        return Why.WORDS
    return None


def _in_rows(plain: str) -> bool:
    """Whether it is nothing but steps along rows: fewer breaks than one in four signs."""
    rows = [*_ROWS, *(row[::-1] for row in _ROWS)]
    pairs = [one + other for one, other in pairwise(plain)]
    breaks = sum(pair[0] != pair[1] and not any(pair in row for row in rows) for pair in pairs)
    return breaks * 4 <= len(pairs)


def _common(plain: str) -> bool:
    """Whether nothing is left of it, apart from digits and signs, once plain words are taken out."""
    parts = re.findall(r"[^\W\d_]+", plain)
    return bool(parts) and all(_of_plain_words(part) for part in parts)


def _of_plain_words(part: str) -> bool:
    ends = {0}
    for end in range(1, len(part) + 1):
        if any(start in ends and part[start:end] in _PLAIN for start in range(end)):
            ends.add(end)
    return len(part) in ends
