"""Checks of NSAIDs against the lungs, the cornea and the days of the label."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Side
from consent.drops.formulary import DrugClass
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, answered, hit


def sensitivity(subject: Subject) -> Iterator[Hit]:
    """Wheeze with aspirin, polyps, or an NSAID among the allergies; as drops, injected or as tablets."""
    rows, texts = subject.rows(DrugClass.NSAID), subject.texts("nsaid")
    named = [allergy for allergy in subject.allergies if subject.names_class(allergy, DrugClass.NSAID)]
    if (rows or texts) and named:
        yield hit("stop", (f"allergy: {allergy.substance} ({allergy.reaction})" for allergy in named), rows, texts)
        return
    wheeze = {"wheeze with aspirin, or nasal polyps": subject.health.aspirin_wheeze_or_polyps}
    yield from answered(wheeze, rows, "stop", "ask", texts)


def asthma(subject: Subject) -> Iterator[Hit]:
    """Plain asthma."""
    yield from answered({"asthma": subject.health.asthma}, subject.rows(DrugClass.NSAID), "ask", "note")


def length(subject: Subject) -> Iterator[Hit]:
    """Beyond the label's days, before or after each eye's own surgery; with a recorded reason it is told, not asked."""
    for side, rows in _by_side(subject):
        if beyond := [row for row in rows if _before(subject, row) or _after(subject, row)]:
            days = _days(subject, side, rows)
            reasons = dict.fromkeys(f"reason: {row.reason}" for row in beyond if row.reason)
            lacking = [] if all(row.reason for row in beyond) else ["no reason recorded"]
            told = f"{sum(day >= 1 for day in days)} days after surgery, from day {days[0]}"
            yield hit("ask" if lacking else "note", (told, *reasons, *lacking), rows)


def cornea_visit(subject: Subject) -> Iterator[Hit]:
    """Beyond the label's days after surgery, reason or none, somebody looks at the cornea before the drops end."""
    first = subject.limits.cornea_visit_from_day.value
    for side, rows in _by_side(subject):
        last = _days(subject, side, rows)[-1]
        visits = (day - subject.own_surgery_day(side) for day in subject.visit_days("cornea"))
        if any(_after(subject, row) for row in rows) and not any(first <= day <= last for day in visits):
            yield hit("ask", (f"no cornea visit on days {first}-{last}",), rows)


def _by_side(subject: Subject) -> Iterator[tuple[Side, tuple[Row, ...]]]:
    for side in Side:
        if rows := tuple(row for row in subject.rows(DrugClass.NSAID) if row.side is side):
            yield side, rows


def _days(subject: Subject, side: Side, rows: tuple[Row, ...]) -> list[int]:
    """Days with a drop, counted from the surgery of ``side``."""
    return sorted({day - subject.own_surgery_day(side) for row in rows for day in row.days()})


def _before(subject: Subject, row: Row) -> bool:
    return row.first_day - subject.own_surgery_day(row.side) < -subject.limits.nsaid_days_before.value


def _after(subject: Subject, row: Row) -> bool:
    return row.last_day - subject.own_surgery_day(row.side) > subject.limits.nsaid_days.value


def epithelial_defect(subject: Subject) -> Iterator[Hit]:
    """The epithelium is not whole."""
    answers = {"epithelial defect of the cornea": subject.eye.epithelial_defect}
    yield from answered(answers, subject.operated(DrugClass.NSAID), "stop", "ask")


def surface(subject: Subject) -> Iterator[Hit]:
    """A dry, diseased or numb surface."""
    answers = {
        "diseased surface": subject.eye.surface_disease,
        "reduced sensation of the cornea": subject.eye.corneal_sensation_reduced,
    }
    yield from answered(answers, subject.operated(DrugClass.NSAID), "ask", "note")


def complicated(subject: Subject) -> Iterator[Hit]:
    """After a complicated operation."""
    done, rows = subject.case.done, subject.operated(DrugClass.NSAID)
    if done is None or not rows:
        return
    facts = [
        fact
        for fact, answer in (("vitreous lost", done.vitreous_lost), ("piece retained", done.piece_retained))
        if answer is Answer.YES
    ]
    facts += [f"complication: {done.complication}"] if done.complication else []
    if facts:
        yield hit("ask", facts, rows)


def diabetes(subject: Subject) -> Iterator[Hit]:
    """Benefit and harm at once."""
    yield from answered({"diabetes": subject.health.diabetes}, subject.rows(DrugClass.NSAID), "ask", "note")


def connective_tissue(subject: Subject) -> Iterator[Hit]:
    """Rheumatoid and the like."""
    answers = {"connective-tissue disease": subject.health.connective_tissue_disease}
    yield from answered(answers, subject.rows(DrugClass.NSAID), "ask", "note")


def with_steroid(subject: Subject) -> Iterator[Hit]:
    """Both on the same days in the same eye."""
    for nsaid in subject.rows(DrugClass.NSAID):
        steroids = [row for row in subject.rows(DrugClass.STEROID) if row.side is nsaid.side]
        both = [row for row in steroids if not set(nsaid.days()).isdisjoint(row.days())]
        if both:
            yield hit("note", (), (nsaid, *both))


def bleeding(subject: Subject) -> Iterator[Hit]:
    """Medicines that prolong bleeding."""
    answers = {"anticoagulant": subject.health.anticoagulant, "antiplatelet": subject.health.antiplatelet}
    yield from answered(answers, subject.rows(DrugClass.NSAID), "ask", "note")


NSAID_CHECKS: dict[str, Check] = {
    "nsaid-sensitivity": sensitivity,
    "nsaid-asthma": asthma,
    "nsaid-over-14-days": length,
    "nsaid-without-cornea-visit": cornea_visit,
    "nsaid-epithelial-defect": epithelial_defect,
    "nsaid-surface-disease": surface,
    "nsaid-complicated-surgery": complicated,
    "nsaid-diabetes": diabetes,
    "nsaid-connective-tissue": connective_tissue,
    "nsaid-with-steroid": with_steroid,
    "nsaid-anticoagulant": bleeding,
}
