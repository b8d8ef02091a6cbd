"""Closed lists that come from the clinic: its drugs, its regimens, its surgeons."""

from __future__ import annotations

from consent.desk.office import Office
from consent.desk.questions import Options
from consent.drops.formulary import read_formulary
from consent.drops.regimens import read_regimens
from consent.record.accounts import read_accounts


def options(office: Office) -> Options:
    """What can be chosen, by the path of the question."""
    clinic = office.record.clinic
    drugs = tuple((name, drug.name) for name, drug in read_formulary(clinic).items())
    regimens = tuple((name, regimen.title) for name, regimen in read_regimens(clinic, read_formulary(clinic)).items())
    with office.record.store.reading() as connection:
        accounts = read_accounts(connection, office.record.key).values()
    surgeons = tuple((one.name, one.name) for one in accounts if one.signs)
    return {
        **({"plan.surgeon.name": surgeons} if surgeons else {}),
        "own_drops.drug": drugs,
        "caps_seen.drug": drugs,
        "other_eye.regimen": regimens,
        "plan.regimen": regimens,
        "done.regimen": regimens,
    }
