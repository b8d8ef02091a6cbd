"""Checks of the other drug classes, and of the plan as a whole."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from consent.case import Answer, Glaucoma, LensPlace, Retinopathy, Sex
from consent.drops.formulary import DrugClass
from consent.drops.grounds import mentions
from consent.drops.subject import Check, Hit, Subject, answered, hit


def side_disagrees(subject: Subject) -> Iterator[Hit]:
    """The eye is written twice on purpose."""
    if not subject.eye.side is subject.case.plan.side is subject.plan.side:
        facts = (f"eye: {subject.eye.side}", f"plan: {subject.case.plan.side}", f"drops: {subject.plan.side}")
        yield hit("stop", facts, subject.plan.rows)


def duplicate_class(subject: Subject) -> Iterator[Hit]:
    """Two rows share a class, an eye and a day; combinations count by component."""
    for one, other in combinations(subject.plan.rows, 2):
        shared = one.drug.classes & other.drug.classes
        days = sorted(set(one.days()) & set(other.days()))
        if one.side is other.side and shared and days:
            facts = (f"class: {', '.join(sorted(shared))}", f"{one.side} eye, days {days[0]} to {days[-1]}")
            yield hit("stop", facts, (one, other))


def antibiotic_tapered(subject: Subject) -> Iterator[Hit]:
    """An antibiotic keeps one frequency, then stops."""
    for row in subject.rows(DrugClass.FLUOROQUINOLONE, DrugClass.OTHER_ANTIBIOTIC):
        daily = [phase.drops_a_day for phase in row.phases if not phase.evening_only]
        if len(set(daily)) > 1:
            yield hit("ask", (f"drops a day: {', then '.join(map(str, daily))}",), (row,))


def beta_blocker(subject: Subject) -> Iterator[Hit]:
    """Lungs and heart."""
    health = subject.health
    answers = {
        "asthma": health.asthma,
        "COPD": health.copd,
        "heart block or slow pulse": health.heart_block_or_slow_pulse,
        "heart failure": health.heart_failure,
    }
    yield from answered(answers, subject.rows(DrugClass.BETA_BLOCKER), "stop", "ask")


def beta_blocker_by_mouth(subject: Subject) -> Iterator[Hit]:
    """The same effect twice on the heart."""
    rows = subject.rows(DrugClass.BETA_BLOCKER)
    words = subject.words.beta_blocker_by_mouth
    medicines = [medicine for medicine in subject.health.medicines if mentions(medicine, words)]
    if rows and medicines:
        yield hit("ask", (f"takes: {medicine}" for medicine in medicines), rows)


def prostaglandin(subject: Subject) -> Iterator[Hit]:
    """An eye at risk of macular oedema."""
    eye, done = subject.eye, subject.case.done
    answers = {
        "macular oedema": eye.macular_oedema,
        "uveitis": eye.uveitis,
        "vein occlusion": eye.vein_occlusion,
        "epiretinal membrane": eye.epiretinal_membrane,
        "diabetic retinopathy": _retinopathy(eye.retinopathy),
        "vitreous lost": done.vitreous_lost if done else Answer.NO,
    }
    yield from answered(answers, subject.operated(DrugClass.PROSTAGLANDIN), "ask", "note")


def _retinopathy(grade: Retinopathy) -> Answer:
    if grade is Retinopathy.UNKNOWN:
        return Answer.UNKNOWN
    return Answer.NO if grade is Retinopathy.NONE else Answer.YES


def narrow_angle(subject: Subject) -> Iterator[Hit]:
    """Angle closure known, possible or not looked for."""
    rows = subject.operated(DrugClass.CYCLOPLEGIC)
    eye, shallow = subject.eye, subject.limits.shallow_chamber_mm.value
    if not rows:
        return
    if eye.glaucoma is Glaucoma.ANGLE_CLOSURE:
        yield hit("stop", ("glaucoma: angle closure",), rows)
        return
    facts = ["glaucoma: not known"] if eye.glaucoma is Glaucoma.UNKNOWN else []
    if eye.chamber_depth_mm is not None and eye.chamber_depth_mm < shallow:
        facts.append(f"chamber depth {eye.chamber_depth_mm} mm")
    if facts:
        yield hit("ask", facts, rows)


def lens_not_in_bag(subject: Subject) -> Iterator[Hit]:
    """After surgery: the lens as it was actually placed."""
    done, rows = subject.case.done, subject.operated(DrugClass.CYCLOPLEGIC)
    if rows and done and done.lens and done.lens.place is not LensPlace.BAG:
        yield hit("ask", (f"lens: {done.lens.place}",), rows)


def kidney(subject: Subject) -> Iterator[Hit]:
    """Carbonic anhydrase inhibitors and the kidneys."""
    rows = subject.rows(DrugClass.CARBONIC_ANHYDRASE_INHIBITOR)
    if rows and subject.health.kidney_disease is Answer.YES:
        yield hit("ask", ("kidney disease",), rows)


def pregnancy(subject: Subject) -> Iterator[Hit]:
    """Every drug is asked about; the class that is contraindicated stops."""
    rows, health, case = subject.plan.rows, subject.health, subject.case
    if not rows:
        return
    if health.pregnant is Answer.YES:
        barred = subject.rows(DrugClass.CARBONIC_ANHYDRASE_INHIBITOR)
        yield hit("stop" if barred else "ask", ("pregnant",), barred or rows)
    elif (
        health.pregnant is Answer.UNKNOWN
        and case.patient.sex is not Sex.MALE
        and case.age_years < subject.limits.pregnancy_years.value
    ):
        yield hit("note", ("pregnancy: not known", f"age {case.age_years} years"), rows)


def breastfeeding(subject: Subject) -> Iterator[Hit]:
    """Every drug is asked about."""
    if subject.plan.rows and subject.health.breastfeeding is Answer.YES:
        yield hit("ask", ("breastfeeding",), subject.plan.rows)


def own_drop_missing(subject: Subject) -> Iterator[Hit]:
    """A glaucoma drop of the patient that no row of the operated eye carries."""
    on_calendar = [
        component.generic.lower()
        for row in subject.plan.rows
        if row.side is subject.eye.side
        for component in row.drug.components
    ]
    for drop in subject.eye.glaucoma_drops:
        if not any(generic in drop.lower() for generic in on_calendar):
            yield Hit("ask", (f"uses: {drop}",))


def long_session(subject: Subject) -> Iterator[Hit]:
    """The longest sitting of the plan, if it is long."""
    sittings = [(session.minutes, day.number, session) for day in subject.plan.sessions for session in day.sessions]
    longest = max(sittings, key=lambda sitting: (sitting[0], -sitting[1]), default=None)
    if longest and longest[0] > subject.limits.long_session_minutes.value:
        minutes, day, session = longest
        rows = sorted({number for number, _ in session.drops})
        yield Hit("note", (f"{minutes} minutes, first on day {day} at {session.at:%H:%M}",), tuple(rows))


def before_pad_off(subject: Subject) -> Iterator[Hit]:
    """No drop before the pad is off."""
    pad = subject.plan.pad_off
    evening = [row for row in subject.plan.rows if any(phase.evening_only for phase in row.phases)]
    if evening and pad != "same evening":
        yield hit("ask", (f"pad off: {pad or 'not set'}", "drops from the evening of surgery"), evening)
    elif pad == "at the clinic" and (rows := [row for row in subject.operated(*DrugClass) if row.drops_on(1)]):
        yield hit("note", ("pad off: at the clinic", "the first drops of day 1 are given there"), rows)


REGIMEN_CHECKS: dict[str, Check] = {
    "side-disagrees": side_disagrees,
    "duplicate-class": duplicate_class,
    "antibiotic-tapered": antibiotic_tapered,
    "beta-blocker-heart-or-lungs": beta_blocker,
    "beta-blocker-by-mouth": beta_blocker_by_mouth,
    "prostaglandin-macular-oedema": prostaglandin,
    "cycloplegic-narrow-angle": narrow_angle,
    "cycloplegic-lens-not-in-bag": lens_not_in_bag,
    "carbonic-anhydrase-inhibitor-kidney": kidney,
    "pregnancy": pregnancy,
    "breastfeeding": breastfeeding,
    "own-glaucoma-drop-missing": own_drop_missing,
    "long-session": long_session,
    "drops-before-pad-off": before_pad_off,
}
