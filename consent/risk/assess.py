"""Every outcome of the plan for one case: capsule rupture first, the rest mixed over it or as published."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from consent.case import Case
from consent.clinic import Clinic
from consent.risk.capsule import capsule_rupture
from consent.risk.estimate import Estimate
from consent.risk.mixed import mixture, share_of_ruptures
from consent.risk.plan import Outcome, RiskPlan, risk_plan
from consent.risk.rates import no_figure, published_rate
from consent.risk.score import score_check


def assess_risks(case: Case, clinic: Clinic, plan: RiskPlan | None = None) -> tuple[Estimate, ...]:
    """One estimate per outcome, in the order of importance to the patient. Probabilities are proportions."""
    plan = plan or risk_plan()
    rupture = replace(capsule_rupture(case, clinic, plan), crosscheck=score_check(case, plan.crosscheck.series))
    return tuple(
        rupture if outcome.method == "odds model" else _METHODS[outcome.method](outcome, case, clinic, rupture)
        for outcome in plan.outcomes
    )


_METHODS: dict[str, Callable[[Outcome, Case, Clinic, Estimate], Estimate]] = {
    "none": no_figure,
    "rate": published_rate,
    "by fact": published_rate,
    "share": share_of_ruptures,
    "mixture": mixture,
    "ratio": mixture,
}
