"""The queue of procrastinate: one task, which makes one pack; workers of another program have a queue of their own."""

from __future__ import annotations

import logging
import os
import shutil
import tempfile
import time
from pathlib import Path

from procrastinate import App, JobContext, PsycopgConnector, RetryStrategy

from consent.cluster.orders import clinic_in, read_order, result_of, unpack
from consent.cluster.place import Cluster
from consent.errors import Problem
from consent.pack.batch_job import Finished, make, program_digest

log = logging.getLogger("consent.worker")
_FOLDER = "consent-worker-"
TRIES = 3
"""How often a pack is tried whose worker fails or dies."""


class Priority:
    """Higher goes first; what is equal goes in the order it was asked for."""

    DESK = 100
    LIST = 0


def queue_name() -> str:
    """The queue of this very program: code, words, templates. Another one would print other papers."""
    return f"print-{program_digest()[:16]}"


def make_app(cluster: Cluster) -> App:
    """The application of ``cluster`` with its one task."""
    app = App(connector=PsycopgConnector(conninfo=cluster.address, min_size=1, max_size=4))
    retry = RetryStrategy(max_attempts=TRIES, wait=1)

    @app.task(name="consent.print", pass_context=True, retry=retry)
    def print_pack(context: JobContext, id: str) -> None:
        """Make the pack ``id`` and keep it, unless it is there already or nobody waits for it any more."""
        with cluster.connected() as connection:
            row = connection.execute("SELECT ordered, made FROM consent_print WHERE id = %s", (id,)).fetchone()
        if row is None or row[1] is not None:
            return
        began = time.monotonic()
        log.info("begun", extra={"facts": {"id": id[:12]}})
        try:
            result = made(cluster.open(row[0], id))
        except Exception as failure:
            if (context.job.attempts or 0) + 1 < TRIES:
                raise
            result = given_up(cluster.open(row[0], id), type(failure).__name__)
        if keep(cluster, id, result):
            log.info("made", extra={"facts": {"id": id[:12], "seconds": round(time.monotonic() - began, 1)}})

    return app


def made(ordered: bytes) -> bytes:
    """Make what is ordered, in a folder of its own that is taken away after, and return the result as bytes."""
    order = read_order(ordered)
    with tempfile.TemporaryDirectory(prefix=f"{_FOLDER}{os.getpid()}-") as name:
        root = Path(name)
        clinic = clinic_in(order, root)
        if order.earlier:
            unpack(order.earlier, root / "patients" / order.job.name)
        (root / "patients").mkdir(exist_ok=True)
        finished = make(order.job, clinic, order.wanted, root / "patients")
        return result_of(finished, root / "patients" / order.job.name)


def sweep() -> None:
    """Take away folders that workers left on this machine that were killed: they hold a patient's papers."""
    for path in Path(tempfile.gettempdir()).glob(f"{_FOLDER}*"):
        owner = path.name.removeprefix(_FOLDER).partition("-")[0]
        if owner.isdecimal() and not Path(f"/proc/{owner}").exists():
            shutil.rmtree(path, ignore_errors=True)


def given_up(ordered: bytes, why: str) -> bytes:
    """The result of an order that was tried as often as it may be."""
    job = read_order(ordered).job
    problem = Problem(
        f"the pack could not be made in {TRIES} tries ({why})",
        job.name,
        "a worker failed or died each time it tried",
        "look at this patient by hand, then run the list again; the others are kept",
    )
    return result_of(Finished(job.name, job.digest, problems=(problem,)), Path())


def keep(cluster: Cluster, id_: str, result: bytes) -> bool:
    """Keep ``result`` for who ordered it; False where another was first, or nobody waits for it."""
    with cluster.connected() as connection:
        statement = "UPDATE consent_print SET made = %s WHERE id = %s AND made IS NULL"
        return connection.execute(statement, (cluster.close(result, id_), id_)).rowcount == 1
