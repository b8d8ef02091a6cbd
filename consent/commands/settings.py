"""Where a command finds its case and its clinic: option, environment, data folder, shipped default."""

from __future__ import annotations

import os
from pathlib import Path

from consent.case import Case, read_case
from consent.clinic import Clinic, read_clinic

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
