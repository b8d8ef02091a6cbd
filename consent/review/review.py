"""Puts the points of one case together: rules that fire, checks of the drops, elements that are missing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import consent.review.rules  # noqa: F401  registers the predicates
from consent.case import Case
from consent.clinic import Clinic
from consent.drops import Finding
from consent.review.completeness import Row
from consent.review.point import PREDICATES, Point, Severity, Situation, rules, thresholds
from consent.risk import Estimate
from consent.wording import Remark, remark

_ORDER = {severity: rank for rank, severity in enumerate(Severity)}


def points(case: Case, clinic: Clinic, risks: Mapping[str, Estimate]) -> tuple[Point, ...]:
    """Every point whose rule fires on the case, heaviest first, in the order of points.toml."""
    situation = Situation(case, clinic, risks)
    fired = []
    for rule_id in [name for name in rules() if name in PREDICATES]:
        facts = PREDICATES[rule_id](situation, thresholds(rule_id, clinic))
        if facts:
            fired.append(_point(rule_id, facts))
    return by_severity(fired)


def completeness_points(rows: Iterable[Row]) -> tuple[Point, ...]:
    """A stop naming each MUST element that the composed form does not meet; none if all are met."""
    missing = [row for row in rows if row.blocks]
    facts = [remark("fact.element", element=row.element.id, text=row.element.text) for row in missing]
    return (_point("completeness.must-unmet", facts),) if facts else ()


def drop_points(findings: Iterable[Finding]) -> tuple[Point, ...]:
    """The findings of the drop checks as points."""
    return tuple(
        Point(
            f"drops.{finding.id}",
            Severity(finding.severity),
            remark(f"finding.{finding.id}.title"),
            remark(f"finding.{finding.id}.settle"),
            tuple(remark("fact.verbatim", text=fact) for fact in finding.facts),
            finding.ground.source,
        )
        for finding in findings
    )


def by_severity(found: Iterable[Point]) -> tuple[Point, ...]:
    """The same points, stops first, then asks, then notes; otherwise in the order given."""
    return tuple(sorted(found, key=lambda point: _ORDER[point.severity]))


def _point(rule_id: str, facts: Iterable[Remark]) -> Point:
    rule = rules()[rule_id]
    title, settle = remark(f"point.{rule_id}.title"), remark(f"point.{rule_id}.settle")
    return Point(rule_id, rule.severity, title, settle, tuple(facts), rule.source)
