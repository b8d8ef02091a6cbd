"""Who takes part, what it costs, what matters to the patient, and the record of the talk."""

from __future__ import annotations

import datetime as dt

from consent.case import Answer, Case, Payer
from consent.compose.document import Blank, Block, Bullets, Line, Para, Section, Spot
from consent.compose.form_plan import section
from consent.compose.frame import telephone
from consent.compose.voice import Listed, Voice, joined
from consent.errors import LanguageError, Problem
from consent.language import Quoted
from consent.review.assessment import Assessment
from consent.wording import Remark, remark

_TRAINEE = {
    Answer.NO: "form.people.no-trainee",
    Answer.YES: "form.people.trainee",
    Answer.UNKNOWN: "form.people.trainee-not-decided",
}
_TOLD = ("US-04:operation", "US-04:benefits", "US-04:material risks", "US-04:alternatives", "UK-19:told")
_PHYSICIANS = ("surgeon", "surgeon in training", "anaesthetist")
_DAYS_OF = {
    "prayer": "pray_seated_days",
    "cooking fire": "no_dust_smoke_days",
    "field work": "no_field_work_days",
    "cattle": "no_field_work_days",
    "pond bath": "no_pond_bath_days",
    "small child": "shield_nights",
}
"""What matters to the patient, and the days of care it is answered with."""


def people(assessment: Assessment, voice: Voice) -> Section:
    """Who operates and explained, a trainee, others who take part, where a camp patient turns to, the cost."""
    case, plan = assessment.case, assessment.case.plan
    surgeon, trainee = who_operates(assessment, voice)
    told = voice.line("form.people.explained-by-nobody")
    if case.talk.by:
        told = voice.line("form.people.explained-by", name=Quoted(case.talk.by))
    blocks: list[Block] = [
        Para(
            joined([surgeon, trainee, told, costs(assessment, voice)], " "),
            spots=(
                Spot(surgeon, ("ST-07:operates", "UK-16:operates")),
                Spot(trainee, ("ST-08", "UK-16:trainee", *_us_trainee(plan.trainee_may_operate))),
                Spot(told, ("ST-07:explains", "ST-07:delegate", "UK-16:talk", "US-07") if case.talk.by else ()),
            ),
        )
    ]
    for other in plan.others:
        line = voice.line(
            "form.people.other", name=Quoted(other.name), role=remark(f"role.{other.role}"), task=Quoted(other.task)
        )
        blocks.append(Para(line, elements=("US-10" if other.role in _PHYSICIANS else "US-11",)))
    if plan.examined_for_teaching is Answer.YES:
        blocks.append(Para(voice.line("form.people.teaching"), elements=("US-12",)))
    if plan.camp is Answer.YES or plan.payer is Payer.CAMP:
        blocks += _camp(assessment, voice)
    return section(voice, "people", *blocks)


def who_operates(assessment: Assessment, voice: Voice) -> tuple[Line, Line]:
    """The surgeon by name, and whether a surgeon in training takes part."""
    plan = assessment.case.plan
    surgeon = voice.line("form.people.surgeon", surgeon=Quoted(plan.surgeon.name))
    return surgeon, voice.line(_TRAINEE[plan.trainee_may_operate])


def _us_trainee(may: Answer) -> tuple[str, ...]:
    return ("US-10",) if may is Answer.YES else ()


def _camp(assessment: Assessment, voice: Voice) -> list[Block]:
    visits = assessment.case.visits
    where = telephone(voice, assessment.clinic, "form.people.camp", place=Quoted(assessment.clinic.address))
    dates = Listed(
        tuple(remark("value.day", date=visit.date) for visit in sorted(visits, key=lambda visit: visit.date)), "; "
    )
    when = voice.line("form.people.camp-visits", dates=dates) if visits else voice.line("form.people.camp-no-visits")
    return [
        Para(where, elements=("IN-21:hospital", "IN-21:contact")),
        Para(when, elements=("IN-21:visits", "IN-21:transport")),
    ]


def costs(assessment: Assessment, voice: Voice) -> Line:
    """Who pays, what it costs where that is to be printed, who pays for extra steps; the same rights for all."""
    plan = assessment.case.plan
    lines = [voice.line(f"payer.{plan.payer}")]
    if plan.cost:
        lines.append(voice.line("form.cost.amount", cost=Quoted(plan.cost)))
    if plan.extra_cost_paid_by:
        lines.append(voice.line("form.cost.extra", who=Quoted(plan.extra_cost_paid_by)))
    elif plan.payer in (Payer.PAYING, Payer.INSURED, Payer.UNKNOWN):
        lines.append(voice.line("form.cost.extra-not-said"))
    return joined(lines, " ")


