"""Leads a list: orders every pack, and puts each in its place as it comes."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from consent.clinic import Clinic
from consent.cluster.orders import Ordered, order_of, read_result, unpack, written
from consent.cluster.place import Cluster
from consent.pack.batch_job import HIDDEN, Finished, Job, Wanted, put_in_place

_LOOK_EVERY = 0.2
_AT_ONCE = 16
"""Packs fetched by one statement: a pack has about a megabyte."""
NOBODY_AFTER = 30.0
"""Seconds without any pack after which the leader asks whether anybody works."""


def make_all_there(
    cluster: Cluster,
    jobs: list[Job],
    clinic: Clinic,
    wanted: Wanted,
    root: Path,
    priority: int = 0,
    nobody: Callable[[], None] = lambda: None,
) -> Iterator[Finished]:
    """What came of each of ``jobs`` as workers finish them, each pack in its place under ``root``, as the local pool
    leaves it. ``nobody`` is called when no worker has finished anything for a while.

    Whoever stops and asks again goes on: what is ordered stays ordered, and what is made is fetched.
    """
    root.mkdir(parents=True, exist_ok=True)
    waiting: dict[str, Job] = {}
    for job in jobs:
        order = order_of(job, clinic, wanted, root)
        waiting[order.id] = job
        _put(cluster, order)
    _queue(cluster, list(waiting), priority)
    last = time.monotonic()
    while waiting:
        fetched = list(_fetch(cluster, list(waiting)))
        for id_, result in fetched:
            job = waiting.pop(id_)
            finished, pack = read_result(result)
            if finished.is_made:
                hidden = root / f"{HIDDEN}{job.name}"
                shutil.rmtree(hidden, ignore_errors=True)
                unpack(pack, hidden)
                put_in_place(hidden, root / job.name)
            with cluster.connected() as connection:
                connection.execute("DELETE FROM consent_print WHERE id = %s", (id_,))
            yield finished
        if fetched:
            last = time.monotonic()
        elif time.monotonic() - last > NOBODY_AFTER:
            nobody()
            last = time.monotonic()
        else:
            time.sleep(_LOOK_EVERY)


def _put(cluster: Cluster, order: Ordered) -> None:
    with cluster.connected() as connection:
        connection.execute(
            "INSERT INTO consent_print (id, ordered) VALUES (%s, %s) ON CONFLICT (id) DO NOTHING",
            (order.id, cluster.close(written(order), order.id)),
        )


def _queue(cluster: Cluster, ids: list[str], priority: int) -> None:
    """Ask for each pack once: what waits in the queue already stays where it is."""
    from procrastinate import App, SyncPsycopgConnector, exceptions

    from consent.cluster.queue import queue_name

    with App(connector=SyncPsycopgConnector(conninfo=cluster.address)).open() as app:
        for id_ in ids:
            deferrer = app.configure_task(
                "consent.print", queue=queue_name(), priority=priority, lock=id_, queueing_lock=id_
            )
            try:
                deferrer.defer(id=id_)
            except exceptions.AlreadyEnqueued:
                continue


def _fetch(cluster: Cluster, ids: list[str]) -> Iterator[tuple[str, bytes]]:
    statement = "SELECT id, made FROM consent_print WHERE id = ANY(%s) AND made IS NOT NULL LIMIT %s"
    with cluster.connected() as connection:
        rows = connection.execute(statement, (ids, _AT_ONCE)).fetchall()
    yield from ((id_, cluster.open(made, id_)) for id_, made in rows)
