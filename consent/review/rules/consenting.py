"""Who decides, who explained, in which language, and when."""

from __future__ import annotations

from consent.case import Answer, DecisionBasis
from consent.review.point import Situation, Thresholds, point
from consent.wording import Remark, remark


@point("consent.someone-else")
def _someone_else(s: Situation, _: Thresholds) -> list[Remark]:
    decision = s.case.patient.decision
    if decision.basis is DecisionBasis.SELF:
        return []
    found = []
    if decision.can_decide is Answer.YES:
        found.append(remark("fact.can-decide-but-other-signs"))
    if decision.basis is DecisionBasis.PARENT_OF_MINOR:
        found.append(remark("fact.adult-not-minor", years=s.case.age_years))
    if not (decision.name and decision.relation):
        found.append(remark("fact.guardian-not-named"))
    return found


@point("consent.cannot-decide")
def _cannot_decide(s: Situation, _: Thresholds) -> list[Remark]:
    decision = s.case.patient.decision
    signs_anyway = decision.basis is DecisionBasis.SELF and decision.can_decide is Answer.NO
    return [remark("fact.cannot-decide")] if signs_anyway else []


@point("consent.capacity-not-recorded")
def _capacity(s: Situation, _: Thresholds) -> list[Remark]:
    unknown = s.case.patient.decision.can_decide is Answer.UNKNOWN
    return [remark("fact.capacity-unknown")] if unknown else []


@point("consent.after-sedation")
def _sedation(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.after-sedation")] if s.case.talk.after_sedation is Answer.YES else []


@point("consent.no-interpreter")
def _interpreter(s: Situation, _: Thresholds) -> list[Remark]:
    patient, talk = s.case.patient, s.case.talk
    if patient.interpreter is not None:
        return []
    if talk.language is not None and talk.language != patient.language:
        return [remark("fact.language-differs")]
    return [remark("fact.interpreter-needed")] if patient.interpreter_needed is Answer.YES else []


@point("consent.no-witness")
def _witness(s: Situation, _: Thresholds) -> list[Remark]:
    patient, talk = s.case.patient, s.case.talk
    own = patient.decision.basis is DecisionBasis.SELF
    if own and Answer.NO not in (patient.reads, patient.writes_name):
        return []
    if talk.witness is None:
        return [remark("fact.no-witness")] if own else [remark("fact.no-witness-for-another")]
    return [remark("fact.witness-in-team")] if talk.witness_in_treating_team is not Answer.NO else []


@point("consent.not-explained")
def _not_explained(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.not-explained")] if s.case.talk.at is None or s.case.talk.by is None else []


@point("consent.explained-same-day")
def _same_day(s: Situation, _: Thresholds) -> list[Remark]:
    at = s.case.talk.at
    return [remark("fact.explained-on", date=at.date())] if at and at.date() >= s.case.plan.date else []


@point("consent.explained-long-ago")
def _long_ago(s: Situation, t: Thresholds) -> list[Remark]:
    at = s.case.talk.at
    old = at is not None and (s.case.plan.date - at.date()).days > t["days"]
    return [remark("fact.explained-on", date=at.date())] if at and old else []


@point("consent.plan-changed")
def _changed(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.plan-changed")] if s.case.talk.plan_changed_since is Answer.YES else []


@point("consent.no-teach-back")
def _teach_back(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.no-teach-back")] if s.case.talk.teach_back_done is not Answer.YES else []
