"""What follows a torn bag, once it has torn: the conditional figures, never the mixture."""

from __future__ import annotations

from dataclasses import dataclass

from consent.case import Case
from consent.clinic import Clinic
from consent.risk.estimate import Source
from consent.risk.mixed import both_arms
from consent.risk.mixture import Arm
from consent.risk.plan import RiskPlan, risk_plan


@dataclass(frozen=True)
class AfterRupture:
    """One outcome with the bag whole and with the bag torn, as proportions with 95% limits; None where not known."""

    outcome: str
    horizon: str
    whole: Arm | None
    torn: Arm | None
    sources: tuple[Source, ...]

    @property
    def unread(self) -> tuple[str, ...]:
        """Series behind the figures that were not read in their primary source."""
        return tuple(dict.fromkeys(s.series for s in self.sources if not s.verified.is_primary))


def after_rupture(case: Case, clinic: Clinic, plan: RiskPlan | None = None) -> tuple[AfterRupture, ...]:
    """Return the outcomes of the plan that follow a torn bag, in the order of importance to the patient."""
    found = []
    for outcome in (plan or risk_plan()).outcomes:
        if outcome.method in ("mixture", "ratio"):
            whole, torn, sources = both_arms(outcome, case, clinic)
            found.append(AfterRupture(outcome.id, outcome.horizon, whole, torn, sources))
    return tuple(found)
