"""Compares the rows of a list with one another: an eye that stands twice, one number for two people, names alike."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher
from functools import cache
from itertools import combinations
from typing import Any

from consent.case.listing.facts import Facts
from consent.case.listing.keys import found_at
from consent.case.listing.rules import list_rules, plain
from consent.case.model import Case
from consent.case.plain import printable
from consent.case.table import Row

_NO_ROW = 0
_MOST = 20
"""A row that stands so many times is not told of more."""
Read = tuple[Facts, Case | None]
_NAME, _NUMBER, _SIDE = "patient.name", "patient.record_number", "eye.side"


def compare_rows(rows: Sequence[Read], beside: Sequence[Case] = ()) -> None:
    """Add to the facts of each row what is wrong, or should be looked at, next to the others or cases ``beside``."""
    for facts, case in rows:
        _age(facts, case)
    everybody = [*map(_earlier, beside), *(facts for facts, _ in rows)]
    by_number: dict[str, list[Facts]] = {}
    for facts in everybody:
        by_number.setdefault(_key(facts), []).append(facts)
    for number, same in by_number.items():
        for first, second in combinations(same, 2) if number else ():
            _same_number(first, second)
    _names(everybody)


def _earlier(case: Case) -> Facts:
    """What is compared of a case that was read before."""
    values = {key: str(found_at(case, key)) for key in (_NAME, _NUMBER, _SIDE)}
    return Facts(Row(_NO_ROW, ()), values)


def _place(facts: Facts) -> str:
    return "the list read before" if facts.row.number == _NO_ROW else f"row {facts.row.number}"


def _age(facts: Facts, case: Case | None) -> None:
    """An age that is not that of the birth date: one of the two may be another patient's."""
    if case is None or case.patient.birth_date is None or (told := case.patient.age_years) is None:
        return
    born = case.age_years
    if abs(born - told) > list_rules().alike.years:
        what = f"the age is {told}, and by the birth date it is {born} on the day of surgery"
        facts.refuse(("patient.birth_date",), what, "find out which is true; correct it, or leave the other out")


def _same_number(first: Facts, second: Facts) -> None:
    if min(len(first.problems), len(second.problems)) >= _MOST:
        return
    if not _one_person(first, second):
        for facts, other in ((first, second), (second, first)):
            what = f"the same record number stands in {_place(other)} with another name: {_shown(other, _NAME)}"
            why = "one of the two would get papers with the other's number"
            facts.refuse((_NUMBER,), what, "look both up and correct the number or the name", why)
    elif _of(first, _SIDE) == _of(second, _SIDE):
        _twice(first, second)
    else:
        for facts, other in ((first, second), (second, first)):
            facts.flags.append(f"the other eye of the same patient stands in {_place(other)}")


def _twice(first: Facts, second: Facts) -> None:
    """The same eye of the same patient again: the second is one too many; where they differ nobody knows which."""
    what = f"the same eye of the same patient stands in {{}}{'' if _same(first, second) else ', with other facts'}"
    remedy = "keep one of the two rows"
    second.refuse((_NUMBER,), what.format(_place(first)), remedy)
    if not _same(first, second):
        first.refuse((_NUMBER,), what.format(_place(second)), remedy)


def _same(first: Facts, second: Facts) -> bool:
    """Whether both say the same of a patient whose name and number may be written in two ways."""
    if _NO_ROW in (first.row.number, second.row.number):
        return True
    written = dict.fromkeys((_NAME, _NUMBER), "")
    return first.values | written == second.values | written


def _one_person(first: Facts, second: Facts) -> bool:
    names = _name(_of(first, _NAME)), _name(_of(second, _NAME))
    return not all(names) or names[0] == names[1]


def _names(rows: Sequence[Facts]) -> None:
    """Flag names that are the same or alike where the record numbers say that they are two people."""
    named = sorted(((name, _key(facts), facts) for facts in rows if (name := _name(_of(facts, _NAME)))), key=_by_name)
    matcher, least = SequenceMatcher(autojunk=False), list_rules().alike.names
    for place, (name, number, facts) in enumerate(named):
        matcher.set_seq2(name)
        for other, other_number, there in named[place + 1 :]:
            if number == other_number and number:
                continue
            matcher.set_seq1(other)
            if name == other or _alike(matcher, least):
                _flag("the same name" if name == other else "a name that is alike", facts, there)


def _by_name(named: tuple[str, str, Facts]) -> tuple[str, int]:
    return named[0], named[2].row.number


def _alike(matcher: SequenceMatcher[str], least: float) -> bool:
    return matcher.real_quick_ratio() >= least and matcher.quick_ratio() >= least and matcher.ratio() >= least


def _flag(how: str, first: Facts, second: Facts) -> None:
    for facts, there in ((first, second), (second, first)):
        who = f"{_shown(there, _NAME)}, {_shown(there, _NUMBER) or 'no record number'}"
        if len(facts.flags) < _MOST:
            facts.flags.append(f"{how} in {_place(there)}: {who}; check the record number aloud")


def _name(name: str) -> str:
    """A name in its plain form: without titles, its words in order of letters, so that turned round it is the same."""
    titles = _titles()
    words = plain(name).split()
    return " ".join(sorted(word for word in words if word not in titles) or words)


@cache
def _titles() -> frozenset[str]:
    return frozenset(map(plain, list_rules().alike.titles))


def _key(facts: Facts) -> str:
    """The record number as people compare it: case, and which sign stands between its parts, make no difference."""
    return plain(_of(facts, _NUMBER))


def _of(facts: Facts, key: str) -> Any:
    return facts.values.get(key, "")


def _shown(facts: Facts, key: str) -> str:
    return printable(str(_of(facts, key)))
