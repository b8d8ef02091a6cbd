"""``consent list``: the sheets of an operating day."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

from consent.case import read_case
from consent.clinic import read_clinic
from consent.commands import out
from consent.commands.settings import clinic_path
from consent.errors import Problem, UsageError
from consent.pack import compose_list, write_documents


def run(options: argparse.Namespace) -> None:
    """Write the lists and name their files."""
    clinic = read_clinic(clinic_path(options.clinic))
    cases = [read_case(Path(path)) for path in options.cases]
    day = _day(options.on) if options.on else min(case.plan.date for case in cases)
    tag = options.language or clinic.language
    for path in write_documents(compose_list(cases, clinic, day, tag), clinic.digits, Path(options.to)):
        out.data(str(path))
    out.chatter("For staff: these sheets name several patients. The order is proposed; the surgeon sets it.")


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        problem = Problem(f'"{text}" is not a date', "--on", remedy="write the day as 2026-12-28")
        raise UsageError(problem) from None
