"""Predicates of the points, by subject; importing this package registers them all."""

from consent.review.rules import (
    after,
    anaesthesia,
    consenting,
    figures,
    fitness,
    implant,
    nucleus,
    planning,
    regimen,
    sides,
    sight,
)

__all__ = [
    "after",
    "anaesthesia",
    "consenting",
    "figures",
    "fitness",
    "implant",
    "nucleus",
    "planning",
    "regimen",
    "sides",
    "sight",
]
