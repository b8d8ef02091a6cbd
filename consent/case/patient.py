"""The patient: who it is, who decides, what is read and seen, what matters, who gives the drops."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal

from pydantic import Field, model_validator

from consent.case.answers import Answer, DecisionBasis, DropGiver, Sex
from consent.case.part import LanguageTag, LongText, Part, ShortText

YOUNGEST, OLDEST = 18, 120
"""Whole years of age on the day of surgery."""


class Interpreter(Part):
    name: ShortText
    qualification: ShortText | None = None


class Decision(Part):
    """Who decides. For a competent adult it is the patient and nobody else."""

    basis: DecisionBasis = DecisionBasis.SELF
    name: ShortText | None = None
    relation: ShortText | None = None
    reason: ShortText | None = Field(None, description="why the patient cannot decide, and who found it")
    can_decide: Answer = Field(Answer.UNKNOWN, description="the patient understands, weighs and states a choice")


class Patient(Part):
    name: ShortText
    record_number: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9 ./_-]*$")]
    birth_date: dt.date | None = None
    age_years: int | None = Field(None, ge=YOUNGEST, le=OLDEST, description="age as told, years")
    sex: Sex = Sex.UNKNOWN
    language: LanguageTag
    reads: Answer = Field(Answer.UNKNOWN, description="reads the language named above")
    writes_name: Answer = Answer.UNKNOWN
    sees_to_read: Answer = Field(Answer.UNKNOWN, description="sees print well enough to read it")
    interpreter_needed: Answer = Answer.UNKNOWN
    interpreter: Interpreter | None = None
    large_print: Answer = Answer.UNKNOWN
    hearing_impaired: Answer = Answer.UNKNOWN
    decision: Decision = Decision()
    drops_given_by: DropGiver = DropGiver.UNKNOWN
    drops_helper: ShortText | None = None
    drops_shown_back: Answer = Field(Answer.UNKNOWN, description="whoever gives the drops has put one in before staff")
    telephone: ShortText | None = None
    telephone_shared: Answer = Answer.UNKNOWN
    what_matters: tuple[
        Literal[
            "work",
            "driving",
            "reading",
            "prayer",
            "cooking fire",
            "field work",
            "cattle",
            "pond bath",
            "small child",
            "living alone",
            "only good eye",
        ],
        ...,
    ] = ()
    what_matters_in_own_words: LongText | None = None
    detail_wanted: Literal["basic", "usual", "full", "not asked"] = "not asked"
    declines_information: Answer = Field(Answer.UNKNOWN, description="asked not to be told of the risks")
    tells_clock_time: Answer = Field(Answer.UNKNOWN, description="reads a clock, or lives with someone who does")
    waking_from: dt.time = dt.time(7)
    waking_to: dt.time = dt.time(22)

    @model_validator(mode="after")
    def _checks(self) -> Patient:
        if self.birth_date is None and self.age_years is None:
            raise ValueError("birth_date or age_years is needed; age is part of the risk model")
        if self.waking_to <= self.waking_from:
            raise ValueError("waking_to must be later in the day than waking_from")
        return self

    def age_on(self, day: dt.date) -> int:
        """Age in whole years on ``day``; the age as told where no birth date is known."""
        if self.birth_date is None:
            return self.age_years if self.age_years is not None else 0
        had_birthday = (day.month, day.day) >= (self.birth_date.month, self.birth_date.day)
        return day.year - self.birth_date.year - (0 if had_birthday else 1)
