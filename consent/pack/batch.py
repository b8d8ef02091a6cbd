"""A whole list in parallel: each patient apart, nothing done twice, nothing left half, one that fails stops nobody."""

from __future__ import annotations

import datetime as dt
import shutil
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from consent.case import Case
from consent.clinic import Clinic
from consent.errors import Problem, UsageError
from consent.pack.batch_job import HIDDEN, Finished, Job, Wanted, job_of, make, read_finished
from consent.pack.batch_pool import Work, make_all
from consent.pack.batch_state import About, alone, made_of
from consent.pack.compose import SHEETS

PATIENTS = "patients"
Told = Callable[[Finished | None, int, int], None]
"""Called once with nobody, then after each patient made: what came of them, how many are done, how many there are."""
Elsewhere = Callable[[list[Job], Clinic, Wanted, Path], Iterator[Finished]]
"""Makes packs somewhere else than in the processes of this machine, each in its place under a folder."""


@dataclass(frozen=True)
class Batch:
    """What came of a list, in its order. ``kept``: how many were there already and are the same.

    ``no_longer``: folders of patients who were on an earlier list here and are not on this one.
    """

    root: Path
    made_at: dt.datetime
    cases: tuple[Case, ...]
    results: tuple[Finished, ...]
    kept: int
    no_longer: tuple[Path, ...] = ()

    def folder(self, place: int) -> Path:
        """Where the pack of the patient at ``place`` in the list lies."""
        return self.root / PATIENTS / self.results[place].name


@dataclass(frozen=True)
class Order:
    """How a list is made. ``only_changed``: an earlier list that was finished here may be brought up to date."""

    processes: int = 1
    languages: tuple[str, ...] = ()
    sheets: tuple[str, ...] = SHEETS
    only_changed: bool = False


def run_batch(
    cases: Sequence[Case],
    clinic: Clinic,
    root: Path,
    now: dt.datetime,
    order: Order,
    told: Told = lambda *_: None,
    work: Work = make,
    elsewhere: Elsewhere | None = None,
    after: Callable[[Batch], None] = lambda _: None,
) -> Batch:
    """Make the packs of ``cases`` under ``root`` and return what came of each; ``after`` does what follows from all.
    ``elsewhere`` makes them instead of the processes of this machine.

    Those there already, whole and made of the same case, clinic, program and options, stay as they are. Raises
    ``UsageError`` where another run works there, where a patient's eye stands twice, or where an earlier list was
    finished there that was made of something else and ``order`` does not say that it may be changed.
    """
    with alone(root):
        patients = root / PATIENTS
        about = About.read(root)
        wanted = Wanted(now.replace(microsecond=0), order.languages, order.sheets)
        jobs = [job_of(case, clinic, wanted) for case in cases]
        _refuse_twice(jobs, cases)
        _refuse_another(about, jobs, root, order.only_changed)
        about = about.begun(wanted.made_at, made_of(jobs))
        about.write(root)
        _sweep(patients)
        found = {job.name: there for job in jobs if (there := read_finished(patients / job.name, job.digest))}
        kept = len(found)
        told(None, kept, len(jobs))
        todo = [job for job in jobs if job.name not in found]
        wanted = Wanted(about.made_at, order.languages, order.sheets)
        made = elsewhere or partial(make_all, processes=order.processes, work=work)
        for finished in made(todo, clinic, wanted, patients):
            found[finished.name] = finished
            told(finished, len(found), len(jobs))
        results = tuple(found[job.name] for job in jobs)
        batch = Batch(root, about.made_at, tuple(cases), results, kept, _no_longer(patients, jobs))
        after(batch)
        about.finished(made_of(jobs)).write(root)
    return batch


def _no_longer(patients: Path, jobs: Sequence[Job]) -> tuple[Path, ...]:
    names = {job.name for job in jobs}
    there = sorted(patients.iterdir()) if patients.is_dir() else []
    return tuple(path for path in there if path.name not in names and not path.name.startswith("."))


def _refuse_another(about: About, jobs: Sequence[Job], root: Path, only_changed: bool) -> None:
    if only_changed or about.of is None or about.of == made_of(jobs):
        return
    raise UsageError(
        Problem(
            "a list was finished in this folder that was made of something else",
            str(root),
            "papers of it may be printed or signed already",
            "say --only changed to make anew what has changed, or choose another folder with --to",
        )
    )


def _sweep(patients: Path) -> None:
    """Take away what a run that was killed left half made; an old pack whose new one never came is put back."""
    for path in sorted(patients.iterdir()) if patients.is_dir() else []:
        if path.name.startswith(f"{HIDDEN}old-"):
            place = patients / path.name.removeprefix(f"{HIDDEN}old-")
            if place.exists():
                shutil.rmtree(path)
            else:
                path.rename(place)
        elif path.name.startswith(HIDDEN):
            shutil.rmtree(path)


def _refuse_twice(jobs: Sequence[Job], cases: Sequence[Case]) -> None:
    names = Counter(job.name for job in jobs)
    for job, case in zip(jobs, cases, strict=True):
        if names[job.name] > 1:
            what = f"record number {case.patient.record_number} stands twice for one eye on one day"
            why = "one of the two would be printed over the other"
            raise UsageError(Problem(what, "list", why, "keep one row for each eye"))
