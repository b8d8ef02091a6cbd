"""What can be taken for another: names of one day that look alike, and eyes that are not named the same everywhere."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from difflib import SequenceMatcher

from consent.case import Case, Side

_ALIKE, _GIVEN_ALIKE = 0.8, 0.6
"""Shares of letters that two whole names, and their first words, have in common: working values, no source."""
_A_NAME = 4
"""Letters from which a first word is a name and no title such as Md or Smt."""


def plain_name(name: str) -> str:
    """``name`` without case, marks and blanks that a tired eye reads over."""
    letters = (sign if sign.isalnum() or unicodedata.category(sign)[0] == "M" else " " for sign in name)
    return " ".join(unicodedata.normalize("NFKC", "".join(letters)).casefold().split())


def names_alike(one: str, other: str) -> bool:
    """Whether the two can be taken for each other: the same words in any order, the same first name, or nearly."""
    first, second = plain_name(one), plain_name(other)
    words, others = first.split(), second.split()
    given, another = (found[0] if found else "" for found in (words, others))
    if sorted(words) == sorted(others) or (given == another and len(given) >= _A_NAME):
        return True
    return _share(given, another) >= _GIVEN_ALIKE and _share(first, second) >= _ALIKE


def _share(one: str, other: str) -> float:
    return SequenceMatcher(None, one, other).ratio()


def alike_among(names: Sequence[str]) -> tuple[tuple[int, ...], ...]:
    """For each of ``names`` the places of the others that can be taken for it."""
    return tuple(
        tuple(place for place, other in enumerate(names) if place != own and names_alike(name, other))
        for own, name in enumerate(names)
    )


def said_sides(case: Case) -> tuple[tuple[str, Side], ...]:
    """Every eye that the case names and where, if they are not all the same; nothing where they are."""
    told = case.talk.told
    found = (
        ("eye", case.eye.side),
        ("plan", case.plan.side),
        ("measurement", case.measurement.side),
        ("talk", told.side if told else None),
    )
    named = tuple((where, side) for where, side in found if side is not None)
    return named if len({side for _, side in named}) > 1 else ()
