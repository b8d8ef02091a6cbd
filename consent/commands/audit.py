"""``consent audit``: a centre's own past cases against what the model expected of them."""

from __future__ import annotations

import argparse
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from consent.case.reading import validate
from consent.clinic import Audit, Clinic, read_clinic
from consent.commands import out
from consent.commands.settings import clinic_path
from consent.errors import ClinicError, MachineError, Problem, UsageError
from consent.pack.files import write_whole
from consent.risk.audit.finding import Found, audit_of, audit_to_keep, too_few
from consent.risk.audit.picture import calibration_svg
from consent.risk.audit.rejects import rejects_csv
from consent.risk.audit.report import (
    Grid,
    calibration_summary,
    case_lines,
    group_table,
    method_lines,
    picture_lines,
    report_data,
    surgeon_table,
)
from consent.risk.audit.settings import audit_snippet, audit_table, with_audit

_LONGEST_YEARS = 200


def run(options: argparse.Namespace) -> None:
    """Print the calibration, or the benchmark alone where the cases are too few; then write what was asked for."""
    _check(options)
    clinic = read_clinic(clinic_path(options.clinic))
    found = audit_of(Path(options.file), clinic, (options.years or "").strip())
    changes = _changes(clinic.audit, found.audit) if options.write else None
    if options.json:
        out.as_json(_as_data(found, changes))
    else:
        _print(found, changes)
    _write_files(options, found)
    if options.write:
        _write_settings(Path(options.clinic), found)


def _check(options: argparse.Namespace) -> None:
    problems = []
    if options.write and not options.clinic:
        remedy = "name the clinic's settings file with --clinic FILE"
        problems.append(Problem("it is not said which settings to change", "--write", remedy=remedy))
    if options.write and options.clinic and Path(options.clinic).suffix.lower() != ".toml":
        problems.append(Problem("only settings in TOML can be changed", "--clinic", remedy="give a .toml file"))
    if options.years and len(options.years) > _LONGEST_YEARS:
        problems.append(Problem("this is too long", "--years", remedy="write the years, such as 2024-2025"))
    taken = {Path(name).resolve() for name in (options.file, options.clinic) if name}
    for name, value, suffix in (("--picture", options.picture, ".svg"), ("--rejects", options.rejects, ".csv")):
        if value and Path(value).suffix.lower() != suffix:
            problems.append(Problem(f'"{value}" does not end in {suffix}', name, remedy=f"give a {suffix} file"))
        if value and Path(value).resolve() in taken:
            problems.append(Problem(f'"{value}" would be overwritten', name, remedy="give another name"))
    if problems:
        raise UsageError(problems)


def _print(found: Found, changes: list[str] | None) -> None:
    _lines(case_lines(found.cases, found.benchmark))
    if found.calibration is None or found.audit is None:
        out.data(f"{too_few(found)}: the audit is not used. Until then the benchmark above stands.")
        return
    _lines(calibration_summary(found.calibration))
    if surgeons := surgeon_table(found.calibration):
        _table(surgeons)
    _table(group_table(found.calibration))
    _lines(picture_lines(found.calibration))
    _lines(("Method:", *(f"    {citation}" for citation in method_lines())))
    _lines(("For the clinic's settings:", "", audit_snippet(found.audit), *(changes or ())))


def _lines(lines: Iterable[str]) -> None:
    for line in lines:
        out.data(line)


def _table(grid: Grid) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(title=grid.title, title_justify="left")
    for heading in grid.headings:
        table.add_column(heading)
    for row in grid.rows:
        table.add_row(*map(Text, row))
    Console().print(table)


def _as_data(found: Found, changes: list[str] | None) -> dict[str, Any]:
    data = report_data(found.cases, found.benchmark, found.calibration)
    return data | {
        "used": found.audit is not None,
        "least_operations": found.least,
        "audit": audit_table(found.audit) if found.audit else None,
        "changes": changes,
    }


def _changes(before: Audit | None, now: Audit | None) -> list[str]:
    """One line for each key of [audit] that changes: before -> now."""
    old, new = (audit_table(audit) if audit else {} for audit in (before, now))
    keys = [key for key in Audit.model_fields if old.get(key) != new.get(key)]
    return [f"audit.{key}: {old.get(key, 'not set')} -> {new.get(key, 'not set')}" for key in keys]


def _write_files(options: argparse.Namespace, found: Found) -> None:
    if options.rejects and found.cases.set_aside:
        _write(Path(options.rejects), rejects_csv(found.cases).encode("utf-8-sig"), mode=0o600)
        out.chatter(f"{len(found.cases.set_aside)} rows set aside are in {options.rejects}: it holds patients' data.")
    elif options.rejects:
        out.chatter(f"No row was set aside: {options.rejects} was not written.")
    if options.picture and found.calibration:
        _write(Path(options.picture), calibration_svg(found.calibration).encode())
        out.chatter(f"The picture is in {options.picture}.")
    elif options.picture:
        out.chatter(f"Too few operations for a picture: {options.picture} was not written.")


def _write_settings(path: Path, found: Found) -> None:
    """Put [audit] into the settings at ``path``, whole or not at all, after checking that they can still be read."""
    audit = audit_to_keep(found)
    path = path.resolve()
    content = path.read_bytes()
    text = content.decode("utf-8-sig")
    changed = with_audit(text, audit, path.name)
    if b"\r\n" in content:
        changed = changed.replace("\r\n", "\n").replace("\n", "\r\n")
    validate(tomllib.loads(changed), Clinic, ClinicError, path.name)
    mark = b"\xef\xbb\xbf" if content.startswith(b"\xef\xbb\xbf") else b""
    _write(path, mark + changed.encode(), mode=path.stat().st_mode)
    out.chatter(f"[audit] was written to {path}.")


def _write(path: Path, content: bytes, mode: int | None = None) -> None:
    try:
        write_whole(path, content)
        if mode is not None:
            path.chmod(mode)
    except OSError as failure:
        what = f"the file cannot be written ({failure.strerror or 'unknown reason'})"
        raise MachineError(Problem(what, str(path), remedy="choose another folder")) from failure
