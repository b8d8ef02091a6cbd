"""Knows what an audit file may call its columns and what a cell may say: the table in audit.toml, checked."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from pydantic import Field, model_validator

from consent.case.part import Part
from consent.case.plain import heading_key, printable
from consent.case.reading import read_model
from consent.errors import CaseError, EvidenceError, Problem
from consent.resources import package_data

Kind = Literal["age", "date", "answer", "operation", "words", "millimetres", "text", "not read"]
OUTCOMES = ("outcome", "capsule_rupture", "vitreous_loss")


class Limits(Part):
    """What a file may hold, and what the counts of it are cut into."""

    rows: int = Field(gt=0)
    bytes: int = Field(gt=0)
    unpacked_bytes: int = Field(gt=0)
    columns: int = Field(gt=0)
    unread_percent: float = Field(ge=0, lt=100)
    unread_percent_source: str
    groups: int = Field(gt=0)
    surgeons: int = Field(gt=1)
    surgeons_source: str


class Method(Part):
    citations: tuple[str, ...]


class Answers(Part):
    yes: tuple[str, ...]
    no: tuple[str, ...]
    unknown: tuple[str, ...]


class Column(Part):
    """One fact of an eye: its spellings, those that mean its opposite, and words its cells may say.

    ``asked``: the model asks for it, so a file without it is told.
    """

    id: str
    shown: str
    asked: bool = False
    kind: Kind
    spellings: tuple[str, ...] = Field(min_length=1)
    opposite: tuple[str, ...] = ()
    words: dict[str, tuple[str, ...]] = Field(default_factory=dict)


class AuditRules(Part):
    limits: Limits
    method: Method
    answers: Answers
    columns: tuple[Column, ...]

    @model_validator(mode="after")
    def _no_spelling_twice(self) -> AuditRules:
        spellings = [text for column in self.columns for text in (*column.spellings, *column.opposite)]
        if len(set(spellings)) != len(spellings):
            raise ValueError("a spelling stands twice")
        if odd := [text for text in spellings if heading_key(text) != text]:
            raise ValueError(f"a spelling is not in its plain form: {odd[0]}")
        return self

    def column(self, name: str) -> Column:
        """The column called ``name``; ``KeyError`` if there is none."""
        for column in self.columns:
            if column.id == name:
                return column
        raise KeyError(name)

    def meanings(self, column: Column) -> dict[str, str]:
        """What each plain word means in this column: word -> yes, no, unknown, or a name of the column's own."""
        found = dict.fromkeys(self.answers.unknown, "unknown")
        if column.kind == "answer":
            found |= dict.fromkeys(self.answers.yes, "yes") | dict.fromkeys(self.answers.no, "no")
        for meaning, words in column.words.items():
            found |= dict.fromkeys(words, meaning)
        return found


@dataclass(frozen=True)
class Mapped:
    """A column of the file that was recognised: where it stands, as the file calls it, and what its words mean."""

    column: Column
    place: int
    heading: str
    opposite: bool
    meanings: dict[str, str]


@cache
def audit_rules() -> AuditRules:
    """The shipped rules; raises ``EvidenceError`` if they contradict themselves."""
    return read_model(package_data("risk", "audit", "audit.toml"), AuditRules, EvidenceError)


def recognised(headings: Sequence[str]) -> tuple[Mapped, ...]:
    """The columns of a file that are known here, in the file's order."""
    rules = audit_rules()
    names = {text: column for column in rules.columns for text in (*column.spellings, *column.opposite)}
    found = []
    for place, heading in enumerate(headings):
        key = re.sub(r" (y n|yes no)$", "", heading_key(heading))
        if (column := names.get(key)) is not None:
            shown = printable(heading)
            found.append(Mapped(column, place, shown, key in column.opposite, rules.meanings(column)))
    return tuple(found)


def map_columns(headings: Sequence[str], where: str) -> dict[str, Mapped]:
    """Recognised columns by id, without those this program itself wrote.

    Raises ``CaseError`` where two columns say the same thing, and where outcome or age is missing, with the
    spellings that are accepted.
    """
    found: dict[str, Mapped] = {}
    problems = []
    for mapped in recognised(headings):
        if mapped.column.kind == "not read":
            continue
        if (first := found.setdefault(mapped.column.id, mapped)) is not mapped:
            what = f'"{first.heading}" and "{mapped.heading}" both say {mapped.column.shown}'
            problems.append(Problem(what, where, remedy="keep one of the two columns"))
    problems += _missing(found, where)
    if problems:
        raise CaseError(problems)
    return found


def _missing(found: dict[str, Mapped], where: str) -> list[Problem]:
    problems = []
    if not any(name in found for name in OUTCOMES):
        why = "without the outcome of every case there is nothing to compare with the model"
        what = "no column says whether the capsule ruptured or vitreous was lost"
        problems.append(Problem(what, where, why, f"call it one of: {_spellings(OUTCOMES)}"))
    if "age_years" not in found and not {"birth_date", "operation_date"} <= found.keys():
        why = "age is part of the risk model"
        remedy = (
            f"call it one of: {_spellings(('age_years',))}; or give a birth date ({_spellings(('birth_date',))}) "
            f"and an operation date ({_spellings(('operation_date',))})"
        )
        problems.append(Problem("no column gives the age", where, why, remedy))
    return problems


def _spellings(names: Sequence[str]) -> str:
    return ", ".join(text for name in names for text in audit_rules().column(name).spellings)
