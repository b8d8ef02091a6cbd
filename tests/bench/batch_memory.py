"""A process of its own whose peak memory is that of one print file: ``python -m tests.bench.batch_memory COUNT``."""

from __future__ import annotations

import datetime as dt
import resource
import sys
import tempfile
from pathlib import Path

from consent.clinic import read_clinic
from consent.pack import compose_pack, write_pack
from consent.pack.batch import PATIENTS, Batch
from consent.pack.batch_job import Finished
from consent.pack.print_file import write_print_files
from tests.pack.invented_list import invented_cases

NOW = dt.datetime(2027, 2, 22, 9, 0, tzinfo=dt.UTC)
SHEETS = ("before-day", "separate-choices", "day-of-surgery")


def main(count: int) -> int:
    """Peak memory after a print file of ``count`` patients, each with a small pack, all of the same paper."""
    clinic, case = read_clinic(), invented_cases(1)[0]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / PATIENTS / "p"
        folder.mkdir(parents=True)
        written = write_pack(compose_pack(case, clinic, sheets=SHEETS), folder, NOW)
        one = Finished("p", "same", {entry.path.name: "" for entry in written})
        write_print_files(Batch(Path(name), NOW, (case,) * count, (one,) * count, 0), clinic)
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


if __name__ == "__main__":
    print(main(int(sys.argv[1])))
