"""What the literature says: one file per published series, and its loader."""

from consent.evidence.library import Cited, Library, library, read_library
from consent.evidence.model import Factor, Figure, Level, OddsModel, Score, Series, Use, Verified, wilson

__all__ = [
    "Cited",
    "Factor",
    "Figure",
    "Level",
    "Library",
    "OddsModel",
    "Score",
    "Series",
    "Use",
    "Verified",
    "library",
    "read_library",
    "wilson",
]
