"""``consent prepare``: every sheet of a case."""

from __future__ import annotations

import argparse
import difflib
from datetime import datetime
from pathlib import Path

from consent.commands import out
from consent.commands.settings import read_both
from consent.errors import Problem, UsageError
from consent.pack import FORM, SHEETS, compose_pack, refuse_incomplete, write_pack


def run(options: argparse.Namespace) -> None:
    """Write the pack and list its files; ``IncompleteError`` at the end where the consent form had to be left out."""
    case, clinic = read_both(options.case, options.clinic)
    sheets = wanted_sheets(options.sheet)
    pack = compose_pack(case, clinic, tuple(options.language), sheets, options.paper, options.large_print)
    written = write_pack(pack, Path(options.to), datetime.now().astimezone(), options.audio)
    if options.json:
        out.as_json([{"file": str(w.path), "languages": w.languages, "pages": w.pages} for w in written])
    else:
        for entry in written:
            out.data(str(entry.path))
    if FORM in sheets:
        refuse_incomplete(pack)
    if not options.json:
        out.chatter(f"Open {written[-1].path} first. Draft for review by the licensed clinician.")


def wanted_sheets(wanted: list[str]) -> tuple[str, ...]:
    """The sheets named, or all. Raises ``UsageError`` for a name that is none."""
    for name in wanted:
        if name not in SHEETS:
            near = difflib.get_close_matches(name, SHEETS, n=1)
            hint = f'did you mean "{near[0]}"? ' if near else ""
            raise UsageError(
                Problem(f'there is no sheet "{name}"', "--sheet", remedy=f"{hint}there are: {', '.join(SHEETS)}")
            )
    return tuple(wanted) or SHEETS
