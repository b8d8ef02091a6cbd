"""Checks of the plan as a whole: eye, classes, pregnancy, visits, sittings, and who gives the drops."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations, pairwise

from consent.case import Answer, DropGiver, Sex
from consent.drops.formulary import DrugClass
from consent.drops.regimens import Ends
from consent.drops.spacing import minute_of
from consent.drops.subject import Check, Hit, Subject, hit


def side_disagrees(subject: Subject) -> Iterator[Hit]:
    """The eye is written twice on purpose."""
    if not subject.eye.side is subject.case.plan.side is subject.plan.side:
        facts = (f"eye: {subject.eye.side}", f"plan: {subject.case.plan.side}", f"drops: {subject.plan.side}")
        yield Hit("stop", facts)


def duplicate_class(subject: Subject) -> Iterator[Hit]:
    """Two rows share a class, an eye and a day; combinations count by component."""
    for one, other in combinations(subject.current, 2):
        shared = one.drug.classes & other.drug.classes
        days = sorted(day for day in set(one.days()) & set(other.days()) if day >= subject.plan.issued_from)
        if one.side is other.side and shared and days:
            facts = (f"class: {', '.join(sorted(shared))}", f"{one.side} eye, days {days[0]} to {days[-1]}")
            yield hit("stop", facts, (one, other))


def antibiotic_tapered(subject: Subject) -> Iterator[Hit]:
    """An antibiotic keeps one frequency, then stops; more of it on purpose is no taper."""
    for row in subject.rows(*(drug_class for drug_class in DrugClass if drug_class.is_antibiotic)):
        daily = [phase.drops_a_day for phase in row.phases if not phase.evening_only]
        if any(after < before for before, after in pairwise(daily)):
            yield hit("ask", (f"drops a day: {', then '.join(map(str, daily))}",), (row,))


def pregnancy(subject: Subject) -> Iterator[Hit]:
    """Every drug is asked about; a class that is contraindicated stops."""
    rows, health = subject.current, subject.health
    texts = tuple(order.text for order in subject.ordered)
    if not rows and not texts:
        return
    if health.pregnant is Answer.YES:
        classes = _classes_given(subject)
        told = [said for drug_class, said in subject.grounds.in_pregnancy.items() if drug_class in classes]
        barred = any(said.severity == "stop" for said in told)
        yield hit("stop" if barred else "ask", ("pregnant", *(said.says for said in told)), rows, texts)
    elif facts := _may_be_pregnant(subject):
        yield hit("note", (*facts, f"age {subject.case.age_years} years"), rows)


def _classes_given(subject: Subject) -> set[DrugClass]:
    classes = {drug_class for row in subject.current for drug_class in row.drug.classes}
    in_theatre: dict[DrugClass, tuple[str, ...]] = {
        DrugClass.CARBONIC_ANHYDRASE_INHIBITOR: subject.texts("carbonic anhydrase inhibitor"),
        DrugClass.NSAID: subject.texts("nsaid"),
    }
    return classes | {drug_class for drug_class, texts in in_theatre.items() if texts}


def _may_be_pregnant(subject: Subject) -> list[str]:
    case = subject.case
    if case.patient.sex is Sex.MALE or case.age_years >= subject.limits.pregnancy_years.value:
        return []
    facts = ["pregnancy: not known"] if subject.health.pregnant is Answer.UNKNOWN else []
    generics = {subject.base_name(component) for row in subject.current for component in row.drug.components}
    told = subject.grounds.without_contraception.items()
    return [*facts, *(said.says for generic, said in told if generic in generics)]


def breastfeeding(subject: Subject) -> Iterator[Hit]:
    """Every drug is asked about."""
    if subject.current and subject.health.breastfeeding is Answer.YES:
        yield hit("ask", ("breastfeeding",), subject.current)


def long_session(subject: Subject) -> Iterator[Hit]:
    """The longest sitting of the plan, if it is long."""
    sittings = [
        (session.minutes, day.number, session)
        for day in subject.plan.sessions
        for session in day.sessions
        if day.number >= subject.plan.issued_from
    ]
    longest = max(sittings, key=lambda sitting: (sitting[0], -sitting[1]), default=None)
    if longest and longest[0] > subject.limits.long_session_minutes.value:
        minutes, day, session = longest
        rows = sorted({number for number, _ in session.drops})
        yield Hit("note", (f"{minutes} minutes, first on day {day} at {session.at:%H:%M}",), tuple(rows))


def doses_close(subject: Subject) -> Iterator[Hit]:
    """Two doses of one drop within minutes: the day is too short for so many."""
    close: dict[int, str] = {}
    for row in subject.current:
        gaps = [(gap, day) for day, gap in _gaps(subject, row.number)]
        shortest = min(gaps, default=None)
        if shortest and shortest[0] < subject.limits.close_doses_minutes.value:
            gap, day = shortest
            close[row.number] = f"{row.drug.name}, {row.side} eye: {gap} minutes between doses, first on day {day}"
    if close:
        yield Hit("ask", tuple(close.values()), tuple(close))


def _gaps(subject: Subject, row_number: int) -> Iterator[tuple[int, int]]:
    """For each two doses of a row that follow one another on one day: the day and the minutes between them."""
    for day in subject.plan.sessions:
        if day.number >= subject.plan.issued_from:
            for before, after in pairwise(day.times_of(row_number)):
                yield day.number, minute_of(after) - minute_of(before)


def drop_free_without_injection(subject: Subject) -> Iterator[Hit]:
    """No drops at home rest on what is injected."""
    injected = subject.case.plan.injected_antibiotic
    if subject.plan.regimen.drop_free and injected is not Answer.YES:
        yield Hit("ask", (f"injected antibiotic: {'not planned' if injected is Answer.NO else 'not known'}",))


def before_pad_off(subject: Subject) -> Iterator[Hit]:
    """No drop before the pad of the operated eye is off."""
    pad, from_day, rows = subject.plan.pad_off, subject.plan.issued_from, subject.operated(*DrugClass)
    evening = [row for row in rows if any(phase.evening_only and phase.first_day >= from_day for phase in row.phases)]
    if evening and pad != "same evening":
        yield hit("ask", (f"pad off: {pad or 'not set'}", "drops from the evening of surgery"), evening)
    elif pad == "at the clinic" and from_day <= 1 and (first := [row for row in rows if row.drops_on(1)]):
        yield hit("note", ("pad off: at the clinic", "the first drops of day 1 are given there"), first)


def review_without_visit(subject: Subject) -> Iterator[Hit]:
    """Drops that go on until a review, on a day without a visit."""
    visits = subject.visit_days()
    rows = [row for row in subject.current if row.ends is Ends.UNTIL_REVIEW and row.last_day not in visits]
    if rows:
        days = dict.fromkeys(f"review on day {row.last_day} after surgery: no visit" for row in rows)
        yield hit("ask", days, rows)


def nobody_gives(subject: Subject) -> Iterator[Hit]:
    """Somebody has to put the drops in."""
    patient, rows = subject.case.patient, subject.current
    if not rows:
        return
    if patient.drops_given_by is DropGiver.NOBODY:
        yield hit("ask", ("drops given by: nobody",), rows)
    elif patient.drops_given_by is DropGiver.UNKNOWN:
        yield hit("note", ("drops given by: not known",), rows)
    elif patient.drops_given_by is DropGiver.HELPER and patient.drops_helper is None:
        yield hit("note", ("drops given by: a helper whose name is not written",), rows)


REGIMEN_CHECKS: dict[str, Check] = {
    "side-disagrees": side_disagrees,
    "duplicate-class": duplicate_class,
    "antibiotic-tapered": antibiotic_tapered,
    "pregnancy": pregnancy,
    "breastfeeding": breastfeeding,
    "drop-free-without-injection": drop_free_without_injection,
    "review-without-visit": review_without_visit,
    "nobody-gives-drops": nobody_gives,
    "long-session": long_session,
    "doses-close": doses_close,
    "drops-before-pad-off": before_pad_off,
}
