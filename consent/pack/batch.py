"""A whole list in parallel: each patient apart, nothing done twice, nothing left half, one that fails stops nobody."""

from __future__ import annotations

import datetime as dt
import json
import multiprocessing
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from consent.case import Case
from consent.clinic import Clinic
from consent.errors import Problem, UsageError
from consent.pack.batch_job import HIDDEN, Finished, Job, Wanted, job_of, make, prepare_process, read_finished
from consent.pack.files import write_whole

PATIENTS = "patients"
_ABOUT, _LOCK = "list.json", ".in-use"
_A_PROCESS = 200
"""Packs after which a process makes room for a fresh one."""
Told = Callable[[Finished, int, int], None]
"""Called after each patient with what came of them, how many are done and how many there are."""


@dataclass(frozen=True)
class Batch:
    """What came of a list, in its order. ``kept``: how many were there already and are the same."""

    root: Path
    made_at: dt.datetime
    cases: tuple[Case, ...]
    results: tuple[Finished, ...]
    kept: int

    def folder(self, place: int) -> Path:
        """Where the pack of the patient at ``place`` in the list lies."""
        return self.root / PATIENTS / self.results[place].name


def run_batch(
    cases: Sequence[Case],
    clinic: Clinic,
    root: Path,
    now: dt.datetime,
    processes: int,
    languages: tuple[str, ...] = (),
    sheets: tuple[str, ...] | None = None,
    told: Told = lambda *_: None,
) -> Batch:
    """Make the packs of ``cases`` under ``root`` and return what came of each.

    Those there already, whole and made of the same case, clinic, program and options, stay as they are. Raises
    ``UsageError`` where another run works there, or where a patient's eye stands twice.
    """
    with _alone(root):
        wanted = _wanted(root, now, languages, sheets)
        jobs = [job_of(case, clinic, wanted) for case in cases]
        _refuse_twice(jobs, cases)
        _sweep(root / PATIENTS)
        found: dict[str, Finished] = {}
        for job in jobs:
            if (there := read_finished(root / PATIENTS / job.name, job.digest)) is not None:
                found[job.name] = there
                told(there, len(found), len(jobs))
        kept = len(found)
        todo = [job for job in jobs if job.name not in found]
        for finished in _make_all(todo, clinic, wanted, root / PATIENTS, processes):
            found[finished.name] = finished
            told(finished, len(found), len(jobs))
    return Batch(root, wanted.made_at, tuple(cases), tuple(found[job.name] for job in jobs), kept)


def _make_all(jobs: list[Job], clinic: Clinic, wanted: Wanted, root: Path, processes: int) -> Iterator[Finished]:
    """What came of each of ``jobs``, as they finish. A process that dies takes no other patient's work with it."""
    data = clinic.model_dump(mode="json", by_alias=True, exclude_none=True)
    root.mkdir(parents=True, exist_ok=True)
    waiting = list(reversed(jobs))
    while waiting:
        running: dict[Future[Finished], Job] = {}
        with _pool(processes, len(waiting)) as pool:
            try:
                while waiting or running:
                    while waiting and len(running) < 2 * processes:
                        job = waiting.pop()
                        running[pool.submit(make, job, data, wanted, root)] = job
                    done, _ = wait(running, return_when=FIRST_COMPLETED)
                    for future in done:
                        result = future.result()
                        del running[future]
                        yield result
            except BrokenProcessPool:
                lost = list(running.values())
                if len(lost) == 1:
                    yield _died(lost[0])
                else:
                    yield from _one_by_one(lost, data, wanted, root)


def _one_by_one(jobs: list[Job], clinic: object, wanted: Wanted, root: Path) -> Iterator[Finished]:
    """Each of ``jobs`` in a process of its own, to find the one that kills its process."""
    for job in jobs:
        with _pool(1, 1) as pool:
            try:
                yield pool.submit(make, job, clinic, wanted, root).result()  # type: ignore[arg-type]
            except BrokenProcessPool:
                yield _died(job)


def _died(job: Job) -> Finished:
    problem = Problem(
        "the process that made this pack died",
        job.name,
        "the machine may have run out of memory",
        "run the list again; the others are kept",
    )
    return Finished(job.name, job.digest, problems=(problem,))


def _pool(processes: int, jobs: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(
        max(1, min(processes, jobs)),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=prepare_process,
        max_tasks_per_child=_A_PROCESS,
    )


def _wanted(root: Path, now: dt.datetime, languages: tuple[str, ...], sheets: tuple[str, ...] | None) -> Wanted:
    """How the packs are made; the moment of the list is that of its first run, so that what is resumed is the same."""
    about = root / _ABOUT
    try:
        made_at = dt.datetime.fromisoformat(json.loads(about.read_text(encoding="utf-8"))["made_at"])
    except (OSError, ValueError, KeyError, TypeError):
        made_at = now.replace(microsecond=0)
        write_whole(about, json.dumps({"made_at": made_at.isoformat()}).encode())
    return Wanted(made_at, languages, sheets) if sheets else Wanted(made_at, languages)


def _sweep(root: Path) -> None:
    """Take away what a run that was killed left half made; an old pack whose new one never came is put back."""
    if not root.is_dir():
        return
    for path in sorted(root.iterdir()):
        if path.name.startswith(f"{HIDDEN}old-"):
            place = root / path.name.removeprefix(f"{HIDDEN}old-")
            if place.exists():
                shutil.rmtree(path)
            else:
                path.rename(place)
        elif path.name.startswith(HIDDEN):
            shutil.rmtree(path)


def _refuse_twice(jobs: Sequence[Job], cases: Sequence[Case]) -> None:
    names = [job.name for job in jobs]
    twice = [case.patient.record_number for job, case in zip(jobs, cases, strict=True) if names.count(job.name) > 1]
    if twice:
        problem = Problem(
            f"record number {twice[0]} stands twice for one eye on one day", "list",
            "one of the two would be printed over the other", "keep one row for each eye",
        )  # fmt: skip
        raise UsageError(problem)


@contextmanager
def _alone(root: Path) -> Iterator[None]:
    """Raise ``UsageError`` while another run works in ``root``; a lock goes with its process, however that ends."""
    import fcntl

    root.mkdir(parents=True, exist_ok=True)
    handle = os.open(root / _LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as failure:
        os.close(handle)
        raise UsageError(
            Problem("another run is working in this folder", str(root), remedy="wait for it, or choose another folder")
        ) from failure
    try:
        yield
    finally:
        os.close(handle)
