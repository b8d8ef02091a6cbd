"""Where the patients of ``consent batch`` come from: an operating list, or a folder of case files."""

from __future__ import annotations

import argparse
import datetime as dt
from dataclasses import dataclass
from pathlib import Path

from consent.case import Case, read_case
from consent.case.listing import ListOptions, preview_lines, read_list, set_aside_csv
from consent.case.listing.listing import in_words
from consent.errors import CaseError, ConsentError, Problem, UsageError


@dataclass(frozen=True)
class Patients:
    """The cases in the order of the list, how each row was read, and what was set aside, with its reasons.

    ``told``: the preview, line by line; ``csv``: rows to be corrected and given back.
    """

    cases: tuple[Case, ...]
    told: tuple[str, ...]
    set_aside: tuple[str, ...] = ()
    csv: str | None = None


def read_patients(options: argparse.Namespace) -> Patients:
    """The patients of the list or folder. Raises ``CaseError`` where nothing can be read of it."""
    path = Path(options.list)
    return _folder(path) if path.is_dir() else _list(path, options)


def _list(path: Path, options: argparse.Namespace) -> Patients:
    defaults = ListOptions(
        surgeon=options.surgeon,
        date=_day(options.on),
        language=options.patients_language,
        invented=options.invented,
    )
    listing = read_list(path, defaults)
    aside = tuple(
        f"row {row.row.number}: {'; '.join(in_words(problem) for problem in row.problems)}" for row in listing.set_aside
    )
    return Patients(listing.cases, preview_lines(listing), aside, set_aside_csv(listing) if aside else None)


def _folder(path: Path) -> Patients:
    """Each case file by name; one that cannot be used is set aside where it lies."""
    cases, told, aside = [], [], []
    for file in sorted(entry for entry in path.iterdir() if entry.suffix in (".toml", ".json")):
        try:
            cases.append(read_case(file))
            told.append(f"{file.name}: can be used")
        except ConsentError as error:
            aside.append(f"{file.name}: {'; '.join(problem.what for problem in error.problems)}")
    if not cases and not aside:
        raise CaseError(Problem("there is no case file in this folder", str(path), remedy="give TOML or JSON files"))
    return Patients(tuple(cases), (*told, *aside), tuple(aside))


def _day(text: str | None) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError:
        problem = Problem(f'"{text}" is not a date', "--on", remedy="write the day as 2026-12-28")
        raise UsageError(problem) from None
