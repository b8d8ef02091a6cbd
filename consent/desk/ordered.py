"""Which drops hold now, by their title: what was ordered last, else the plan, else what is put forward."""

from __future__ import annotations

from consent.drops.formulary import read_formulary
from consent.drops.regimens import read_regimens
from consent.review import Assessment


def regimen_now(assessment: Assessment) -> str:
    """The title of the regimen from which drops are given from now on."""
    changes = assessment.case.drop_changes
    if not changes:
        return assessment.drops.regimen.title
    clinic = assessment.clinic
    found = read_regimens(clinic, read_formulary(clinic)).get(changes[-1].regimen)
    return found.title if found is not None else changes[-1].regimen
