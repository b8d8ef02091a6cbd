"""The talk in which the operation was explained, what came of it, and the second look on the day of surgery."""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from typing import Any, Literal

from pydantic import AwareDatetime, Field, model_validator

from consent.case.answers import Anaesthesia, Answer, ExtraStep, LensDesign, Operation, Side
from consent.case.part import LanguageTag, LongText, Part, ShortText


class Topic(StrEnum):
    """What a patient says back before signing: Vallance 2004; Morgan and Schwab 1986, PMID 3942543."""

    WHICH_EYE = "which eye"
    WHAT_IS_DONE = "what is done"
    ONE_RISK = "one risk"
    MAY_REFUSE = "may refuse"
    WARNING_SIGNS = "warning signs"


class Change(StrEnum):
    """What is asked on the day of surgery: GMC, Decision making and consent, 2020, Reviewing decisions."""

    CONDITION = "condition"
    PLAN = "plan"
    SURGEON = "surgeon"
    INFORMATION = "information"
    TIME = "time"
    MIND = "mind"


class Understood(StrEnum):
    """How the patient said something back in their own words."""

    FIRST_TIME = "first time"
    AFTER_EXPLAINING_AGAIN = "after explaining again"
    NOT_YET = "not yet"


class Outcome(StrEnum):
    """What the patient decided at the talk. Wanting time and refusing are decisions, not failures."""

    AGREES = "agrees"
    WANTS_TIME = "wants time"
    REFUSES = "refuses"
    NOT_ASKED = "not asked"


class SaidBack(Part):
    """One question of the counsellor's guide, and how it was answered."""

    question: Topic
    result: Understood
    words: LongText | None = None


class AskedQuestion(Part):
    """A question the patient asked, and what was answered. A plain text is a question not answered yet."""

    question: LongText
    answer: LongText | None = None

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, value: Any) -> Any:
        return {"question": value} if isinstance(value, str) else value


class Told(Part):
    """The plan as it was told at the talk. What differs from the plan of today is worked out from it."""

    side: Side
    operation: Operation
    anaesthesia: Anaesthesia | None = None
    lens_design: LensDesign | None = None
    lens_power_d: float | None = Field(None, ge=-15.0, le=50.0, description="lens power, dioptres")
    surgeon: ShortText | None = None
    date: dt.date | None = None


class Talk(Part):
    """The conversation in which the operation was explained."""

    at: AwareDatetime | None = None
    by: ShortText | None = None
    role: ShortText | None = None
    language: LanguageTag | None = None
    speaks_the_language: Answer = Answer.UNKNOWN
    after_sedation: Answer = Answer.UNKNOWN
    same_day_reason: LongText | None = None
    aids: tuple[Literal["pictures", "model of the eye", "read aloud", "recording"], ...] = ()
    copy_given: Answer = Answer.UNKNOWN
    said_back: tuple[SaidBack, ...] = ()
    questions: tuple[AskedQuestion, ...] = ()
    outcome: Outcome = Outcome.NOT_ASKED
    outcome_words: LongText | None = None
    decide_by: dt.date | None = None
    witness: ShortText | None = None
    witness_in_treating_team: Answer = Answer.UNKNOWN
    told: Told | None = None
    plan_changed_since: Answer = Answer.UNKNOWN
    steps_answered: Answer = Field(
        Answer.UNKNOWN, description="the ticks for the extra steps were read off the signed form"
    )
    steps_refused: tuple[ExtraStep, ...] = Field((), description="extra steps ticked with no on the signed form")

    @model_validator(mode="after")
    def _said_back_once(self) -> Talk:
        named = [entry.question for entry in self.said_back]
        if len(set(named)) != len(named):
            raise ValueError("said_back: a question stands twice; keep its last result")
        return self


class Confirmation(Part):
    """The second stage, just before surgery: what was asked, and whether anything had changed."""

    at: AwareDatetime
    by: ShortText
    still_wishes: Answer = Answer.UNKNOWN
    condition_changed: Answer = Answer.UNKNOWN
    plan_changed: Answer = Answer.UNKNOWN
    surgeon_changed: Answer = Answer.UNKNOWN
    information_changed: Answer = Answer.UNKNOWN
    too_long_ago: Answer = Answer.UNKNOWN
    mind_changed: Answer = Answer.UNKNOWN

    @property
    def changes(self) -> dict[Change, Answer]:
        """The answer to each question about a change, in the order asked."""
        return {
            Change.CONDITION: self.condition_changed,
            Change.PLAN: self.plan_changed,
            Change.SURGEON: self.surgeon_changed,
            Change.INFORMATION: self.information_changed,
            Change.TIME: self.too_long_ago,
            Change.MIND: self.mind_changed,
        }
