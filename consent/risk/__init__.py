"""What the literature means for this eye: odds model, mixture over capsule rupture, recalibration, intervals."""

from consent.risk.acceptance import (
    Permission,
    accepted_figures,
    has_lapsed,
    may_show_personal,
    unaccepted_series,
)
from consent.risk.after_rupture import AfterRupture, after_rupture
from consent.risk.assess import assess_risks
from consent.risk.estimate import Estimate, Range, RangeKind, Source, Step
from consent.risk.plan import Alternative, risk_plan
from consent.risk.score import ScoreCheck, score_check

__all__ = [
    "AfterRupture",
    "Alternative",
    "Estimate",
    "Permission",
    "Range",
    "RangeKind",
    "ScoreCheck",
    "Source",
    "Step",
    "accepted_figures",
    "after_rupture",
    "assess_risks",
    "has_lapsed",
    "may_show_personal",
    "risk_plan",
    "score_check",
    "unaccepted_series",
]
