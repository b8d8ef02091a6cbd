"""Checks of steroids against the eye, the patient and the visits at which the pressure is measured."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Glaucoma
from consent.drops.eye_risks import long_eye, pressure_history, young
from consent.drops.formulary import DrugClass
from consent.drops.limits import DayWindow
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, answered, hit


def _steroid(subject: Subject) -> tuple[tuple[Row, ...], int]:
    """Rows still to be given into the operated eye, and days in all, those of rows ended by a change among them."""
    rows, side = subject.operated(DrugClass.STEROID), subject.eye.side
    ever = [row for row in subject.plan.rows if row.side is side and row.has(DrugClass.STEROID)]
    return rows, len({day for row in ever for day in row.days()}) if rows else 0


def _missing(subject: Subject, *windows: DayWindow) -> list[str]:
    days = subject.visit_days("pressure")
    return [f"no pressure visit on {window}" for window in windows if not any(map(window.holds, days))]


def responder_facts(subject: Subject) -> list[str]:
    """Return what makes a pressure rise on steroid drops likely in this eye."""
    case, limits = subject.case, subject.limits
    return [*pressure_history(case.eye), *long_eye(case.eye, limits), *young(case, limits)]


def weak_responder_facts(subject: Subject) -> list[str]:
    """Return what is said to make a pressure rise likelier; it calls for one pressure visit, not for more."""
    health = subject.health
    facts = {
        "diabetes": health.diabetes,
        "connective-tissue disease": health.connective_tissue_disease,
        "glaucoma in a close relative": health.glaucoma_in_close_relative,
    }
    return [fact for fact, answer in facts.items() if answer is Answer.YES]


def pressure_visit(subject: Subject) -> Iterator[Hit]:
    """A long steroid course needs a measured pressure within the window."""
    rows, days = _steroid(subject)
    missing = _missing(subject, subject.limits.pressure_visit)
    if days > subject.limits.steroid_days.value and missing:
        yield hit("ask", (f"steroid for {days} days", *missing, *weak_responder_facts(subject)), rows)


def responder_visits(subject: Subject) -> Iterator[Hit]:
    """An eye at risk needs early and late pressure visits too; after a short course, one visit.

    The weak facts ask for one visit only: after a short course here, in a long one that of ``pressure_visit``.
    """
    rows, days = _steroid(subject)
    risks, weak, limits = responder_facts(subject), weak_responder_facts(subject), subject.limits
    windows: list[DayWindow] = []
    if days <= limits.steroid_days.value and (risks or weak):
        windows = [limits.responder_short_course_visit]
    elif risks:
        windows = [limits.responder_early_visit, limits.responder_late_visit]
    if rows and (missing := _missing(subject, *windows)):
        yield hit("ask", (*risks, *weak, f"steroid for {days} days", *missing), rows)


def response_not_asked(subject: Subject) -> Iterator[Hit]:
    """A long course in an eye of which nobody knows how it answers."""
    rows, days = _steroid(subject)
    eye, health = subject.eye, subject.health
    unknown = {
        "earlier answer to steroid drops: not known": eye.steroid_response_self is Answer.UNKNOWN,
        "steroid answer of close relatives: not known": eye.steroid_response_family is Answer.UNKNOWN,
        "glaucoma: not known": eye.glaucoma is Glaucoma.UNKNOWN,
        "glaucoma of close relatives: not known": health.glaucoma_in_close_relative is Answer.UNKNOWN,
        "axial length: not known": eye.axial_length_mm is None,
    }
    facts = [fact for fact, fires in unknown.items() if fires]
    if facts and days > subject.limits.steroid_days.value:
        yield hit("note", facts, rows)


def injected(subject: Subject) -> Iterator[Hit]:
    """A steroid left in or beside the eye works for weeks, drops or none: its eye at risk, or no pressure visit."""
    depot = subject.texts("steroid")
    risks = [*responder_facts(subject), *weak_responder_facts(subject)]
    missing = _missing(subject, subject.limits.pressure_visit)
    if depot and (risks or missing):
        yield hit("note", (*risks, *missing), (), depot)


def herpes(subject: Subject) -> Iterator[Hit]:
    """Steroid on a herpetic cornea."""
    rows = subject.operated(DrugClass.STEROID)
    history = subject.eye.herpes_keratitis
    if rows and history != "never":
        yield hit("stop" if history == "active" else "ask", (f"herpes of the cornea: {history}",), rows)


def corneal_infection(subject: Subject) -> Iterator[Hit]:
    """Steroid on a cornea infected by anything else."""
    answers = {"active infection of the cornea": subject.eye.other_corneal_infection}
    yield from answered(answers, subject.operated(DrugClass.STEROID), "stop", "ask")


STEROID_CHECKS: dict[str, Check] = {
    "steroid-without-pressure-visit": pressure_visit,
    "steroid-responder-visits": responder_visits,
    "steroid-response-not-asked": response_not_asked,
    "steroid-injected": injected,
    "steroid-herpes": herpes,
    "steroid-corneal-infection": corneal_infection,
}
