"""Who takes part, what it costs, what matters to the patient, the separate choices, and the record of the talk."""

from __future__ import annotations

import datetime as dt

from consent.case import Answer, Case, DecisionBasis, Payer
from consent.compose.document import Blank, Block, Bullets, Choice, Line, Para, Section, Spot
from consent.compose.form_plan import section
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
    """Who explained, who operates, whether a trainee may, who else takes part, where a camp patient turns to."""
    case, plan = assessment.case, assessment.case.plan
    surgeon = voice.line("form.people.surgeon", surgeon=Quoted(plan.surgeon.name))
    blocks: list[Block] = [
        Para(surgeon, elements=("ST-07:operates", "UK-16:operates")),
        Para(
            voice.line(_TRAINEE[plan.trainee_may_operate]),
            elements=("ST-08", "UK-16:trainee", *(("US-10",) if plan.trainee_may_operate is Answer.YES else ())),
        ),
    ]
    if case.talk.by:
        explained = voice.line("form.people.explained-by", name=Quoted(case.talk.by))
        blocks.append(Para(explained, elements=("ST-07:explains", "ST-07:delegate", "UK-16:talk", "US-07")))
    else:
        blocks.append(Para(voice.line("form.people.explained-by-nobody")))
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


def _camp(assessment: Assessment, voice: Voice) -> list[Block]:
    phone, visits = assessment.clinic.telephone, assessment.case.visits
    where = voice.line("form.people.camp", place=Quoted(assessment.clinic.address), day=phone.day, night=phone.night)
    dates = Listed(
        tuple(remark("value.day", date=visit.date) for visit in sorted(visits, key=lambda visit: visit.date)), "; "
    )
    when = voice.line("form.people.camp-visits", dates=dates) if visits else voice.line("form.people.camp-no-visits")
    return [
        Para(where, elements=("IN-21:hospital", "IN-21:contact")),
        Para(when, elements=("IN-21:visits", "IN-21:transport")),
    ]


def costs(assessment: Assessment, voice: Voice) -> Section:
    """Who pays, what it costs where that is to be printed, who pays for extra steps; the same rights for all."""
    plan = assessment.case.plan
    lines = [voice.line(f"payer.{plan.payer}")]
    if plan.cost:
        lines.append(voice.line("form.cost.amount", cost=Quoted(plan.cost)))
    if plan.extra_cost_paid_by:
        lines.append(voice.line("form.cost.extra", who=Quoted(plan.extra_cost_paid_by)))
    elif plan.payer in (Payer.PAYING, Payer.INSURED, Payer.UNKNOWN):
        lines.append(voice.line("form.cost.extra-not-said"))
    return section(voice, "cost", Para(joined(lines, " ")))


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
    blocks.append(Blank(voice.line("form.matters.questions"), lines=2, elements=("ST-09", "UK-19:asked")))
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


def separate(assessment: Assessment, voice: Voice) -> Section:
    """Photographs, recording, teaching, research, personal data: each a choice of its own."""
    accept, refuse = voice.line("choice.accept"), voice.line("choice.refuse")
    blocks: list[Block] = [Para(voice.line("form.separate.why"))]
    blocks += [
        Choice(voice.line(f"form.separate.{name}"), accept, refuse, elements=(f"IN-22:{name}",))
        for name in ("photographs", "recording", "teaching", "research")
    ]
    data = assessment.clinic.personal_data
    if data is not None:
        own = assessment.case.patient.decision.basis is DecisionBasis.SELF
        name = "form.separate.data" if own else "form.separate.data-guardian"
        said = voice.line(name, purpose=Quoted(data.purpose), contact=Quoted(data.contact))
        blocks.append(Choice(said, accept, refuse, elements=("IN-18",) if own else ("IN-18", "IN-19")))
    return section(voice, "separate", *blocks)


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
    blocks: list[Block] = [
        Para(
            told,
            elements=("US-04:operation", "US-04:benefits", "US-04:material risks", "US-04:alternatives", "UK-19:told"),
        ),
        Para(
            joined([when, aids, copy], " "),
            spots=(
                *([Spot(when, ("ST-04",))] if talk.at is not None else []),
                Spot(aids, ("UN-04", "ST-01:aids", "UK-15") if talk.aids else ()),
                Spot(copy, ("ST-01:copy", "UK-20")),
            ),
        ),
        Para(
            joined(detail, " "),
            elements=("ST-11", *(("ST-12", "EU-07") if len(detail) > 1 else ())),
        ),
        Para(joined(outcome, " "), elements=("UK-19:decided",)),
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
        return voice.line("form.record.when", date=talk.at.date(), days=days)
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
