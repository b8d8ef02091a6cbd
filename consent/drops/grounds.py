"""Reads on what ground each check speaks, what it says of drugs in pregnancy, and the words answers are known by."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from typing import Literal

from pydantic import Field

from consent.case.part import Part, ShortText
from consent.case.reading import read_model
from consent.case.sourced import Sourced
from consent.drops.formulary import DrugClass
from consent.errors import DropsError
from consent.resources import package_data

Severity = Literal["stop", "ask", "note"]
_WHOLE_WORD_LETTERS = 4


class Ground(Sourced):
    """On what ground a finding rests, which severities its check may answer, and whether a person may answer it."""

    severities: tuple[Severity, ...] = Field(min_length=1)
    overridable: bool = True


class Words(Part):
    """Words by which a substance, a reaction or a medicine is recognised."""

    sulfonamide: tuple[str, ...]
    preservative: tuple[str, ...]
    severe_reaction: tuple[str, ...]
    beta_blocker_by_mouth: tuple[str, ...]
    blood_pressure_medicine: tuple[str, ...]
    monoamine_oxidase_inhibitor: tuple[str, ...]
    tricyclic: tuple[str, ...]
    glaucoma_drop: tuple[str, ...]
    eye_drop: tuple[str, ...]
    drop: tuple[str, ...]
    other_drop: tuple[str, ...]
    both_eyes: tuple[str, ...]
    look_alike: tuple[tuple[str, ...], ...]
    unrelated: tuple[str, ...]
    salts: tuple[str, ...]
    same_class: dict[DrugClass, tuple[str, ...]]


class InPregnancy(Sourced):
    """What is said of a drug, or a class of drugs, to a woman who is pregnant or may become so."""

    says: ShortText
    severity: Severity = "ask"


class CheckTexts(Part):
    """The file ``checks.toml``. ``without_contraception``: by generic name."""

    schema_version: Literal[1] = Field(alias="schema")
    findings: dict[str, Ground]
    in_pregnancy: dict[DrugClass, InPregnancy]
    without_contraception: dict[str, InPregnancy]
    words: Words


@cache
def read_checks() -> CheckTexts:
    """Return the ground and the words of the checks; raises ``DropsError`` naming file and key."""
    return read_model(package_data("drops", "checks.toml"), CheckTexts, DropsError)


def mentions(text: str, words: Iterable[str]) -> bool:
    """Whether ``text`` holds one of ``words``: short ones standing alone, longer ones also inside a word."""
    lower = text.lower()
    alone = set(re.findall(r"[a-z]+", lower))
    return any(word in alone or (len(word) > _WHOLE_WORD_LETTERS and word in lower) for word in words)
