"""``consent check``: does this machine have what printing needs."""

from __future__ import annotations

import argparse

from consent.commands import out
from consent.errors import ConsentError, MachineError, Problem
from consent.language import fonts_for, languages
from consent.print import has_voice


def run(options: argparse.Namespace) -> None:
    """Print what was found; raises ``MachineError`` naming everything that is missing, but for what is by choice."""
    needed = {"printer": _printer(), **{f"fonts for {tag}": _fonts(tag) for tag in languages()}}
    by_choice = {f"machine voice for {tag} (for prepare --audio)": _voice(tag) for tag in languages()}
    findings = {**needed, **by_choice}
    if options.json:
        out.as_json({name: problem is None for name, problem in findings.items()})
    else:
        for name, problem in findings.items():
            out.data(f"{'ok     ' if problem is None else 'MISSING' if name in needed else 'no     '} {name}")
    missing = [problem for problem in needed.values() if problem is not None]
    if missing:
        raise MachineError(missing)
    for absent in [problem for problem in by_choice.values() if problem is not None][:1]:
        out.chatter(absent.remedy)


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
        fonts_for(tag, "Bold")
    except ConsentError as failure:
        return failure.problems[0]
    return None


def _voice(tag: str) -> Problem | None:
    if has_voice(tag):
        return None
    remedy = "sudo apt-get install espeak-ng lame, if papers are to be read aloud (consent prepare --audio)"
    return Problem(f"nothing on this machine can read {tag!r} aloud", "machine voice", remedy=remedy)
