"""What the surgeon must see: points (rules as data and predicates) and completeness against a profile."""

from consent.review.answering import answer_fact, with_answers
from consent.review.assessment import Assessment, assess
from consent.review.completeness import Anchor, Profile, Row, State, completeness, profile
from consent.review.point import Point, Severity, check_clinic_points
from consent.review.review import by_severity, completeness_points, drop_points, points

__all__ = [
    "Anchor",
    "Assessment",
    "Point",
    "Profile",
    "Row",
    "Severity",
    "State",
    "answer_fact",
    "assess",
    "by_severity",
    "check_clinic_points",
    "completeness",
    "completeness_points",
    "drop_points",
    "points",
    "profile",
    "with_answers",
]
