"""Puts the points of one case together: rules that fire, and checks of the drops."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import consent.review.rules  # noqa: F401  registers the predicates
from consent.case import Case
from consent.clinic import Clinic
from consent.drops import Finding
from consent.review.answering import make_point
from consent.review.point import PREDICATES, Point, Severity, Situation, rules, thresholds
from consent.risk import Estimate
from consent.wording import remark

_ORDER = {severity: rank for rank, severity in enumerate(Severity)}


def points(case: Case, clinic: Clinic, risks: Mapping[str, Estimate]) -> tuple[Point, ...]:
    """Every point whose rule fires on the case, heaviest first, in the order of points.toml.

    Once the operation is done, points about the plan are moot and no longer looked at.
    """
    situation = Situation(case, clinic, risks)
    fired = []
    looked_at = [name for name, rule in rules().items() if case.done is None or rule.after_surgery]
    for rule_id in [name for name in looked_at if name in PREDICATES]:
        facts = PREDICATES[rule_id](situation, thresholds(rule_id, clinic))
        if facts:
            fired.append(make_point(rule_id, facts))
    return by_severity(fired)


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
            finding.ground.overridable,
            ordered=finding.ordered,
        )
        for finding in findings
    )


def by_severity(found: Iterable[Point]) -> tuple[Point, ...]:
    """The same points, stops first, then asks, then notes; of each the open ones first; else in the order given."""
    return tuple(sorted(found, key=lambda point: (_ORDER[point.severity], not point.open)))
