"""What an operating list may call its columns and what a cell may say: the table in columns.toml, checked."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Literal

from pydantic import Field, model_validator

from consent.case.listing.keys import choices
from consent.case.part import Part
from consent.case.plain import ascii_digits, heading_key, word_key
from consent.case.reading import read_model
from consent.errors import CaseError
from consent.resources import package_data

Kind = Literal[
    "acuity",
    "age",
    "age and sex",
    "allergies",
    "answer",
    "birth date",
    "blood pressure",
    "date",
    "integer",
    "language",
    "number",
    "record number",
    "side",
    "text",
    "texts",
    "time",
    "word",
    "word list",
]


class Limits(Part):
    """What a file may hold."""

    rows: int = Field(gt=0)
    bytes: int = Field(gt=0)
    unpacked_bytes: int = Field(gt=0)
    columns: int = Field(gt=0)
    cell: int = Field(gt=0)
    heading_rows: int = Field(gt=0)


class Alike(Part):
    """When two names are so alike that one may be taken for the other, and when an age is not that of a birth date."""

    names: float = Field(gt=0, le=1)
    names_source: str
    years: int = Field(ge=0)
    years_source: str
    titles: tuple[str, ...]


class NotRead(Part):
    """Headings of columns that are passed over; ``number`` and ``reasons`` are this program's own."""

    number: str
    reasons: str
    others: tuple[str, ...]


class Answers(Part):
    yes: tuple[str, ...]
    no: tuple[str, ...]
    unknown: tuple[str, ...]


class Column(Part):
    """One column: the key of the case it says something of, or, in ``fills``, several.

    ``needed``: no case without it; ``optional``: not missed where it is empty.
    """

    id: str
    kind: Kind
    heading: str
    unit: str = ""
    needed: bool = False
    optional: bool = False
    fills: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the case that a cell of this column says something of."""
        return self.fills or (self.id,)


class ListRules(Part):
    columns: tuple[Column, ...]
    limits: Limits
    alike: Alike
    not_read: NotRead
    units: dict[str, tuple[str, ...]]
    answers: Answers
    words: dict[str, dict[str, tuple[str, ...]]]
    also: dict[str, tuple[str, ...]]

    @model_validator(mode="after")
    def _known(self) -> ListRules:
        ids = {column.id for column in self.columns}
        kinds = {column.kind for column in self.columns}
        if odd := [*(self.also.keys() - ids), *(self.words.keys() - ids - kinds)]:
            raise ValueError(f"there is no column {odd[0]}")
        if odd := [column.unit for column in self.columns if column.unit and column.unit not in self.units]:
            raise ValueError(f"there is no unit {odd[0]}")
        _once(self._spellings())
        return self

    def _spellings(self) -> Iterator[tuple[str, str]]:
        for column in self.columns:
            spellings = (column.heading.removesuffix(f" ({column.unit})"), *self.also.get(column.id, ()))
            units = ("", *self.units.get(column.unit, ()))
            for key in {f"{plain(text)} {plain(unit)}".strip() for text in spellings for unit in units}:
                yield key, column.id

    def headings(self) -> dict[str, str]:
        """Id of the column by every plain heading."""
        return dict(self._spellings())


@dataclass(frozen=True)
class Words:
    """What the words of a column mean, by their plain form, and the words that may be written instead."""

    meanings: Mapping[str, str]
    allowed: tuple[str, ...]


@cache
def list_rules() -> ListRules:
    """The shipped rules; raises ``CaseError`` if they contradict themselves."""
    return read_model(package_data("case", "listing", "columns.toml"), ListRules, CaseError)


@cache
def columns() -> dict[str, Column]:
    """The columns by id, in the order of the template."""
    return {column.id: column for column in list_rules().columns}


@cache
def heading_ids() -> dict[str, str]:
    """Id of the column by every plain heading."""
    return list_rules().headings()


@cache
def words_of(column_id: str) -> Words:
    """What the words of the column mean: those of the case itself, and those of columns.toml for it or its kind."""
    rules, column = list_rules(), columns()[column_id]
    own = choices(column_id) if column.kind in ("word", "word list", "side", "answer") else ()
    found = {word(text): text for text in own}
    for table in (rules.words.get(column.kind, {}), rules.words.get(column_id, {})):
        for meaning, spelled in table.items():
            found |= {word(text): meaning for text in (meaning, *spelled)}
    if column.kind == "answer":
        found |= {word(text): "yes" for text in rules.answers.yes} | {word(text): "no" for text in rules.answers.no}
    return Words(found, tuple(text for text in own if text != "unknown"))


@cache
def unknown_words() -> frozenset[str]:
    """Plain words that say that a fact is not known."""
    return frozenset(map(word, list_rules().answers.unknown))


def plain(text: str) -> str:
    """A heading in its plain form, whatever digits, joiners and composed letters it is written with."""
    return heading_key(_typed(text)) or text.strip()


def word(text: str) -> str:
    """The word of a cell in its plain form, whatever digits, joiners and composed letters it is written with."""
    return word_key(_typed(text))


def _typed(text: str) -> str:
    folded = ascii_digits(unicodedata.normalize("NFKC", text)).replace("\u2212", "-")
    return "".join(letter for letter in folded if unicodedata.category(letter) != "Cf")


def _once(pairs: Iterator[tuple[str, str]]) -> None:
    found: dict[str, str] = {}
    for key, owner in pairs:
        if found.setdefault(key, owner) != owner:
            raise ValueError(f'"{key}" means {found[key]} and {owner}')
