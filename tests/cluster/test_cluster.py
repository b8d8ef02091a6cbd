"""Several workers on a real PostgreSQL server: every order is made once, whoever dies, and as the local pool makes it.

The rules are those of the issue of the operating day; procrastinate 3.10 documents heartbeats and stalled jobs.
"""

from __future__ import annotations

import hashlib
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from psycopg.sql import SQL, Identifier

from consent.clinic import Clinic
from consent.cluster.lead import make_all_there
from consent.cluster.orders import order_of, packed, read_order, read_result, unpack, written
from consent.cluster.place import Cluster, make_key, open_cluster
from consent.cluster.queue import TRIES, Priority, given_up, made, sweep
from consent.errors import RecordError
from consent.pack.batch import Batch, Order, run_batch
from consent.pack.batch_job import Wanted, job_of
from tests.cluster.conftest import Where
from tests.pack.invented_list import invented_cases
from tests.pack.list_work import NOW

SMALL = ("separate-choices", "before-day")
PATIENCE = 300


def digests(batch: Batch) -> dict[str, str]:
    files = [path for path in (batch.root / "patients").rglob("*") if path.is_file()]
    return {str(path.relative_to(batch.root)): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


class Worker:
    """``consent worker`` in a process of its own; ``said``: what it logged."""

    def __init__(self, where: Where, *more: str) -> None:
        command = [sys.executable, "-c", "from consent.commands.main import run; run()", "worker", *where.options]
        self.process = subprocess.Popen(
            [*command, "--processes", "1", *more], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True
        )
        self.said: list[dict[str, Any]] = []
        self._listener = Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            if line.startswith("{"):
                self.said.append(json.loads(line))

    def ids(self, what: str) -> list[str]:
        return [one["id"] for one in self.said if one["what"] == what]

    def wait_for(self, what: str) -> None:
        end = time.monotonic() + PATIENCE
        while not self.ids(what):
            assert time.monotonic() < end and self.process.poll() is None, self.said
            time.sleep(0.05)

    def stop(self, how: int = signal.SIGTERM) -> None:
        if self.process.poll() is None:
            self.process.send_signal(how)
        self.process.wait(PATIENCE)
        self._listener.join(PATIENCE)
        assert self.process.stderr is not None
        self.process.stderr.close()


@contextmanager
def working(where: Where, count: int) -> Iterator[list[Worker]]:
    workers = [Worker(where) for _ in range(count)]
    try:
        yield workers
    finally:
        for worker in workers:
            worker.stop()


def led(cluster: Cluster, cases: Sequence[Any], clinic: Clinic, root: Path, sheets: tuple[str, ...] = SMALL) -> Batch:
    there = partial(make_all_there, cluster)
    return run_batch(cases, clinic, root, NOW, Order(sheets=sheets), elsewhere=there)


@pytest.mark.slow
def test_three_workers_one_killed_make_all_once_and_as_the_local_pool(
    where: Where, clinic: Clinic, tmp_path: Path
) -> None:
    """The killed one had a pack in hand, which another takes over; nobody makes a pack that is made."""
    cases = invented_cases(9, seed=11)
    cluster = open_cluster(where.address, where.key)
    made: list[Batch] = []
    with working(where, 3) as workers:
        leader = Thread(target=lambda: made.append(led(cluster, cases, clinic, tmp_path / "there")))
        leader.start()
        workers[0].wait_for("begun")
        os.kill(workers[0].process.pid, signal.SIGKILL)
        leader.join(PATIENCE)
        assert not leader.is_alive()
    (there,) = made
    assert [str(finished.problems) for finished in there.results if not finished.is_made] == []
    finished = [name for worker in workers for name in worker.ids("made")]
    assert len(finished) == len(set(finished)) == len(cases)
    in_hand = set(workers[0].ids("begun")) - set(workers[0].ids("made"))
    taken_over = [name for worker in workers for name in worker.ids("taken over")]
    assert in_hand
    assert sorted(taken_over) == sorted(in_hand)
    here = run_batch(cases, clinic, tmp_path / "here", NOW, Order(2, sheets=SMALL))
    assert digests(there) == digests(here)
    with cluster.connected() as connection:
        left = connection.execute("SELECT count(*) FROM consent_print").fetchone()
    assert left == (0,)


def test_a_leader_that_was_stopped_goes_on_and_nothing_is_ordered_twice(
    where: Where, clinic: Clinic, tmp_path: Path
) -> None:
    cases = invented_cases(2, seed=12)
    cluster = open_cluster(where.address, where.key)
    wanted = Wanted(NOW, sheets=("separate-choices",))
    jobs = [job_of(case, clinic, wanted) for case in cases]
    for _ in range(2):
        leading = make_all_there(cluster, jobs, clinic, wanted, tmp_path / "p", nobody=_stop)
        with pytest.raises(_StoppedError), pytest.MonkeyPatch.context() as patch:
            patch.setattr("consent.cluster.lead.NOBODY_AFTER", 0.1)
            next(leading)
    with cluster.connected() as connection:
        counted = connection.execute("SELECT count(*) FROM procrastinate_jobs WHERE status = 'todo'").fetchone()
    assert counted == (2,)
    worker = Worker(where, "--until-empty")
    made = list(make_all_there(cluster, jobs, clinic, wanted, tmp_path / "p"))
    worker.stop()
    assert sorted(one.name for one in made) == sorted(job.name for job in jobs)
    assert all(one.is_made for one in made)


_ALL_OF = SQL("SELECT t::text FROM {} t")


class _StoppedError(Exception):
    pass


def _stop() -> None:
    raise _StoppedError


def test_the_desk_goes_before_a_list(where: Where, clinic: Clinic, tmp_path: Path) -> None:
    cases = invented_cases(3, seed=13)
    cluster = open_cluster(where.address, where.key)
    wanted = Wanted(NOW, sheets=("separate-choices",))
    jobs = [job_of(case, clinic, wanted) for case in cases]
    for some, priority in ((jobs[:2], Priority.LIST), (jobs[2:], Priority.DESK)):
        with pytest.raises(_StoppedError), pytest.MonkeyPatch.context() as patch:
            patch.setattr("consent.cluster.lead.NOBODY_AFTER", 0.1)
            next(make_all_there(cluster, some, clinic, wanted, tmp_path / "p", priority, _stop))
    worker = Worker(where, "--until-empty")
    worker.process.wait(PATIENCE)
    worker.stop()
    urgent = order_of(jobs[2], clinic, wanted, tmp_path / "p").id
    assert worker.ids("made")[0] == urgent[:12]


def test_nothing_of_a_patient_lies_open_in_the_database(where: Where, clinic: Clinic, tmp_path: Path) -> None:
    """Everything is encrypted under the key of the cluster; another key opens nothing."""
    (case,) = invented_cases(1, seed=14)
    cluster = open_cluster(where.address, where.key)
    wanted = Wanted(NOW, sheets=("separate-choices",))
    with pytest.raises(_StoppedError), pytest.MonkeyPatch.context() as patch:
        patch.setattr("consent.cluster.lead.NOBODY_AFTER", 0.1)
        next(make_all_there(cluster, [job_of(case, clinic, wanted)], clinic, wanted, tmp_path / "p", nobody=_stop))
    with cluster.connected() as connection:
        tables = connection.execute(
            "SELECT relname FROM pg_class WHERE relkind = 'r' AND relname !~ '^(pg|sql)_'"
        ).fetchall()
        rows = [connection.execute(_ALL_OF.format(Identifier(name))).fetchall() for (name,) in tables]
    held = str(rows)
    assert "consent_print" in str(tables)
    for text in (case.patient.name, case.patient.name.split()[0], case.patient.record_number):
        assert text not in held
        assert text.encode().hex() not in held
    (sealed,) = next(rows_ for rows_, (name,) in zip(rows, tables, strict=True) if name == "consent_print")
    assert sealed
    with pytest.raises(RecordError):
        Cluster(where.address, b"\1" * 32).open(cluster.close(b"x", "a"), "a")
    with pytest.raises(RecordError):
        cluster.open(cluster.close(b"x", "a"), "b")


def test_another_key_is_refused_before_anything_is_ordered(where: Where, tmp_path: Path) -> None:
    open_cluster(where.address, where.key)
    make_key(tmp_path / "other.key")
    with pytest.raises(RecordError, match="not the key of the cluster"):
        open_cluster(where.address, tmp_path / "other.key")
    assert open_cluster(where.address, where.key)


def test_an_order_comes_back_as_it_was_and_its_pack_too(clinic: Clinic, tmp_path: Path) -> None:
    (case,) = invented_cases(1, seed=15)
    wanted = Wanted(NOW, ("hi",), ("separate-choices",), large=False)
    own = clinic.beside(tmp_path / "clinic.toml")
    (tmp_path / "words").mkdir()
    (tmp_path / "words" / "xx.toml").write_text("a review", encoding="utf-8")
    order = order_of(job_of(case, own, wanted), own, wanted, tmp_path)
    assert read_order(written(order)) == order
    assert order.words == {"xx.toml": "a review"}
    assert str(tmp_path) not in written(order).decode()
    finished, pack = read_result(made(written(order)))
    assert finished.is_made
    unpack(pack, tmp_path / "there")
    assert packed(tmp_path / "there") == pack
    assert {path.name for path in (tmp_path / "there").iterdir()} > set(finished.files)


def test_what_failed_each_time_is_told_and_stops_nobody(clinic: Clinic, tmp_path: Path) -> None:
    (case,) = invented_cases(1, seed=16)
    wanted = Wanted(NOW)
    order = order_of(job_of(case, clinic, wanted), clinic, wanted, tmp_path)
    finished, pack = read_result(given_up(written(order), "worker died"))
    assert not finished.is_made
    assert pack == b""
    assert f"{TRIES} tries" in finished.problems[0].what
    assert finished.name == order.job.name


def test_without_the_extra_it_is_said_what_to_install(where: Where) -> None:
    """``None`` in ``sys.modules`` is an import that fails (Python reference, 5.3.1)."""
    program = "import sys; sys.modules['procrastinate'] = None; from consent.commands.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", program, "worker", *where.options], capture_output=True, text=True, check=False
    )
    assert "pip install consent[cluster]" in done.stderr
    assert "Traceback" not in done.stderr


def test_papers_of_a_worker_that_was_killed_are_taken_away(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    for owner in (gone.pid, os.getpid()):
        (tmp_path / f"consent-worker-{owner}-x").mkdir()
    sweep()
    assert [path.name for path in tmp_path.iterdir()] == [f"consent-worker-{os.getpid()}-x"]
