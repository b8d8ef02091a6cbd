"""Who decides, who explained, in which language, and when."""

from __future__ import annotations

from consent.case import Answer, Confirmation, DecisionBasis, Outcome, Topic, Understood
from consent.language import languages
from consent.review.changes import plan_changes
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
    if own and Answer.NO not in (patient.reads, patient.writes_name, patient.sees_to_read):
        return []
    if talk.witness is None:
        return [remark("fact.no-witness")] if own else [remark("fact.no-witness-for-another")]
    return [remark("fact.witness-in-team")] if talk.witness_in_treating_team is not Answer.NO else []


@point("consent.not-explained")
def _not_explained(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.not-explained")] if s.case.talk.at is None or s.case.talk.by is None else []


@point("consent.explained-same-day")
def _same_day(s: Situation, _: Thresholds) -> list[Remark]:
    talk = s.case.talk
    if talk.at is None or talk.at.date() < s.case.plan.date:
        return []
    reason = [remark("fact.same-day-reason", why=talk.same_day_reason)] if talk.same_day_reason else []
    return [remark("fact.explained-on", date=talk.at.date()), *reason]


@point("consent.explained-long-ago")
def _long_ago(s: Situation, t: Thresholds) -> list[Remark]:
    at = s.case.talk.at
    old = at is not None and (s.case.plan.date - at.date()).days > t["days"]
    return [remark("fact.explained-on", date=at.date())] if at and old else []


@point("consent.plan-changed")
def _changed(s: Situation, _: Thresholds) -> list[Remark]:
    stated = s.case.talk.plan_changed_since is Answer.YES
    return [*([remark("fact.plan-changed")] if stated else []), *plan_changes(s.case)]


@point("consent.no-teach-back")
def _teach_back(s: Situation, _: Thresholds) -> list[Remark]:
    asked = {entry.question for entry in s.case.talk.said_back}
    return [remark("fact.not-said-back", topic=remark(f"topic.{name}")) for name in Topic if name not in asked]


@point("consent.not-understood")
def _not_understood(s: Situation, _: Thresholds) -> list[Remark]:
    not_yet = [entry.question for entry in s.case.talk.said_back if entry.result is Understood.NOT_YET]
    return [remark("fact.not-yet", topic=remark(f"topic.{name}")) for name in not_yet]


@point("consent.no-words-in-language")
def _no_words(s: Situation, _: Thresholds) -> list[Remark]:
    patient, talk = s.case.patient, s.case.talk
    helped = patient.interpreter is not None or talk.speaks_the_language is Answer.YES
    if helped or patient.language in languages():
        return []
    return [remark("fact.no-words", tag=patient.language)]


@point("consent.interpreter-unqualified")
def _unqualified(s: Situation, _: Thresholds) -> list[Remark]:
    interpreter = s.case.patient.interpreter
    if interpreter is None or interpreter.qualification is not None:
        return []
    return [remark("fact.interpreter", name=interpreter.name)]


@point("consent.question-unanswered")
def _unanswered(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.question", question=asked.question) for asked in s.case.talk.questions if not asked.answer]


@point("consent.not-decided")
def _not_decided(s: Situation, _: Thresholds) -> list[Remark]:
    told = s.case.talk.at is not None
    return [remark("fact.not-decided")] if told and s.case.talk.outcome is Outcome.NOT_ASKED else []


@point("consent.refused")
def _refused(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.refused")] if s.case.talk.outcome is Outcome.REFUSES else []


@point("consent.wants-time")
def _wants_time(s: Situation, _: Thresholds) -> list[Remark]:
    talk = s.case.talk
    if talk.outcome is not Outcome.WANTS_TIME:
        return []
    return [remark("fact.wants-time-until", date=talk.decide_by) if talk.decide_by else remark("fact.wants-time")]


@point("consent.declines-information")
def _declines(s: Situation, _: Thresholds) -> list[Remark]:
    return [remark("fact.declines-information")] if s.case.patient.declines_information is Answer.YES else []


@point("consent.emergency")
def _emergency(s: Situation, _: Thresholds) -> list[Remark]:
    reason = s.case.plan.emergency_reason
    return [remark("fact.emergency", why=reason)] if reason else []


@point("confirmation.before-talk")
def _before_talk(s: Situation, _: Thresholds) -> list[Remark]:
    seen, at = s.case.confirmation, s.case.talk.at
    if seen is None or (at is not None and at <= seen.at):
        return []
    return [remark("fact.confirmed-at", date=seen.at.date(), time=seen.at.time())]


@point("confirmation.something-changed")
def _something_changed(s: Situation, _: Thresholds) -> list[Remark]:
    """A yes to a change, unless a new talk was held after it."""
    seen, at = s.case.confirmation, s.case.talk.at
    if seen is None or (at is not None and at > seen.at):
        return []
    return _changes(seen, Answer.YES)


@point("confirmation.not-all-asked")
def _not_all_asked(s: Situation, _: Thresholds) -> list[Remark]:
    seen = s.case.confirmation
    if seen is None:
        return []
    return _changes(seen, Answer.UNKNOWN)


@point("confirmation.no-longer-wishes")
def _no_longer(s: Situation, _: Thresholds) -> list[Remark]:
    seen = s.case.confirmation
    return [remark("fact.no-longer-wishes")] if seen and seen.still_wishes is not Answer.YES else []


def _changes(seen: Confirmation, answered: Answer) -> list[Remark]:
    return [remark(f"day.changed-{name}") for name, answer in seen.changes.items() if answer is answered]
