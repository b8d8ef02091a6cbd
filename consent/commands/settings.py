"""Where a command finds its case, its clinic and the record: option, environment, data folder, shipped default."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from consent.case import Case, read_case
from consent.clinic import Clinic, read_clinic

if TYPE_CHECKING:
    from consent.record.place import Place, Record

CLINIC_VARIABLE = "CONSENT_CLINIC"


def clinic_path(option: str | None) -> Path | None:
    """Path of the clinic's settings: ``option``, $CONSENT_CLINIC, clinic.toml in the data folder, else None."""
    from platformdirs import user_data_path

    if option:
        return Path(option)
    if os.environ.get(CLINIC_VARIABLE):
        return Path(os.environ[CLINIC_VARIABLE])
    own = user_data_path("consent") / "clinic.toml"
    return own if own.is_file() else None


def read_both(case: str, clinic: str | None) -> tuple[Case, Clinic]:
    """The case and the clinic's settings; without settings of its own, the shipped invented clinic."""
    return read_case(Path(case)), read_clinic(clinic_path(clinic))


RECORD_VARIABLE = "CONSENT_RECORD"


def record_place(option: str | None) -> Place:
    """Where the record is: ``option``, $CONSENT_RECORD, else the data folder.

    A folder holds it in a file; the address of a PostgreSQL server holds it there, with key and certificate in the data
    folder.
    """
    from platformdirs import user_data_path

    from consent.record.place import Place

    given = option or os.environ.get(RECORD_VARIABLE)
    own = user_data_path("consent") / "record"
    if given and "://" in given:
        return Place(own, given)
    return Place(Path(given) if given else own)


def find_record(option: str | None, clinic: str | None) -> Record:
    """The open record that a command works on. Raises ``RecordError`` where there is none."""
    from consent.record.place import open_record

    return open_record(record_place(option), read_clinic(clinic_path(clinic)))
