"""Checks of every drug, drops and others, against the patient's allergies."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Asked
from consent.case.model import Allergy
from consent.drops.formulary import DrugClass
from consent.drops.grounds import Severity, mentions
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, hit
from consent.drops.theatre import Ordered, named

_OWN_CHECK = (DrugClass.FLUOROQUINOLONE, DrugClass.SULFONAMIDE, DrugClass.NSAID)


def _fact(allergy: Allergy) -> str:
    return f"allergy: {allergy.substance} ({allergy.reaction})"


def _names_without_own_check(subject: Subject, allergy: Allergy, row: Row) -> bool:
    classes = row.drug.classes.difference(_OWN_CHECK)
    return bool(classes) and subject.names(allergy, row, *classes)


def not_asked(subject: Subject) -> Iterator[Hit]:
    """Not asked is not none, whatever is given: drops, or drugs in theatre."""
    if _gives_anything(subject) and subject.health.allergies.asked is Asked.NOT_ASKED:
        yield hit("ask", ("allergies: not asked",), subject.current)


def _gives_anything(subject: Subject) -> bool:
    return bool(subject.current or subject.ordered)


def to_this_drug(subject: Subject) -> Iterator[Hit]:
    """The very drug is named."""
    for allergy in subject.allergies:
        rows = [row for row in subject.current if _names_without_own_check(subject, allergy, row)]
        if rows:
            yield hit("stop", (_fact(allergy),), rows)


def quinolone(subject: Subject) -> Iterator[Hit]:
    """Any quinolone named, and a quinolone on the list."""
    rows = subject.rows(DrugClass.FLUOROQUINOLONE)
    for allergy in subject.allergies:
        if rows and subject.names_class(allergy, DrugClass.FLUOROQUINOLONE):
            yield hit("stop", (_fact(allergy),), rows)


def same_class(subject: Subject) -> Iterator[Hit]:
    """A relative of the drug is named, not the drug itself."""
    for allergy in subject.allergies:
        for drug_class in DrugClass:
            if drug_class in _OWN_CHECK or not subject.names_class(allergy, drug_class):
                continue
            rows = [row for row in subject.rows(drug_class) if not subject.names(allergy, row)]
            if rows:
                yield hit("ask", (_fact(allergy), f"class: {drug_class}"), rows)


def preservative(subject: Subject) -> Iterator[Hit]:
    """Benzalkonium chloride in the bottle, or a preservative nobody has looked up."""
    for allergy in subject.allergies:
        if not mentions(allergy.substance, subject.words.preservative):
            continue
        holding = [row for row in subject.current if row.drug.preservative == "benzalkonium chloride"]
        open_question = [row for row in subject.current if row.drug.preservative in ("unknown", "other")]
        if holding:
            yield hit("stop", (_fact(allergy), "preservative: benzalkonium chloride"), holding)
        if open_question:
            yield hit("ask", (_fact(allergy), "preservative: read the label"), open_question)


def sulfonamide(subject: Subject) -> Iterator[Hit]:
    """Sulfonamide allergy: stop for a sulfonamide drop or a severe reaction, ask for related drops and tablets."""
    sulfa = [row for row in subject.current if mentions(row.drug.name, subject.words.sulfonamide)]
    related = subject.rows(DrugClass.CARBONIC_ANHYDRASE_INHIBITOR)
    tablets = subject.texts("carbonic anhydrase inhibitor")
    for allergy in subject.allergies:
        if not mentions(allergy.substance, subject.words.sulfonamide):
            continue
        if sulfa:
            yield hit("stop", (_fact(allergy),), sulfa)
        if related or tablets:
            yield hit("stop" if subject.was_severe(allergy) else "ask", (_fact(allergy),), related, tablets)


def in_theatre(subject: Subject) -> Iterator[Hit]:
    """A drug of theatre, an injection or a tablet is named, or a relative of one."""
    for allergy in subject.allergies:
        answers = {order.text: _answer_to(subject, allergy, order) for order in subject.ordered}
        for severity in ("stop", "ask"):
            if texts := [text for text, answer in answers.items() if answer == severity]:
                yield hit(severity, (_fact(allergy),), (), texts)


def _answer_to(subject: Subject, allergy: Allergy, order: Ordered) -> Severity | None:
    if any(named(allergy.substance, drug.words) for drug in order.drugs):
        return "stop"
    families = {family for drug in order.drugs for family in drug.families}
    touched = [family for family in families if mentions(allergy.substance, subject.family_words(family))]
    grounds = [subject.theatre.families[family] for family in touched]
    severe = subject.was_severe(allergy)
    answers = {ground.relative_severe if severe else ground.relative for ground in grounds}
    return "stop" if "stop" in answers else "ask" if "ask" in answers else None


def not_recognised(subject: Subject) -> Iterator[Hit]:
    """An allergy none of the word lists knows: a person has to compare it."""
    words = subject.words
    elsewhere = {*words.sulfonamide, *words.preservative}
    for allergy in subject.allergies:
        placed = (
            allergy.substance.lower().strip() in words.unrelated
            or mentions(allergy.substance, elsewhere)
            or any(subject.names_class(allergy, drug_class) for drug_class in DrugClass)
            or any(named(allergy.substance, drug.words) for drug in subject.theatre.drugs.values())
            or any(mentions(allergy.substance, subject.family_words(family)) for family in subject.theatre.families)
        )
        if _gives_anything(subject) and not placed:
            yield hit("ask", (_fact(allergy),), subject.current)


def drug_not_recognised(subject: Subject) -> Iterator[Hit]:
    """A drug of theatre or a tablet that no list knows: no check has looked at it."""
    plan = subject.case.plan
    texts = [order.text for order in subject.ordered if not order.drugs]
    unnamed = plan.injected_antibiotic is Answer.YES and plan.injected_antibiotic_drug is None
    facts = ["injected antibiotic: drug not named"] if unnamed else []
    if texts or facts:
        yield hit("note", facts, (), texts)


ALLERGY_CHECKS: dict[str, Check] = {
    "allergies-not-asked": not_asked,
    "allergy-to-this-drug": to_this_drug,
    "allergy-quinolone": quinolone,
    "allergy-same-class": same_class,
    "allergy-preservative": preservative,
    "allergy-sulfonamide": sulfonamide,
    "allergy-theatre-drug": in_theatre,
    "allergy-not-recognised": not_recognised,
    "theatre-drug-not-recognised": drug_not_recognised,
}
