"""An audit as a whole: the cases of one file, and what follows from them, or why nothing does."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from consent.clinic import Audit, Clinic
from consent.errors import CaseError, Problem, UsageError
from consent.evidence import Cited, library
from consent.risk.audit.calibration import Calibration, calibrate, model_scale
from consent.risk.audit.file import read_table
from consent.risk.audit.rejects import is_rejects
from consent.risk.audit.report import why_not_written
from consent.risk.audit.rows import Cases, read_cases
from consent.risk.plan import risk_plan

NO_YEARS = "years not given"


@dataclass(frozen=True)
class Found:
    """What was found: the cases, and the calibration with its [audit], unless there are too few cases."""

    cases: Cases
    benchmark: Cited
    least: int
    calibration: Calibration | None = None
    audit: Audit | None = None


def audit_of(path: Path, clinic: Clinic, years: str) -> Found:
    """What follows from the past cases in the file at ``path``, of ``years`` where they are given.

    Raises ``CaseError`` where the file cannot be read as cases.
    """
    plan = risk_plan()
    model = library().one(plan.composite.model).model
    if model is None:
        raise ValueError(f"{plan.composite.model} holds no model")
    cases = read_cases(read_table(path), model, path.name)
    benchmark, least = plan.population(clinic.population), plan.shrinkage.minimum_operations
    if len(cases.eyes) < least:
        return Found(cases, benchmark, least)
    calibration = calibrate(cases.eyes, model_scale(clinic, plan), plan.shrinkage)
    return Found(cases, benchmark, least, calibration, calibration.as_audit(years or calibration.years or NO_YEARS))


def too_few(found: Found) -> str:
    """How many operations there are, and how many are needed."""
    return f"{len(found.cases.eyes)} operations can be used, at least {found.least} are needed"


def audit_to_keep(found: Found) -> Audit:
    """The audit for the clinic's settings. Raises ``CaseError`` or ``UsageError`` where it may not stand there."""
    if found.audit is None:
        raise CaseError(Problem(too_few(found), "--write", "a rate from so few cases is mostly chance"))
    if reason := why_not_written(found.cases):
        raise CaseError(Problem("too much was set aside for the settings", "--write", reason, "see --rejects"))
    if is_rejects(found.cases):
        remedy = "paste the corrected rows into the whole file and give that"
        raise CaseError(Problem("this file holds only rows that were set aside before", "--write", remedy=remedy))
    if found.audit.years == NO_YEARS:
        remedy = "give --years, such as --years 2024-2025, or a column with the operation date"
        raise UsageError(Problem("the years of the audit are not known", "--write", remedy=remedy))
    return found.audit
