"""Recognises drugs of theatre, injections and tablets in the words of the case, and what allergies touch them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal

from pydantic import Field, model_validator

from consent.case import Case
from consent.case.part import Part
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.drops.grounds import Severity
from consent.errors import DropsError
from consent.resources import package_data

Kind = Literal[
    "antiseptic",
    "local anaesthetic",
    "antibiotic",
    "dye",
    "steroid",
    "steroid by mouth",
    "nsaid",
    "carbonic anhydrase inhibitor",
    "other",
]

_MG_PER_ML_IN_A_PERCENT = 10
_STRENGTH = r"(\d+(?:\.\d+)?)\s*(%|per ?cent|mg\s*/\s*ml)"
_AFTER = r"(?<![a-z]){name}(?:[\s-]+(?:hydrochloride|hcl|eye|ophthalmic|solution|drops?))*\s*[:(]?\s*" + _STRENGTH
_BEFORE = r"(?:^|[+,;/&(]|\band\b|\bwith\b)\s*" + _STRENGTH + r"(?:\s*w/v)?\)?\s*{name}"


class Family(Sourced):
    """Drugs that share an allergy: what a relative's allergy is answered with, mild and severe."""

    words: tuple[str, ...] = ()
    relative: Severity
    relative_severe: Severity


class TheatreDrug(Part):
    """One generic drug and the words it is recognised by, in lower case."""

    words: tuple[str, ...] = Field(min_length=1)
    kind: Kind
    families: tuple[str, ...] = ()
    dilates: bool = Field(False, description="widens the pupil")


class Theatre(Part):
    """The file ``theatre.toml``."""

    schema_version: Literal[1] = Field(alias="schema")
    families: dict[str, Family]
    drugs: dict[str, TheatreDrug]

    @model_validator(mode="after")
    def _families_are_there(self) -> Theatre:
        for name, drug in self.drugs.items():
            for family in drug.families:
                if family not in self.families:
                    raise ValueError(f'drugs.{name}: there is no family "{family}"')
        return self

    def recognise(self, text: str) -> tuple[TheatreDrug, ...]:
        """Return every drug that ``text`` names; empty if it names none that is listed."""
        return tuple(drug for drug in self.drugs.values() if named(text, drug.words))


@dataclass(frozen=True)
class Ordered:
    """One text of the case that orders or records a drug, and the drugs recognised in it."""

    text: str
    drugs: tuple[TheatreDrug, ...]

    def has(self, *kinds: Kind) -> bool:
        """Whether a drug of it is of one of ``kinds``."""
        return any(drug.kind in kinds for drug in self.drugs)

    @property
    def dilates(self) -> bool:
        """Whether a drug of it widens the pupil."""
        return any(drug.dilates for drug in self.drugs)


@cache
def read_theatre() -> Theatre:
    """Return the drugs of ``theatre.toml``; raises ``DropsError`` naming file and key."""
    return read_model(package_data("drops", "theatre.toml"), Theatre, DropsError)


def named(text: str, words: Iterable[str]) -> bool:
    """Whether a word of ``text`` starts with one of ``words``."""
    return _named(text.lower(), tuple(words))


@lru_cache(maxsize=4096)
def _named(text: str, words: tuple[str, ...]) -> bool:
    return any(re.search(rf"(?<![a-z]){re.escape(word)}", text) for word in words)


def ordered_in(case: Case, theatre: Theatre) -> tuple[Ordered, ...]:
    """Return what ``case`` gives besides drops at home, each text once: in theatre, injected, as tablets."""
    plan, done = case.plan, case.done
    injected = () if plan.injected_antibiotic_drug is None else (plan.injected_antibiotic_drug,)
    texts = (*plan.theatre_drugs, *injected, *plan.tablets, *(done.injected if done else ()))
    once: dict[str, str] = {}
    for text in texts:
        once.setdefault(text.casefold(), text)
    return tuple(Ordered(text, theatre.recognise(text)) for text in once.values())


def percent_of(generic: str, text: str) -> float | None:
    """Return the strength of ``generic`` as written in ``text``, in percent (10 mg/mL is 1%), if there is one.

    It stands after the name, or before it where no other drug stands before the strength: in "tropicamide 1%
    phenylephrine" it is not the second drug's. Of several the highest counts.
    """
    name, lower = re.escape(generic), text.lower()
    found = [*re.findall(_AFTER.format(name=name), lower), *re.findall(_BEFORE.format(name=name), lower)]
    percents = (float(number) / (_MG_PER_ML_IN_A_PERCENT if unit[0] == "m" else 1) for number, unit in found)
    return max(percents, default=None)
