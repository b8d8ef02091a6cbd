"""Whether the desk works, and how hard: for whoever looks after the machine. Nothing here is of a person."""

from __future__ import annotations

from typing import Any

from litestar import Response
from litestar.exceptions import NotFoundException

from consent.desk.here import Here
from consent.desk.routes import shown
from consent.errors import ConsentError

_OPEN = ("anyone",)


@shown("/health", _OPEN)
def health(here: Here) -> Response[Any]:
    """200 where the record can be read, 503 where not; and how many pieces of work wait for a printer."""
    waiting = sum(count for (_, state), count in here.office.work.counted().items() if state == "waiting")
    try:
        with here.office.record.store.reading() as connection:
            connection.exec_driver_sql("SELECT 1")
    except ConsentError as error:
        return Response({"record": type(error).__name__, "waiting": waiting}, status_code=503)
    return Response({"record": "ok", "waiting": waiting})


@shown("/metrics", _OPEN)
def metrics(here: Here) -> Response[Any]:
    """Requests by route, and pieces of work, in the text format of Prometheus; asked on this machine only."""
    from prometheus_client import CONTENT_TYPE_LATEST, generate_latest

    from consent.desk.measured import PIECES

    if not here.is_near:
        raise NotFoundException("there is no such page")
    for (lane, state), count in here.office.work.counted().items():
        PIECES.labels(lane, state).set(count)
    return Response(generate_latest(), media_type=CONTENT_TYPE_LATEST)


HANDLERS = [health, metrics]
