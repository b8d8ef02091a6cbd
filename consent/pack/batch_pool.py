"""Jobs on the local cores. A process that dies takes no other patient's work with it."""

from __future__ import annotations

import multiprocessing
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path

from consent.clinic import Clinic
from consent.errors import Problem
from consent.pack.batch_job import HIDDEN, Finished, Job, Wanted, prepare_process, read_finished
from consent.pack.batch_state import WORKING

_A_PROCESS = 200
"""Packs after which a process makes room for a fresh one."""
Work = Callable[[Job, Clinic, Wanted, Path], Finished]
_Running = dict[Future[Finished], Job]


def make_all(
    jobs: list[Job], clinic: Clinic, wanted: Wanted, root: Path, processes: int, work: Work
) -> Iterator[Finished]:
    """What came of each of ``jobs``, as they finish."""
    root.mkdir(parents=True, exist_ok=True)
    waiting = list(reversed(jobs))
    while waiting:
        running: _Running = {}
        try:
            with _pool(min(processes, len(waiting)), root) as pool:
                while waiting or running:
                    while waiting and len(running) < 2 * processes:
                        running[pool.submit(work, waiting[-1], clinic, wanted, root)] = waiting[-1]
                        waiting.pop()
                    for future in wait(running, return_when=FIRST_COMPLETED).done:
                        result = future.result()
                        del running[future]
                        yield result
        except BrokenProcessPool:
            for job in running.values():
                yield _there(job, root) or _apart(job, clinic, wanted, root, work)


def _there(job: Job, root: Path) -> Finished | None:
    """What a process finished before another one died."""
    return read_finished(root / job.name, job.digest)


def _apart(job: Job, clinic: Clinic, wanted: Wanted, root: Path, work: Work) -> Finished:
    """``job`` in a process of its own, to find the one that kills its process."""
    try:
        with _pool(1, root) as pool:
            return pool.submit(work, job, clinic, wanted, root).result()
    except BrokenProcessPool:
        shutil.rmtree(root / f"{HIDDEN}{job.name}", ignore_errors=True)
        return _died(job)


def _died(job: Job) -> Finished:
    problem = Problem(
        "the process that made this pack died",
        job.name,
        "the machine may have run out of memory",
        "run the list again; the others are kept",
    )
    return Finished(job.name, job.digest, problems=(problem,))


@contextmanager
def _pool(processes: int, root: Path) -> Iterator[ProcessPoolExecutor]:
    """Fresh processes. On Ctrl-C they end at once: what they had in hand lies in hidden folders and is swept."""
    pool = ProcessPoolExecutor(
        max(1, processes),
        mp_context=multiprocessing.get_context("spawn"),
        initializer=prepare_process,
        initargs=(root.parent / WORKING,),
        max_tasks_per_child=_A_PROCESS,
    )
    try:
        yield pool
    except (KeyboardInterrupt, GeneratorExit):
        for child in multiprocessing.active_children():
            child.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
