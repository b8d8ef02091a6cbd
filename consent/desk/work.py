"""What takes longer than a second is done in a process of its own, so that nobody's typing waits for a printer."""

from __future__ import annotations

import multiprocessing
import os
import secrets
from collections import OrderedDict
from collections.abc import Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import Any

from consent.errors import ConsentError, Problem
from consent.record.place import Place

_KEPT = 60
"""Finished pieces of work kept for their owner to fetch."""


@dataclass(frozen=True)
class File:
    """One finished file, for who asked for it. ``path``: where it lies, if it is too large to be carried."""

    name: str
    media_type: str
    content: bytes = b""
    path: Path | None = None


@dataclass(frozen=True)
class Outcome:
    """What came of a piece of work: files, ``told``, or what stood in the way, with the class of the error."""

    files: tuple[File, ...] = ()
    told: Any = None
    sequence: int | None = None
    error: str | None = None
    problems: tuple[Problem, ...] = ()


@dataclass
class Piece:
    """One piece of work. ``seconds``: what it is expected to take; ``back``: where its owner goes once it is done;
    ``about``: what there is one of at a time."""

    id: str
    account: str
    words: str
    seconds: float
    back: str
    future: Future[Outcome]
    about: str = ""
    started: float = field(default_factory=monotonic)

    @property
    def done(self) -> bool:
        return self.future.done()

    @property
    def share(self) -> float:
        """How much of the time it is expected to take has gone by; never quite all before it is done."""
        return 1.0 if self.done else min(0.95, (monotonic() - self.started) / self.seconds)

    @property
    def outcome(self) -> Outcome:
        """What came of it, once it is done."""
        try:
            return self.future.result(timeout=0)
        except Exception as failure:  # a worker that was killed, or a fault of ours: said, never swallowed
            return Outcome(error=type(failure).__name__, problems=(_broken(type(failure).__name__),))


class Workshop:
    """Processes that print and seal. Started at the first piece of work; each stays warm for the next."""

    def __init__(self, place: Place, clinic: Path | None, printers: int) -> None:
        self._place, self._clinic, self._printers = place, clinic, printers
        self._lock = Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._pieces: OrderedDict[str, Piece] = OrderedDict()

    def warm(self) -> None:
        """Start a process ahead of the first patient."""
        from consent.desk.printing import ready

        self._started().submit(ready)

    def begin(
        self,
        task: str,
        order: Mapping[str, Any],
        account: str,
        words: str,
        seconds: float,
        back: str,
        about: str = "",
    ) -> Piece:
        """Start ``task`` of ``printing.py`` with ``order``; only ``account`` may look at what comes of it."""
        from consent.desk.printing import work

        future = self._started().submit(work, task, self._place, self._clinic, dict(order))
        piece = Piece(secrets.token_urlsafe(12), account, words, seconds, back, future, about)
        with self._lock:
            self._pieces[piece.id] = piece
            while len(self._pieces) > _KEPT:
                self._pieces.popitem(last=False)
        return piece

    def piece(self, name: str, account: str) -> Piece | None:
        """The piece of work ``name``, if it is ``account``'s."""
        with self._lock:
            found = self._pieces.get(name)
        return found if found is not None and found.account == account else None

    def under_way(self, about: str) -> Piece | None:
        """The piece of work about it that is not done yet, whoever's it is."""
        with self._lock:
            return next((one for one in self._pieces.values() if one.about == about and not one.done), None)

    def renew(self) -> None:
        """Begin the next piece in a fresh process; what was begun is finished in the old one."""
        self._stop(wait=False)

    def close(self) -> None:
        """Let what was begun be finished, and stop."""
        self._stop(wait=True)

    def _stop(self, wait: bool) -> None:
        with self._lock:
            pool, self._pool = self._pool, None
        if pool is not None:
            pool.shutdown(wait=wait, cancel_futures=False)

    def _started(self) -> ProcessPoolExecutor:
        with self._lock:
            if self._pool is not None and getattr(self._pool, "_broken", False):
                self._pool.shutdown(wait=False)
                self._pool = None
            if self._pool is None:
                context = multiprocessing.get_context("spawn")
                self._pool = ProcessPoolExecutor(self._printers, mp_context=context, initializer=_give_way)
            pool = self._pool
        return pool


def _give_way() -> None:
    """A printer takes the processor that nobody's typing needs."""
    if hasattr(os, "nice"):
        os.nice(_LESS_URGENT)


_LESS_URGENT = 10


def outcome_of(error: ConsentError) -> Outcome:
    """``error`` as something that can leave a process."""
    return Outcome(error=type(error).__name__, problems=error.problems)


def _broken(what: str) -> Problem:
    return Problem(
        "the work was broken off",
        what,
        "nothing of it was recorded unless the case says so",
        "look at the case, then try again",
    )
