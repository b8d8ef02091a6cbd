"""``consent demo``: a complete pack for an invented case."""

from __future__ import annotations

import argparse
from datetime import datetime
from pathlib import Path

from consent.case import read_case
from consent.clinic import read_clinic
from consent.commands import out
from consent.pack import compose_pack, write_pack
from consent.resources import package_data


def run(options: argparse.Namespace) -> None:
    """Write the pack and say what to open."""
    case = read_case(package_data("case", "examples", f"{options.case}.toml"))
    clinic = read_clinic()
    folder = Path(options.to)
    out.chatter("An invented patient at an invented clinic. Composing and printing ...")
    written = write_pack(compose_pack(case, clinic), folder, datetime.now().astimezone())
    for entry in written:
        out.data(str(entry.path))
    out.chatter(f"Open {folder / 'index.html'} first. Nothing in it is final before a licensed clinician signs.")
