"""The assessment as data: one object that other programs can read."""

from __future__ import annotations

import hashlib
from typing import Any

from consent.case import Answer
from consent.compose import Document, SheetWords, utter
from consent.language import Speaker
from consent.pack.compose import Pack
from consent.pack.drops_data import drops_data
from consent.review import Assessment, Point, Row, SignOff, State, differences, events, profile, review_triggers
from consent.risk import Estimate, after_rupture, may_show_personal

SCHEMA_VERSION = 1


def assessment_data(pack: Pack) -> dict[str, Any]:
    """``risks``, ``points``, ``drops``, ``completeness`` and ``translations`` of one case, ready for JSON.

    Probabilities are proportions in [0, 1]; dates are ISO 8601; words are English.
    """
    speaker = Speaker("en")
    assessment = pack.assessment
    case, clinic = assessment.case, assessment.clinic
    return {
        "schema": SCHEMA_VERSION,
        "final": assessment.signed_off is not None,
        "signed_off": _signed_off(assessment.signed_off),
        "record_number": case.patient.record_number,
        "eye": case.eye.side.value,
        "date": case.plan.date.isoformat(),
        "risks": [
            {
                **_risk(speaker, estimate),
                "shown_to_patient": "personal"
                if estimate.personal and may_show_personal(estimate, case, clinic).allowed
                else "usual",
            }
            for estimate in assessment.risks.values()
        ],
        "points": [_point(speaker, point) for point in pack.points],
        "drops": drops_data(assessment),
        "profile": _profile(assessment.clinic.profile),
        "completeness": [_element(row) for row in pack.completeness],
        "after_surgery": _after_surgery(speaker, assessment),
        "decision": case.talk.outcome.value,
        "said_back": {entry.question: entry.result.value for entry in case.talk.said_back},
        "triggers": [utter(speaker, trigger).plain for trigger in review_triggers(case)],
        "sheets": [_text_of(document) for document in pack.documents],
        "translations": [_words(entry) for entry in pack.words],
    }


def _signed_off(signed: SignOff | None) -> dict[str, str] | None:
    if signed is None:
        return None
    return {"by": signed.by, "registration": signed.registration, "at": signed.at.isoformat()}


def _after_surgery(speaker: Speaker, assessment: Assessment) -> dict[str, Any] | None:
    """What happened, each difference from the plan, and what follows a torn bag; None before surgery."""
    case = assessment.case
    if case.done is None:
        return None
    return {
        "events": list(events(case)),
        "differences": [
            {"told": utter(speaker, found.told).plain, "agreed": found.agreed} for found in differences(case)
        ],
        "after_torn_bag": [
            {
                "outcome": found.outcome,
                "horizon": found.horizon,
                "bag_whole": found.whole.value if found.whole else None,
                "bag_torn": found.torn.value if found.torn else None,
                "sources": [source.reference for source in found.sources],
            }
            for found in after_rupture(case, assessment.clinic)
            if case.done.capsule_torn is Answer.YES
        ],
    }


def _profile(name: str) -> dict[str, str]:
    chosen = profile(name)
    return {
        "id": chosen.id,
        "title": chosen.title,
        "dated": chosen.dated.isoformat(),
        "review_by": chosen.review_by.isoformat(),
        "caution": chosen.caution,
    }


def _text_of(document: Document) -> dict[str, str]:
    """SHA-256 of the exact words of a sheet, language by language, so that what was shown can be told from an edit."""
    hashed = {
        tag: hashlib.sha256("\n".join(texts).encode()).hexdigest()
        for tag, texts in document.texts_by_language().items()
    }
    return {"sheet": document.sheet, **hashed}


def _risk(speaker: Speaker, estimate: Estimate) -> dict[str, Any]:
    span, usual = estimate.interval, estimate.usual_interval
    return {
        "outcome": estimate.outcome,
        "known": estimate.known,
        "applies": estimate.applies,
        "probability": estimate.probability,
        "interval": {"low": span.low, "high": span.high, "kind": span.kind} if span else None,
        "single_figure": estimate.single_figure,
        "usual": estimate.usual,
        "usual_interval": {"low": usual.low, "high": usual.high, "kind": usual.kind} if usual else None,
        "other_population": estimate.other_population,
        "horizon": estimate.horizon,
        "population": {"setting": estimate.population, "region": estimate.region, "years": estimate.years},
        "benefit": estimate.benefit,
        "group": estimate.group,
        "group_assumed": estimate.group_assumed,
        "unlooked": estimate.unlooked,
        "unknown_factors": list(estimate.unknown_factors),
        "assumptions": [utter(speaker, note).plain for note in estimate.assumptions],
        "sources": [
            {
                "figure": source.reference,
                "printed": source.printed,
                "role": source.role,
                "citation": source.citation,
                "identifier": source.identifier,
                "years": source.years,
                "setting": source.setting,
                "verified": source.verified.value,
                "read_in": source.read_in,
            }
            for source in estimate.sources
        ],
    }


def _point(speaker: Speaker, point: Point) -> dict[str, Any]:
    return {
        "id": point.id,
        "severity": point.severity.value,
        "title": utter(speaker, point.title).plain,
        "facts": [utter(speaker, fact).plain for fact in point.facts],
        "settle": utter(speaker, point.settle).plain,
        "source": point.source,
        "key": point.key if point.overridable else None,
        "blocks": point.blocks,
        "answer": _answer(point),
    }


def _answer(point: Point) -> dict[str, str] | None:
    answer = point.answer
    if answer is None:
        return None
    return {
        "by": answer.by,
        "registration": answer.registration,
        "at": answer.at.isoformat(),
        "why": answer.why,
    }


def _element(row: Row) -> dict[str, Any]:
    return {
        "element": row.element.id,
        "level": row.element.level,
        "text": row.element.text,
        "met": None if row.state is State.NOT_APPLICABLE else row.state is State.MET,
        "where": list(row.where),
        "missing": list(row.missing),
        "measured": list(row.measured),
        "source": row.element.source,
        "verified": row.element.verified,
    }


def _words(entry: SheetWords) -> dict[str, Any]:
    return {
        "sheet": entry.sheet,
        "language": entry.language,
        "lowest_rung": int(entry.lowest),
        "stale": entry.stale,
        "missing": entry.missing,
        "may_be_signed": entry.may_be_signed,
        "by": list(entry.by),
    }
