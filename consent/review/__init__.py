"""What the surgeon must see: points (rules as data and predicates) and completeness against a profile."""

from consent.review.answering import answer_fact, with_answers
from consent.review.assessment import Assessment, SignOff, assess
from consent.review.changes import plan_changes, review_triggers
from consent.review.completeness import Anchor, Composed, Row, State, completeness, completeness_points
from consent.review.options import Option, option_ids, options
from consent.review.plan_and_fact import Difference, differences, events, steps_taken, unlike, unplanned_steps
from consent.review.point import Point, Severity, check_clinic_points
from consent.review.profile import NamedElement, Profile, profile
from consent.review.review import by_severity, drop_points, points

__all__ = [
    "Anchor",
    "Assessment",
    "Composed",
    "Difference",
    "NamedElement",
    "Option",
    "Point",
    "Profile",
    "Row",
    "Severity",
    "SignOff",
    "State",
    "answer_fact",
    "assess",
    "by_severity",
    "check_clinic_points",
    "completeness",
    "completeness_points",
    "differences",
    "drop_points",
    "events",
    "option_ids",
    "options",
    "plan_changes",
    "points",
    "profile",
    "review_triggers",
    "steps_taken",
    "unlike",
    "unplanned_steps",
    "with_answers",
]
