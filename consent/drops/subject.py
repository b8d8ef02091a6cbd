"""What a check looks at, and what it gives back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from consent.case import Answer, Case
from consent.case.model import Allergy, Eye, Health
from consent.drops.formulary import Component, DrugClass
from consent.drops.grounds import Severity, Words, mentions
from consent.drops.limits import Limits
from consent.drops.plan import DropPlan
from consent.drops.schedule import Row


@dataclass(frozen=True)
class Hit:
    """One answer of a check: how grave, the facts that fired it, the rows it concerns."""

    severity: Severity
    facts: tuple[str, ...]
    rows: tuple[int, ...] = ()


@dataclass(frozen=True)
class Subject:
    """The plan of a case, as the checks see it."""

    plan: DropPlan
    case: Case
    limits: Limits
    words: Words

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

    def rows(self, *classes: DrugClass) -> tuple[Row, ...]:
        """Rows of either eye with a component of ``classes``."""
        return tuple(row for row in self.plan.rows if row.has(*classes))

    def operated(self, *classes: DrugClass) -> tuple[Row, ...]:
        """The same, of the operated eye only."""
        return tuple(row for row in self.rows(*classes) if row.side is self.eye.side)

    def names(self, allergy: Allergy, row: Row, *classes: DrugClass) -> bool:
        """Whether ``allergy`` names a component of ``row`` (of one of ``classes``, if given)."""
        return any(
            self._base_name(component) in allergy.substance.lower()
            for component in row.drug.components
            if not classes or component.drug_class in classes
        )

    def names_class(self, allergy: Allergy, drug_class: DrugClass) -> bool:
        """Whether ``allergy`` names a drug of ``drug_class``: from the word list, or one of the plan's own."""
        listed = mentions(allergy.substance, self.words.same_class.get(drug_class, ()))
        return listed or any(self.names(allergy, row, drug_class) for row in self.rows(drug_class))

    def _base_name(self, component: Component) -> str:
        name = component.generic.lower()
        for salt in self.words.salts:
            name = name.removesuffix(f" {salt}")
        return name


Check = Callable[[Subject], Iterable[Hit]]


def hit(severity: Severity, facts: Iterable[str], rows: Iterable[Row]) -> Hit:
    """Return a hit on ``rows``, their drugs added to the facts."""
    rows = tuple(rows)
    drugs = dict.fromkeys(row.drug.name for row in rows)
    return Hit(severity, (*facts, *drugs), tuple(row.number for row in rows))


def answered(answers: dict[str, Answer], rows: tuple[Row, ...], yes: Severity, unknown: Severity) -> Iterator[Hit]:
    """Yield one hit ``yes`` for the facts answered yes; failing that, one hit ``unknown`` for those nobody knows."""
    if not rows:
        return
    for answer, severity, suffix in ((Answer.YES, yes, ""), (Answer.UNKNOWN, unknown, ": not known")):
        facts = [f"{fact}{suffix}" for fact, given in answers.items() if given is answer]
        if facts:
            yield hit(severity, facts, rows)
            return
