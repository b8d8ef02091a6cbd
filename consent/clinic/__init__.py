"""The clinic's own settings."""

from consent.clinic.model import (
    AcceptedSeries,
    Aftercare,
    Audit,
    Clinic,
    DayMarks,
    DropSettings,
    clinic_schema,
    read_clinic,
)

__all__ = [
    "AcceptedSeries",
    "Aftercare",
    "Audit",
    "Clinic",
    "DayMarks",
    "DropSettings",
    "clinic_schema",
    "read_clinic",
]
