"""Which questions the patient is asked to answer in their own words, and what a right answer holds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from pydantic import RootModel

from consent.case import Topic
from consent.case.condition import Condition
from consent.case.part import Part
from consent.case.reading import read_model
from consent.compose.form_risks import harms
from consent.compose.frame import unbroken
from consent.compose.talk_settings import talk_settings
from consent.compose.voice import Listed
from consent.errors import ConsentError
from consent.resources import package_data
from consent.review.assessment import Assessment
from consent.wording import Remark, remark


class _Variant(Part):
    when: Condition | None = None
    point: str | None = None
    question: str
    key: str


class _Variants(RootModel[dict[Topic, tuple[_Variant, ...]]]):
    """The whole of teach_back.toml."""


@dataclass(frozen=True)
class SayBack:
    """One question and its key answer, both to be said in a language."""

    topic: Topic
    question: Remark
    key: Remark


@cache
def _variants() -> dict[Topic, tuple[_Variant, ...]]:
    return read_model(package_data("compose", "teach_back.toml"), _Variants, ConsentError).root


def questions(assessment: Assessment) -> tuple[SayBack, ...]:
    """Return one question a topic, made from this case, in the order they are asked."""
    fired = {point.id for point in assessment.points}
    return tuple(
        _made(topic, next(variant for variant in variants if _fits(variant, assessment, fired)), assessment)
        for topic, variants in _variants().items()
    )


def _fits(variant: _Variant, assessment: Assessment, fired: set[str]) -> bool:
    if variant.point is not None:
        return variant.point in fired
    return variant.when is None or variant.when.holds(assessment.case)


def _made(topic: Topic, variant: _Variant, assessment: Assessment) -> SayBack:
    return SayBack(topic, remark(variant.question), remark(variant.key, **_slots(variant.key, assessment)))


def _slots(key: str, assessment: Assessment) -> dict[str, object]:
    phone = assessment.clinic.telephone
    if key == "teach-back.which eye.key":
        return {"eye": remark(f"eye.{assessment.case.eye.side}")}
    if key == "teach-back.one risk.key":
        gravest = [
            remark(f"outcome.{estimate.outcome}.name") for estimate in harms(assessment)[: talk_settings().first_harms]
        ]
        return {"harms": Listed(tuple(gravest), "; ")}
    if key == "teach-back.warning signs.key":
        return {"day": unbroken(phone.day), "night": unbroken(phone.night)}
    return {}
