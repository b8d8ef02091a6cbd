"""Checks of steroid and NSAID drops against the eye, the patient and the visits."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Glaucoma
from consent.drops.formulary import DrugClass
from consent.drops.limits import DayWindow
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, answered, hit


def _days(rows: tuple[Row, ...]) -> set[int]:
    return {day for row in rows for day in row.days()}


def _steroid(subject: Subject) -> tuple[tuple[Row, ...], int]:
    rows = subject.operated(DrugClass.STEROID)
    return rows, len(_days(rows))


def _pressure_days(subject: Subject) -> list[int]:
    return [(visit.date - subject.plan.surgery).days for visit in subject.case.visits if visit.kind == "pressure"]


def _missing(subject: Subject, *windows: DayWindow) -> list[str]:
    days = _pressure_days(subject)
    return [f"no pressure visit on {window}" for window in windows if not any(map(window.holds, days))]


def responder_facts(subject: Subject) -> list[str]:
    """Return what makes a pressure rise on steroid drops likely in this eye."""
    eye, limits = subject.eye, subject.limits
    length, age = eye.axial_length_mm, subject.case.age_years
    facts = {
        "pressure rose on steroid drops before": eye.steroid_response_self is Answer.YES,
        "pressure rose on steroid drops in a close relative": eye.steroid_response_family is Answer.YES,
        f"glaucoma: {eye.glaucoma}": eye.glaucoma not in (Glaucoma.NONE, Glaucoma.UNKNOWN),
        f"axial length {length} mm": length is not None and length >= limits.long_eye_mm.value,
        f"age {age} years": age < limits.young_eye_years.value,
    }
    return [fact for fact, fires in facts.items() if fires]


def pressure_visit(subject: Subject) -> Iterator[Hit]:
    """A steroid course beyond 14 days needs a measured pressure between days 14 and 28."""
    rows, days = _steroid(subject)
    missing = _missing(subject, subject.limits.pressure_visit)
    if days > subject.limits.steroid_days.value and missing:
        yield hit("ask", (f"steroid for {days} days", *missing), rows)


def responder_visits(subject: Subject) -> Iterator[Hit]:
    """An eye at risk needs early and late pressure visits too; after a short course, one visit."""
    rows, days = _steroid(subject)
    risks, limits = responder_facts(subject), subject.limits
    if not rows or not risks:
        return
    windows = [limits.responder_short_course_visit]
    if days > limits.steroid_days.value:
        windows = [limits.responder_early_visit, limits.responder_late_visit]
    if missing := _missing(subject, *windows):
        yield hit("ask", (*risks, f"steroid for {days} days", *missing), rows)


def response_not_asked(subject: Subject) -> Iterator[Hit]:
    """A long course in an eye of which nobody knows how it answers."""
    rows, days = _steroid(subject)
    unknown = {
        "earlier answer to steroid drops: not known": subject.eye.steroid_response_self is Answer.UNKNOWN,
        "steroid answer of close relatives: not known": subject.eye.steroid_response_family is Answer.UNKNOWN,
        "glaucoma: not known": subject.eye.glaucoma is Glaucoma.UNKNOWN,
        "axial length: not known": subject.eye.axial_length_mm is None,
    }
    facts = [fact for fact, fires in unknown.items() if fires]
    if facts and days > subject.limits.steroid_days.value:
        yield hit("note", facts, rows)


def herpes(subject: Subject) -> Iterator[Hit]:
    """Steroid on a herpetic cornea."""
    rows = subject.operated(DrugClass.STEROID)
    history = subject.eye.herpes_keratitis
    if rows and history != "never":
        yield hit("stop" if history == "active" else "ask", (f"herpes of the cornea: {history}",), rows)


def nsaid_sensitivity(subject: Subject) -> Iterator[Hit]:
    """Wheeze with aspirin, polyps, or an NSAID among the allergies."""
    rows = subject.rows(DrugClass.NSAID)
    named = [allergy for allergy in subject.allergies if subject.names_class(allergy, DrugClass.NSAID)]
    if rows and named:
        yield hit("stop", (f"allergy: {allergy.substance} ({allergy.reaction})" for allergy in named), rows)
        return
    wheeze = {"wheeze with aspirin, or nasal polyps": subject.health.aspirin_wheeze_or_polyps}
    yield from answered(wheeze, rows, "stop", "ask")


def nsaid_asthma(subject: Subject) -> Iterator[Hit]:
    """Plain asthma."""
    yield from answered({"asthma": subject.health.asthma}, subject.rows(DrugClass.NSAID), "ask", "note")


def nsaid_length(subject: Subject) -> Iterator[Hit]:
    """Beyond the label's days, after or before surgery; with a recorded reason it is told, not asked."""
    limits = subject.limits
    for row in subject.rows(DrugClass.NSAID):
        after = sum(day >= 1 for day in row.days())
        too_early = row.first_day < -limits.nsaid_days_before.value
        if after <= limits.nsaid_days.value and not too_early:
            continue
        facts = [f"{after} days after surgery, from day {row.first_day}"]
        facts += [f"reason: {row.reason}"] if row.reason else ["no reason recorded"]
        yield hit("note" if row.reason else "ask", facts, (row,))


def nsaid_surface(subject: Subject) -> Iterator[Hit]:
    """A dry or diseased surface."""
    rows = subject.operated(DrugClass.NSAID)
    yield from answered({"diseased surface": subject.eye.surface_disease}, rows, "ask", "note")


def nsaid_diabetes(subject: Subject) -> Iterator[Hit]:
    """Benefit and harm at once."""
    yield from answered({"diabetes": subject.health.diabetes}, subject.rows(DrugClass.NSAID), "ask", "note")


def nsaid_connective_tissue(subject: Subject) -> Iterator[Hit]:
    """Rheumatoid and the like."""
    answers = {"connective-tissue disease": subject.health.connective_tissue_disease}
    yield from answered(answers, subject.rows(DrugClass.NSAID), "ask", "note")


def nsaid_steroid(subject: Subject) -> Iterator[Hit]:
    """Both on the same days in the same eye."""
    for nsaid in subject.rows(DrugClass.NSAID):
        steroids = [row for row in subject.rows(DrugClass.STEROID) if row.side is nsaid.side]
        both = [row for row in steroids if not set(nsaid.days()).isdisjoint(row.days())]
        if both:
            yield hit("note", (), (nsaid, *both))


def nsaid_anticoagulant(subject: Subject) -> Iterator[Hit]:
    """Blood thinner."""
    yield from answered({"anticoagulant": subject.health.anticoagulant}, subject.rows(DrugClass.NSAID), "ask", "note")


ANTI_INFLAMMATORY_CHECKS: dict[str, Check] = {
    "nsaid-sensitivity": nsaid_sensitivity,
    "nsaid-asthma": nsaid_asthma,
    "nsaid-over-14-days": nsaid_length,
    "nsaid-surface-disease": nsaid_surface,
    "nsaid-diabetes": nsaid_diabetes,
    "nsaid-connective-tissue": nsaid_connective_tissue,
    "nsaid-with-steroid": nsaid_steroid,
    "nsaid-anticoagulant": nsaid_anticoagulant,
    "steroid-without-pressure-visit": pressure_visit,
    "steroid-responder-visits": responder_visits,
    "steroid-response-not-asked": response_not_asked,
    "steroid-herpes": herpes,
}
