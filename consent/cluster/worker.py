"""A worker: takes orders as long as it runs, tells that it lives, and takes over what a dead one had in hand."""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import signal
from collections.abc import AsyncIterator

from procrastinate import App

from consent import logs
from consent.cluster.place import Cluster
from consent.cluster.queue import TRIES, given_up, keep, log, make_app, queue_name, sweep
from consent.print import warm_up

BEAT, DEAD_AFTER = 3.0, 15.0
"""Seconds between two signs of life, and without one after which a worker counts as dead."""
_TAKING_OVER = 0x636F6E74
"""Number of the advisory lock under which one worker at a time looks for the dead."""


def work(cluster: Cluster, processes: int = 1, until_empty: bool = False) -> None:
    """Make what is ordered, in ``processes`` of their own where there is more than one; ends when stopped, or with
    ``until_empty`` when nothing is left."""
    if processes <= 1:
        asyncio.run(_work(cluster, until_empty))
        return
    context = multiprocessing.get_context("spawn")
    each = [context.Process(target=work, args=(cluster, 1, until_empty)) for _ in range(processes)]
    for process in each:
        process.start()

    def stop(*_: object) -> None:
        """Each finishes what it has in hand."""
        for process in each:
            process.terminate()

    signal.signal(signal.SIGTERM, stop)
    try:
        for process in each:
            process.join()
    except KeyboardInterrupt:
        for process in each:
            process.join()


async def _work(cluster: Cluster, until_empty: bool) -> None:
    logs.begin()
    sweep()
    warm_up()
    app = make_app(cluster)
    async with app.open_async(), _taking_over(app, cluster):
        await app.run_worker_async(
            queues=[queue_name()],
            wait=not until_empty,
            fetch_job_polling_interval=2.0,
            update_heartbeat_interval=BEAT,
            stalled_worker_timeout=DEAD_AFTER,
            delete_jobs="always",
        )


@contextlib.asynccontextmanager
async def _taking_over(app: App, cluster: Cluster) -> AsyncIterator[None]:
    """Beside the work, look every few seconds for what a dead worker left."""

    async def look() -> None:
        while True:
            try:
                await take_over(app, cluster)
            except Exception:  # the server may be away for a while; the work itself waits for it too
                log.exception("not looked")
            await asyncio.sleep(BEAT)

    looking = asyncio.create_task(look())
    try:
        yield
    finally:
        looking.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await looking


async def take_over(app: App, cluster: Cluster) -> int:
    """Put what dead workers had in hand back into the queue, and return how many; given up after the third try."""
    import psycopg

    count = 0
    async with await psycopg.AsyncConnection.connect(cluster.address, autocommit=True) as connection:
        cursor = await connection.execute("SELECT pg_try_advisory_lock(%s)", (_TAKING_OVER,))
        row = await cursor.fetchone()
        if row is None or not row[0]:
            return 0
        for job in await app.job_manager.get_stalled_jobs(queue=queue_name(), seconds_since_heartbeat=DEAD_AFTER):
            if job.attempts + 1 >= TRIES:
                await asyncio.to_thread(_give_up, cluster, str(job.task_kwargs["id"]))
            await app.job_manager.retry_job(job)
            log.warning("taken over", extra={"facts": {"id": str(job.task_kwargs["id"])[:12]}})
            count += 1
    return count


def _give_up(cluster: Cluster, id_: str) -> None:
    with cluster.connected() as connection:
        row = connection.execute("SELECT ordered FROM consent_print WHERE id = %s", (id_,)).fetchone()
    if row is not None:
        keep(cluster, id_, given_up(cluster.open(row[0], id_), "worker died"))