def matters(assessment: Assessment, voice: Voice) -> Section:
    """What the patient said matters, each answered with its day; their own words and questions as entered."""
    case = assessment.case
    told = [voice.remark(_answered(name, assessment)) for name in case.patient.what_matters]
    blocks: list[Block] = [Bullets(tuple(told), elements=("UK-07",))] if told else []
    if case.patient.what_matters_in_own_words:
        words = voice.line("matters.own-words", words=Quoted(case.patient.what_matters_in_own_words))
        blocks.append(Para(words, elements=("UK-07",)))
    if not blocks:
        blocks.append(Blank(voice.line("matters.not-asked"), lines=1))
    for asked in case.talk.questions:
        answer = (
            voice.line("form.matters.answer", answer=Quoted(asked.answer))
            if asked.answer
            else voice.line("form.matters.no-answer")
        )
        question = voice.line("form.matters.asked", question=Quoted(asked.question))
        blocks.append(Para(joined([question, answer], " "), elements=("ST-09", "UK-19:asked")))
    blocks.append(Blank(voice.line("form.matters.questions"), lines=1, elements=("ST-09", "UK-19:asked")))
    return section(voice, "matters", *blocks)


def _answered(name: str, assessment: Assessment) -> Remark:
    until = _until(name, assessment)
    return remark(f"matters.{name}.until", date=until) if until else remark(f"matters.{name}")


def _until(name: str, assessment: Assessment) -> dt.date | None:
    """The day an answer turns on, where the clinic or the case has set one."""
    case = assessment.case
    if name == "reading":
        return case.glasses_on
    days = getattr(assessment.clinic.aftercare, _DAYS_OF[name]) if name in _DAYS_OF else None
    return case.plan.date + dt.timedelta(days=days) if days else None


def record(assessment: Assessment, voice: Voice) -> Section:
    """The record of the exchange: what was told, how, when, how much was wished for, and what was decided."""
    case, talk = assessment.case, assessment.case.talk
    outcome = [voice.line(f"form.record.outcome.{talk.outcome}")]
    if talk.outcome_words:
        outcome.append(voice.line("form.record.outcome-words", words=Quoted(talk.outcome_words)))
    aids = (
        voice.line("form.record.aids", aids=Listed(tuple(remark(f"aid.{aid}") for aid in talk.aids)))
        if talk.aids
        else voice.line("form.record.aids-none")
    )
    copy = voice.line("form.record.copy.yes" if talk.copy_given is Answer.YES else "form.record.copy.no")
    told, when = voice.line("form.record.told"), _when(case, voice)
    detail = [voice.line(f"form.record.detail.{case.patient.detail_wanted}")]
    if case.patient.declines_information is Answer.YES:
        declined = voice.line("form.record.declined")
        detail.append(declined)
    wished, decided = joined(detail, " "), joined(outcome, " ")
    blocks: list[Block] = [
        Para(
            joined([told, when, aids, copy, wished, decided], " "),
            spots=(
                Spot(told, _TOLD),
                *([Spot(when, ("ST-04",))] if talk.at is not None else []),
                Spot(aids, ("UN-04", "ST-01:aids", "UK-15") if talk.aids else ()),
                Spot(copy, ("ST-01:copy", "UK-20")),
                Spot(wished, ("ST-11", *(("ST-12", "EU-07") if len(detail) > 1 else ()))),
                Spot(decided, ("UK-19:decided",)),
            ),
        )
    ]
    if case.plan.emergency_reason:
        reason = voice.line("form.record.emergency", why=Quoted(case.plan.emergency_reason))
        blocks.append(Para(reason, elements=("US-20",)))
    blocks += [Para(line, elements=("US-19", "EU-08")) for line in _local(assessment, voice)]
    return section(voice, "record", *blocks)


def _when(case: Case, voice: Voice) -> Line:
    talk = case.talk
    if talk.at is None:
        return voice.line("form.record.when-not")
    days = (case.plan.date - talk.at.date()).days
    if days > 0:
        return voice.count("form.record.when", days, date=talk.at.date())
    if talk.same_day_reason:
        return voice.line("form.record.when-same-day", why=Quoted(talk.same_day_reason))
    return voice.line("form.record.when-same-day-no-reason")


def _local(assessment: Assessment, voice: Voice) -> list[Line]:
    """What local law adds, in the clinic's own words, in every language of the form."""
    found = []
    for place, addition in enumerate(assessment.clinic.local_additions):
        if missing := [tag for tag in voice.tags if tag not in addition.words]:
            raise LanguageError(
                Problem(
                    f'what local law adds is not written in "{missing[0]}"',
                    f"clinic: local_additions.{place}.words",
                    "a form in two languages must say the same in each",
                    f"add the words in {missing[0]}, or print in: {', '.join(addition.words)}",
                )
            )
        said = tuple(speaker.show(Quoted(addition.words[speaker.tag])) for speaker in voice.speakers)
        found.append(voice.each("form.record.local", words=said, source=voice.quoted(addition.source)))
    return found
