"""``consent restore``: a backup becomes a record again, in an empty place."""

from __future__ import annotations

import argparse
from pathlib import Path

from consent.clinic import read_clinic
from consent.commands import out
from consent.commands.passwords import ask, read_passphrase
from consent.commands.settings import clinic_path, record_place
from consent.errors import RecordError
from consent.record.restore import restore


def run(options: argparse.Namespace) -> None:
    """Restore and say what was proven; ``RecordError`` where the record had faults when it was backed up."""
    place = record_place(options.record)
    erased = Path(options.erased) if options.erased else None
    given = options.passphrase_file
    passphrase = read_passphrase(given) if given else ask("passphrase of the backup")
    done = restore(Path(options.file), passphrase, place, read_clinic(clinic_path(options.clinic)), erased)
    last = done.manifest["last"]
    where = done.record.store.where if place.address else place.folder
    out.data(f"{where}: {last['sequence']} entries, the last {last['hash']}")
    for name, table in done.manifest["tables"].items():
        out.chatter(f"  {name}: {table['rows']} rows, the same as when it was backed up")
    for subject in done.erased_again:
        out.chatter(f"  {subject}: erased again, as it had been after the backup was made")
    if done.checked.problems:
        raise RecordError(done.checked.problems)
    out.chatter(f"Everything holds together; the last entry is now {done.checked.last[0]}: {done.checked.last[1]}")
    if erased is None:
        out.chatter("Whoever was erased since is back, unless it stood on a list: --erased takes a newer erased.txt.")
