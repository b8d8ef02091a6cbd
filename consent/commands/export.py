"""``consent export``: everything the record holds of one patient, as a folder to hand out."""

from __future__ import annotations

import argparse
from pathlib import Path

from consent.commands import out
from consent.commands.passwords import ask
from consent.commands.settings import find_record
from consent.record.export import export
from consent.record.login import identify


def run(options: argparse.Namespace) -> None:
    """Write the folder and list its files."""
    record = find_record(options.record, options.clinic)
    account = identify(record, options.login, ask(f"password of {options.login}"))
    for path in export(record, account, options.subject, Path(options.to), options.reason):
        out.data(str(path))
    out.chatter(f"Open {Path(options.to) / 'index.html'}. It is all there is about this patient: for nobody else.")
