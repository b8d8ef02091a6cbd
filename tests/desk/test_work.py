"""Work that takes long, and connections: nothing under way is lost, and nobody takes the place of all others.

CWE-400 (resources), CWE-770 (no limits), CWE-459 (left behind).
"""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import ExitStack, contextmanager
from pathlib import Path
from threading import Thread
from typing import Any
from unittest.mock import patch

import pytest
import uvicorn

from consent.clinic import Clinic
from consent.desk import patience
from consent.desk.office import BACKUP, DeskSettings, Office
from consent.desk.patience import Patient
from consent.desk.work import File, Outcome, Workshop
from consent.errors import MoveError
from consent.record.place import Place, make_record
from tests.desk.house import OPERATIONS
from tests.record.acts import without_printing
from tests.record.clock import TestClock


def _shop(clinic: Clinic, folder: Path) -> tuple[Workshop, list[Future[Outcome]]]:
    futures: list[Future[Outcome]] = []

    class Pool:
        def submit(self, *_: Any) -> Future[Outcome]:
            futures.append(Future())
            return futures[-1]

        def shutdown(self, **_: Any) -> None:
            pass

    shop = Workshop(Place(folder), lambda: clinic, 1)
    shop._pools = {"desk": Pool(), "aside": Pool()}  # type: ignore[dict-item]
    return shop, futures


def test_work_under_way_is_never_forgotten(clinic: Clinic, tmp_path: Path) -> None:
    shop, futures = _shop(clinic, tmp_path)
    mine = shop.begin("enter", {}, "asha", "work.signing", 8, "/", "signed-off case-1")
    for _ in range(90):
        shop.begin("drafts", {}, "meera", "work.printing", 1, "/")
        futures[-1].set_result(Outcome())
    assert shop.under_way("signed-off case-1") is mine and shop.piece(mine.id, "asha") is mine


def test_one_account_begins_so_much_and_no_more(clinic: Clinic, tmp_path: Path) -> None:
    shop, _ = _shop(clinic, tmp_path)
    for _ in range(12):
        shop.begin("drafts", {}, "meera", "work.printing", 1, "/")
    with pytest.raises(MoveError, match="too much is being made"):
        shop.begin("drafts", {}, "meera", "work.printing", 1, "/")
    shop.begin("drafts", {}, "asha", "work.printing", 1, "/")


def test_a_backup_that_nobody_fetches_does_not_stay(clinic: Clinic, tmp_path: Path) -> None:
    shop, futures = _shop(clinic, tmp_path)
    left = tmp_path / f"{BACKUP}x" / "record.consent-backup"
    left.parent.mkdir()
    left.write_bytes(b"encrypted")
    shop.begin("backup", {}, "lila", "work.backup", 1, "/")
    futures[-1].set_result(Outcome((File(left.name, "application/octet-stream", path=left),)))
    shop.close()
    assert not left.parent.exists()
    left.parent.mkdir()
    with without_printing():
        record = make_record(Place(tmp_path / "record"), clinic, TestClock(OPERATIONS))
        stale = record.place.folder / f"{BACKUP}of-yesterday"
        stale.mkdir()
        Office(record, DeskSettings()).close()
    assert not stale.exists()


def test_work_is_done_with_the_settings_of_its_beginning(clinic: Clinic, tmp_path: Path) -> None:
    given: list[Any] = []

    class Pool:
        def submit(self, *arguments: Any) -> Future[Outcome]:
            given.append(arguments)
            return Future()

    other = clinic.model_copy(update={"place": "Elsewhere (invented)"})
    now = [clinic]
    shop = Workshop(Place(tmp_path), lambda: now[0], 1)
    with patch.object(Workshop, "_started", lambda self, lane: Pool()):
        shop.begin("drafts", {}, "a", "work.printing", 1, "/")
        now[0] = other
        shop.begin("drafts", {}, "a", "work.printing", 1, "/")
    assert [one[3].place for one in given] == [clinic.place, other.place]


# Connections.


@contextmanager
def _served() -> Iterator[int]:
    async def app(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] != "http":
            return
        while (await receive()).get("more_body"):
            pass
        await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
        await send({"type": "http.response.body", "body": b"ok"})

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, port=port, http=Patient, log_config=None, lifespan="off"))
    thread = Thread(target=lambda: asyncio.run(server.serve()))
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield port
    finally:
        server.should_exit = True
        thread.join()


@contextmanager
def _connected(port: int, sent: bytes = b"") -> Iterator[socket.socket]:
    with socket.create_connection(("127.0.0.1", port), timeout=5) as made:
        made.sendall(sent)
        yield made


@contextmanager
def _patience(unasked: float, unsent: float) -> Iterator[None]:
    with patch.object(patience, "UNASKED", unasked), patch.object(patience, "UNSENT", unsent):
        yield


def _answered(one: socket.socket) -> bool:
    """Whether an answer comes, whole."""
    heard = b""
    while not heard.endswith(b"ok"):
        part = one.recv(4096)
        if not part:
            return False
        heard += part
    return True


def _ended(one: socket.socket) -> bool:
    """Whether the server has ended it without an answer."""
    try:
        return one.recv(1) == b""
    except ConnectionResetError:
        return True


WHOLE = b"GET / HTTP/1.1\r\nhost: x\r\n\r\n"
UNFINISHED = b"POST / HTTP/1.1\r\nhost: x\r\ncontent-length: 9\r\n\r\nhalf"


@pytest.mark.parametrize("sent", [b"", b"GET / HT", UNFINISHED])
def test_whoever_never_finishes_is_let_go(sent: bytes) -> None:
    """CWE-400: connections that cost their maker nothing keep everybody else out."""
    with _patience(0.2, 0.2), _served() as port, _connected(port, sent) as silent:
        began = time.monotonic()
        assert _ended(silent) and time.monotonic() - began < 4


def test_a_beginning_after_an_answer_is_let_go_too() -> None:
    with _patience(0.2, 9.0), _served() as port, _connected(port, WHOLE) as one:
        assert _answered(one)
        one.sendall(b"GET / HT")
        assert _ended(one)


def test_who_is_only_slow_is_answered() -> None:
    with _patience(1.0, 9.0), _served() as port, _connected(port, UNFINISHED) as slow:
        time.sleep(1.3)
        slow.sendall(b"-more")
        assert _answered(slow)


def test_one_device_does_not_take_every_place() -> None:
    with patch.object(patience, "OF_ONE_DEVICE", 3), _served() as port, ExitStack() as held:
        first, *_ = [held.enter_context(_connected(port)) for _ in range(3)]
        with _connected(port, WHOLE) as one_more:
            assert _ended(one_more)
        first.close()
        for _ in range(50):
            with _connected(port, WHOLE) as again:
                if not _ended(again):
                    break
            time.sleep(0.05)
        else:
            pytest.fail("a place that was given up is not given again")
