"""What a check looks at, and what it gives back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from consent.case import Answer, Case, OwnDrop, Side
from consent.case.model import Allergy, Eye, Health
from consent.drops.formulary import Component, DrugClass, Formulary
from consent.drops.grounds import CheckTexts, Severity, Words, mentions
from consent.drops.limits import Limits
from consent.drops.plan import DropPlan
from consent.drops.schedule import Row
from consent.drops.theatre import Kind, Ordered, Theatre, ordered_in


@dataclass(frozen=True)
class Hit:
    """One answer of a check: how grave, the facts that fired it, the rows it concerns."""

    severity: Severity
    facts: tuple[str, ...]
    rows: tuple[int, ...] = ()


@dataclass(frozen=True)
class Subject:
    """The plan of a case, as the checks see it. ``formulary`` tells what long-standing drops hold."""

    plan: DropPlan
    case: Case
    limits: Limits
    grounds: CheckTexts
    theatre: Theatre
    formulary: Formulary

    @property
    def words(self) -> Words:
        """Words by which an answer is recognised."""
        return self.grounds.words

    @property
    def health(self) -> Health:
        """The patient's health."""
        return self.case.health

    @property
    def eye(self) -> Eye:
        """The eye to be operated."""
        return self.case.eye

    @property
    def allergies(self) -> tuple[Allergy, ...]:
        """Allergies that are known."""
        return self.health.allergies.known

    @cached_property
    def ordered(self) -> tuple[Ordered, ...]:
        """What is given besides drops at home: in theatre, injected, as tablets."""
        return ordered_in(self.case, self.theatre)

    def texts(self, *kinds: Kind) -> tuple[str, ...]:
        """Those of ``ordered`` that hold a drug of ``kinds``, as written."""
        return tuple(order.text for order in self.ordered if order.has(*kinds))

    @property
    def current(self) -> tuple[Row, ...]:
        """Rows of either eye that are still to be given; what a change has ended is not checked again."""
        return self.plan.current

    def rows(self, *classes: DrugClass) -> tuple[Row, ...]:
        """Those of ``current`` with a component of ``classes``."""
        return tuple(row for row in self.current if row.has(*classes))

    def operated(self, *classes: DrugClass) -> tuple[Row, ...]:
        """The same, of the operated eye only."""
        return tuple(row for row in self.rows(*classes) if row.side is self.eye.side)

    def own_surgery_day(self, side: Side) -> int:
        """The day, counted from the operation at hand, from which ``side`` counts: of the other eye, its own."""
        other = self.case.other_eye
        if side is self.eye.side or other.regimen is None or other.operated_on is None:
            return 0
        return (other.operated_on - self.plan.surgery).days

    def visit_days(self, *kinds: str) -> tuple[int, ...]:
        """Days, counted from the operation at hand, of the visits of ``kinds``; of all visits if none is named."""
        visits = [visit for visit in self.case.visits if not kinds or visit.kind in kinds]
        return tuple((visit.date - self.plan.surgery).days for visit in visits)

    def names(self, allergy: Allergy, row: Row, *classes: DrugClass) -> bool:
        """Whether ``allergy`` names a component of ``row`` (of one of ``classes``, if given)."""
        return any(
            self.base_name(component) in allergy.substance.lower()
            for component in row.drug.components
            if not classes or component.drug_class in classes
        )

    def names_class(self, allergy: Allergy, drug_class: DrugClass) -> bool:
        """Whether ``allergy`` names a drug of ``drug_class``: from the word list, or one of the plan's own."""
        listed = mentions(allergy.substance, self.words.same_class.get(drug_class, ()))
        return listed or any(self.names(allergy, row, drug_class) for row in self.rows(drug_class))

    def family_words(self, family: str) -> tuple[str, ...]:
        """Words by which an allergy to a relative is recognised."""
        classes = {drug_class.value: words for drug_class, words in self.words.same_class.items()}
        return (*self.theatre.families[family].words, *classes.get(family, ()))

    def was_severe(self, allergy: Allergy) -> bool:
        """Whether the reaction was severe: so answered, or so described."""
        return allergy.severe is Answer.YES or mentions(allergy.reaction, self.words.severe_reaction)

    def generics(self, own: OwnDrop) -> tuple[str, ...]:
        """Generic names in a long-standing drop, without salts."""
        return tuple(self.base_name(component) for component in self.formulary[own.drug].components)

    def lowers_pressure(self, own: OwnDrop) -> bool:
        """Whether a long-standing drop is a glaucoma drug."""
        return self.formulary[own.drug].lowers_pressure

    @property
    def glaucoma_words(self) -> tuple[str, ...]:
        """Names of drugs that lower the pressure, as drops or swallowed."""
        lowering = [drug_class for drug_class in DrugClass if drug_class.lowers_pressure]
        listed = [word for drug_class in lowering for word in self.words.same_class[drug_class]]
        return tuple(dict.fromkeys((*listed, *self.words.glaucoma_drop)))

    def base_name(self, component: Component) -> str:
        """The generic name of ``component`` without its salt, in lower case."""
        name = component.generic.lower()
        for salt in self.words.salts:
            name = name.removesuffix(f" {salt}")
        return name


Check = Callable[[Subject], Iterable[Hit]]


def hit(severity: Severity, facts: Iterable[str], rows: Iterable[Row], texts: Iterable[str] = ()) -> Hit:
    """Return a hit on ``rows`` and on ``texts`` of other orders, their drugs added to the facts."""
    rows = tuple(rows)
    drugs = dict.fromkeys((*(row.drug.name for row in rows), *texts))
    return Hit(severity, (*facts, *drugs), tuple(row.number for row in rows))


def answered(
    answers: Mapping[str, Answer], rows: tuple[Row, ...], yes: Severity, unknown: Severity, texts: tuple[str, ...] = ()
) -> Iterator[Hit]:
    """Yield one hit ``yes`` for the facts answered yes; failing that, one hit ``unknown`` for those nobody knows.

    Nothing where neither ``rows`` nor ``texts`` give the drug.
    """
    if not rows and not texts:
        return
    for answer, severity, suffix in ((Answer.YES, yes, ""), (Answer.UNKNOWN, unknown, ": not known")):
        facts = [f"{fact}{suffix}" for fact, given in answers.items() if given is answer]
        if facts:
            yield hit(severity, facts, rows, texts)
            return
