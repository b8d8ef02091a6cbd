"""What the literature means for this eye: odds model, mixture over capsule rupture, recalibration, intervals."""

from consent.risk.acceptance import Permission, may_show_personal, unaccepted_series
from consent.risk.assess import assess_risks
from consent.risk.estimate import Estimate, Range, RangeKind, Source, Step
from consent.risk.plan import risk_plan

__all__ = [
    "Estimate",
    "Permission",
    "Range",
    "RangeKind",
    "Source",
    "Step",
    "assess_risks",
    "may_show_personal",
    "risk_plan",
    "unaccepted_series",
]
