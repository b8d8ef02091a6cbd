"""Checks of the drugs against the patient's allergies."""

from __future__ import annotations

from collections.abc import Iterator

from consent.case import Answer, Asked
from consent.case.model import Allergy
from consent.drops.formulary import DrugClass
from consent.drops.grounds import mentions
from consent.drops.schedule import Row
from consent.drops.subject import Check, Hit, Subject, hit

_OWN_CHECK = (DrugClass.FLUOROQUINOLONE, DrugClass.NSAID)


def _fact(allergy: Allergy) -> str:
    return f"allergy: {allergy.substance} ({allergy.reaction})"


def _names_without_own_check(subject: Subject, allergy: Allergy, row: Row) -> bool:
    classes = row.drug.classes.difference(_OWN_CHECK)
    return bool(classes) and subject.names(allergy, row, *classes)


def not_asked(subject: Subject) -> Iterator[Hit]:
    """Not asked is not none."""
    if subject.plan.rows and subject.health.allergies.asked is Asked.NOT_ASKED:
        yield hit("ask", ("allergies: not asked",), subject.plan.rows)


def to_this_drug(subject: Subject) -> Iterator[Hit]:
    """The very drug is named."""
    for allergy in subject.allergies:
        rows = [row for row in subject.plan.rows if _names_without_own_check(subject, allergy, row)]
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
        holding = [row for row in subject.plan.rows if row.drug.preservative == "benzalkonium chloride"]
        open_question = [row for row in subject.plan.rows if row.drug.preservative in ("unknown", "other")]
        if holding:
            yield hit("stop", (_fact(allergy), "preservative: benzalkonium chloride"), holding)
        if open_question:
            yield hit("ask", (_fact(allergy), "preservative: read the label"), open_question)


def sulfonamide(subject: Subject) -> Iterator[Hit]:
    """Sulfonamide allergy: stop for a sulfonamide drop or a severe reaction, ask for the related class."""
    sulfa = [row for row in subject.plan.rows if mentions(row.drug.name, subject.words.sulfonamide)]
    related = subject.rows(DrugClass.CARBONIC_ANHYDRASE_INHIBITOR)
    for allergy in subject.allergies:
        if not mentions(allergy.substance, subject.words.sulfonamide):
            continue
        severe = allergy.severe is Answer.YES or mentions(allergy.reaction, subject.words.severe_reaction)
        if sulfa:
            yield hit("stop", (_fact(allergy),), sulfa)
        if related:
            yield hit("stop" if severe else "ask", (_fact(allergy),), related)


def not_recognised(subject: Subject) -> Iterator[Hit]:
    """An allergy none of the word lists knows: a person has to compare it."""
    words = subject.words
    elsewhere = {*words.sulfonamide, *words.preservative}
    for allergy in subject.allergies:
        placed = (
            allergy.substance.lower().strip() in words.unrelated
            or mentions(allergy.substance, elsewhere)
            or any(subject.names_class(allergy, drug_class) for drug_class in DrugClass)
        )
        if subject.plan.rows and not placed:
            yield hit("ask", (_fact(allergy),), subject.plan.rows)


ALLERGY_CHECKS: dict[str, Check] = {
    "allergies-not-asked": not_asked,
    "allergy-to-this-drug": to_this_drug,
    "allergy-quinolone": quinolone,
    "allergy-same-class": same_class,
    "allergy-preservative": preservative,
    "allergy-sulfonamide": sulfonamide,
    "allergy-not-recognised": not_recognised,
}
