"""Puts the answers of a case to its points: an answer holds only for the facts it was given to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from consent.case import PointAnswer
from consent.review.point import Point, rules
from consent.wording import Remark, remark

COMPLETENESS = "completeness.must-unmet"
"""Known only once the form is composed, and so are the answers to it."""


def with_answers(found: Iterable[Point], answers: Iterable[PointAnswer]) -> tuple[Point, ...]:
    """Return ``found`` with the answer that fits each, the last one given where several do.

    Added at the end: a point for an answer whose facts have changed since while its point is still open, and one for
    an answer to a point that is not there.
    """
    answers = tuple(answers)
    fitting = {(answer.point, answer.key): answer for answer in answers}
    points = tuple(replace(point, answer=fitting.get((point.id, point.key))) for point in found)
    held = {(point.id, point.key) for point in points}
    loose = [answer for place, answer in fitting.items() if place not in held]
    return (*points, *_out_of_date(points, loose), *_to_no_point(points, loose))


def _out_of_date(points: tuple[Point, ...], loose: list[PointAnswer]) -> tuple[Point, ...]:
    waiting = {point.id for point in points if point.answer is None}
    return tuple(_about("answer.out-of-date", answer) for answer in loose if answer.point in waiting)


def _to_no_point(points: tuple[Point, ...], loose: list[PointAnswer]) -> tuple[Point, ...]:
    there = {point.id for point in points}
    return tuple(_about("answer.to-no-point", answer) for answer in loose if answer.point not in there)


def _about(rule_id: str, answer: PointAnswer) -> Point:
    return make_point(rule_id, (answer_fact(answer), remark("fact.answer-why", why=answer.why)))


def answer_fact(answer: PointAnswer) -> Remark:
    """Return what was answered, by whom and when, without the reason."""
    return remark("fact.answer", point=answer.point, key=answer.key, by=answer.by, date=answer.at.date())


def make_point(rule_id: str, facts: Iterable[Remark]) -> Point:
    """Return the point ``rule_id`` of points.toml with its ``facts``."""
    rule = rules()[rule_id]
    title, settle = remark(f"point.{rule_id}.title"), remark(f"point.{rule_id}.settle")
    return Point(rule_id, rule.severity, title, settle, tuple(facts), rule.source, rule.overridable)
