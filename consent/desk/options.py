"""Closed lists that come from the clinic: its drugs, its regimens, its surgeons."""

from __future__ import annotations

from consent.desk.office import Office
from consent.desk.questions import Options
from consent.drops.formulary import read_formulary
from consent.drops.regimens import read_regimens


def options(office: Office) -> Options:
    """What can be chosen, by the path of the question."""
    clinic = office.record.clinic
    drugs = tuple((name, drug.name) for name, drug in read_formulary(clinic).items())
    regimens = tuple((name, regimen.title) for name, regimen in read_regimens(clinic, read_formulary(clinic)).items())
    return {
        "own_drops.drug": drugs,
        "caps_seen.drug": drugs,
        "other_eye.regimen": regimens,
        "plan.regimen": regimens,
        "done.regimen": regimens,
    }
