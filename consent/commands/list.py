"""``consent list``: the sheets of an operating day."""

from __future__ import annotations

import argparse
import datetime as dt
from pathlib import Path

from consent.case import Case, read_case
from consent.clinic import read_clinic
from consent.commands import out
from consent.commands.settings import clinic_path
from consent.errors import Problem, UsageError
from consent.pack import compose_list, write_lists


def run(options: argparse.Namespace) -> None:
    """Write the lists and name their files."""
    clinic = read_clinic(clinic_path(options.clinic))
    cases = [read_case(Path(path)) for path in options.cases]
    day = _first(cases) if options.on is None else _day(options.on)
    tag = options.language or clinic.language
    for path in write_lists(compose_list(cases, clinic, day, tag), day, clinic.digits, Path(options.to)):
        out.data(str(path))
    out.chatter("For staff: these sheets name several patients. The order is proposed; the surgeon sets it.")


def _first(cases: list[Case]) -> dt.date:
    """The first day on which somebody is still to be operated; the first of all where nobody is."""
    waiting = [case.plan.date for case in cases if case.done is None]
    return min(waiting or [case.plan.date for case in cases])


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        problem = Problem(f'"{text}" is not a date', "--on", remedy="write the day as 2026-12-28")
        raise UsageError(problem) from None
