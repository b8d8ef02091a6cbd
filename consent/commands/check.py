"""``consent check``: does this machine have what printing needs."""

from __future__ import annotations

import argparse

from consent.commands import out
from consent.errors import ConsentError, MachineError, Problem
from consent.language import fonts_for, languages


def run(options: argparse.Namespace) -> None:
    """Print what was found; raises ``MachineError`` naming everything that is missing."""
    findings = {"printer": _printer(), **{f"fonts for {tag}": _fonts(tag) for tag in languages()}}
    if options.json:
        out.as_json({name: problem is None for name, problem in findings.items()})
    else:
        for name, problem in findings.items():
            out.data(f"{'ok     ' if problem is None else 'MISSING'} {name}")
    missing = [problem for problem in findings.values() if problem is not None]
    if missing:
        raise MachineError(missing)


def _printer() -> Problem | None:
    try:
        from weasyprint import HTML

        HTML(string="<p>.</p>").write_pdf()
    except (ImportError, OSError) as failure:
        return Problem(f"the printer does not start: {failure}", "WeasyPrint", remedy="run: bash .ci/setup")
    return None


def _fonts(tag: str) -> Problem | None:
    try:
        fonts_for(tag)
    except ConsentError as failure:
        return failure.problems[0]
    return None
