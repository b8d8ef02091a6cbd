"""What the formulary cautions of the drugs of a plan, for the surgeon to read."""

from __future__ import annotations

from dataclasses import dataclass

from consent.drops.plan import DropPlan


@dataclass(frozen=True)
class DrugCaution:
    """One caution of one drug, named with its strength: what is said of it, where, and how that source was read."""

    drug: str
    says: str
    source: str
    verified: str


def cautions_of(plan: DropPlan) -> tuple[DrugCaution, ...]:
    """Return the cautions of the drugs that are still to be given, each once, drug by drug in row order."""
    drugs = {row.drug.id: row.drug for row in plan.current}
    return tuple(
        DrugCaution(drug.name, caution.says, caution.source, caution.verified.value)
        for drug in drugs.values()
        for caution in drug.cautions
    )
