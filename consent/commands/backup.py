"""``consent backup``: the record as it is now, encrypted, in one file."""

from __future__ import annotations

import argparse
from pathlib import Path

from consent.commands import out
from consent.commands.passwords import ask_new, read_passphrase
from consent.commands.settings import find_record
from consent.errors import RecordError
from consent.record.accounts import check_passphrase
from consent.record.backup import back_up


def run(options: argparse.Namespace) -> None:
    """Write the backup; ``RecordError`` at the end where the record has faults."""
    record = find_record(options.record, options.clinic)
    given = options.passphrase_file
    passphrase = read_passphrase(given) if given else ask_new("passphrase of the backup")
    check_passphrase(passphrase)
    made = back_up(record, Path(options.to), passphrase)
    last = made.manifest["last"]
    out.data(f"{made.path}: {last['sequence']} entries, the last {last['hash']}")
    if made.problems:
        out.chatter("The backup was written, but the record it is of DOES NOT HOLD TOGETHER:")
        raise RecordError(made.problems)
    out.chatter("Keep it on another machine, and the passphrase on paper elsewhere: it cannot be opened without.")
