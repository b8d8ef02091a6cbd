"""What the plan leaves open: steps nobody agreed, a trainee for a difficult eye, visits, prices, facts nobody asked."""

from __future__ import annotations

from consent.case import Answer, Asked, Payer, PupilGrade
from consent.review.facts_table import contradictions, foreseeable_steps, unusual
from consent.review.point import Situation, Thresholds, point
from consent.review.profile import profile
from consent.review.rules.nucleus import is_hard
from consent.review.rules.sight import seen_within_a_day
from consent.wording import Remark, remark


@point("steps.not-agreed")
def _steps(s: Situation, _: Thresholds) -> list[Remark]:
    agreed = s.case.plan.extra_steps
    return [
        remark("fact.step", step=remark(f"step.{step}.short"))
        for step in foreseeable_steps(s.case)
        if step not in agreed
    ]


@point("trainee.difficult-eye")
def _trainee(s: Situation, _: Thresholds) -> list[Remark]:
    if s.case.plan.trainee_may_operate is not Answer.YES:
        return []
    eye = s.case.eye
    found = {
        remark("fact.difficult-hard"): is_hard(s.case) or eye.white is Answer.YES,
        remark("fact.difficult-pupil"): eye.pupil_grade is PupilGrade.SMALL,
        remark("fact.difficult-threads"): Answer.YES in (eye.pseudoexfoliation, eye.phacodonesis),
        remark("fact.difficult-polar"): eye.posterior_polar is Answer.YES,
    }
    return [said for said, there in found.items() if there]


@point("visits.no-first-morning")
def _first_morning(s: Situation, _: Thresholds) -> list[Remark]:
    return [] if seen_within_a_day(s.case) else [remark("fact.no-first-morning")]


@point("payer.extra-steps")
def _payer(s: Situation, _: Thresholds) -> list[Remark]:
    plan = s.case.plan
    pays = plan.payer in (Payer.PAYING, Payer.INSURED)
    open_ = pays and plan.extra_steps and plan.extra_cost_paid_by is None
    return [remark("fact.extra-cost-not-said")] if open_ else []


@point("facts.not-asked")
def _not_asked(s: Situation, _: Thresholds) -> list[Remark]:
    health, eye = s.case.health, s.case.eye
    unknown = {
        "allergies": health.allergies.asked is Asked.NOT_ASKED,
        "alpha-blocker": health.alpha_blocker.ever is Answer.UNKNOWN,
        "anticoagulant": health.anticoagulant is Answer.UNKNOWN,
        "diabetes": health.diabetes is Answer.UNKNOWN,
        "lie-flat": health.can_lie_flat is Answer.UNKNOWN,
        "uveitis": eye.uveitis is Answer.UNKNOWN,
        "threads": eye.phacodonesis is Answer.UNKNOWN,
    }
    return [remark("fact.not-asked", what=remark(f"what.{name}")) for name, open_ in unknown.items() if open_]


@point("facts.impossible")
def _impossible(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark(f"fact.pair.{name}") for name in contradictions(s.case, "never")]


@point("facts.unlikely")
def _unlikely(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark(f"fact.pair.{name}") for name in contradictions(s.case, "hardly")]


@point("values.unusual")
def _unusual(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.unusual", what=remark(f"value-of.{key}"), value=value) for key, value in unusual(s.case)]


@point("profile.not-approved")
def _not_approved(s: Situation, _: Thresholds) -> list[Remark]:
    approved = s.clinic.profile_approved
    if approved is None:
        return [remark("fact.profile-not-approved", profile=s.clinic.profile)]
    if approved.profile != s.clinic.profile:
        return [remark("fact.profile-other-approved", approved=approved.profile, profile=s.clinic.profile)]
    return []


@point("profile.review-overdue")
def _overdue(s: Situation, _: Thresholds) -> list[Remark]:
    due = profile(s.clinic.profile).review_by
    return [remark("fact.profile-review-by", date=due)] if s.case.plan.date > due else []
