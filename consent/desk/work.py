"""What takes longer than a second is done in a process of its own, so that nobody's typing waits for a printer."""

from __future__ import annotations

import logging
import multiprocessing
import os
import secrets
import shutil
from collections import Counter, OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from threading import Lock
from time import monotonic
from typing import Any

from consent.clinic import Clinic
from consent.errors import ConsentError, MoveError, Problem
from consent.pack.batch_job import POLITE
from consent.record.place import Place
from consent.wording import remark

log = logging.getLogger("consent.desk")
DESK, ASIDE = "desk", "aside"
"""Lanes: what somebody waits for, and what takes minutes, which has a process of its own and never stands before it."""
_LONG = frozenset({"check", "backup"})
_LESS_URGENT = {DESK: 10, ASIDE: POLITE}
"""Niceness (nice(2)) of each lane."""
_KEPT = 60
"""Pieces of work kept for their owner to fetch; of more, the oldest that are finished go."""
_MOST_BEGUN = 12
"""Pieces of work that one account may have begun and not finished."""


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
    lane: str = DESK
    started: float = field(default_factory=monotonic)

    @property
    def done(self) -> bool:
        return self.future.done()

    @property
    def share(self) -> float:
        """How much of the time it is expected to take has gone by; never quite all before it is done."""
        return 1.0 if self.done else min(0.95, (monotonic() - self.started) / self.seconds)

    def discard(self) -> None:
        """Take away the files that nobody fetched."""
        for file in self.outcome.files if self.done else ():
            if file.path is not None:
                shutil.rmtree(file.path.parent, ignore_errors=True)

    @property
    def outcome(self) -> Outcome:
        """What came of it, once it is done."""
        try:
            return self.future.result(timeout=0)
        except Exception as failure:  # a worker that was killed, or a fault of ours: said, never swallowed
            return Outcome(error=type(failure).__name__, problems=(_broken(type(failure).__name__),))


class Workshop:
    """Processes that print and seal. Started at the first piece of work; each stays warm for the next.

    ``clinic``: the settings as they are; each piece is made with those of its beginning, as the pages showed them.
    """

    def __init__(self, place: Place, clinic: Callable[[], Clinic], printers: int) -> None:
        self._place, self._clinic = place, clinic
        self._processes = {DESK: printers, ASIDE: 1}
        self._lock = Lock()
        self._pools: dict[str, ProcessPoolExecutor] = {}
        self._pieces: OrderedDict[str, Piece] = OrderedDict()

    def warm(self) -> None:
        """Start a process ahead of the first patient."""
        from consent.desk.printing import ready

        self._started(DESK).submit(ready)

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

        self._refuse_too_many(account)
        lane = ASIDE if task in _LONG else DESK
        future = self._started(lane).submit(work, task, self._place, self._clinic(), dict(order))
        piece = Piece(secrets.token_urlsafe(12), account, words, seconds, back, future, about, lane)
        future.add_done_callback(partial(_say, task, piece.started))
        with self._lock:
            self._pieces[piece.id] = piece
            over = [one for one in self._pieces.values() if one.done][: max(0, len(self._pieces) - _KEPT)]
            for one in over:
                del self._pieces[one.id]
        for one in over:
            one.discard()
        return piece

    def _refuse_too_many(self, account: str) -> None:
        with self._lock:
            begun = sum(one.account == account and not one.done for one in self._pieces.values())
        if begun >= _MOST_BEGUN:
            said = remark("problem.too-much-begun")
            raise MoveError(Problem("too much is being made for this account already", "work", said=said))

    def piece(self, name: str, account: str) -> Piece | None:
        """The piece of work ``name``, if it is ``account``'s."""
        with self._lock:
            found = self._pieces.get(name)
        return found if found is not None and found.account == account else None

    def under_way(self, about: str) -> Piece | None:
        """The piece of work about it that is not done yet, whoever's it is."""
        with self._lock:
            return next((one for one in self._pieces.values() if one.about == about and not one.done), None)

    def close(self) -> None:
        """Let what was begun be finished, and stop."""
        with self._lock:
            pools, self._pools = self._pools, {}
        for pool in pools.values():
            pool.shutdown(wait=True, cancel_futures=False)
        for piece in self._pieces.values():
            piece.discard()

    def _started(self, lane: str) -> ProcessPoolExecutor:
        with self._lock:
            pool = self._pools.get(lane)
            if pool is not None and getattr(pool, "_broken", False):
                pool.shutdown(wait=False)
                pool = None
            if pool is None:
                context, polite = multiprocessing.get_context("spawn"), _LESS_URGENT[lane]
                pool = ProcessPoolExecutor(self._processes[lane], context, _give_way, (polite,))
                self._pools[lane] = pool
        return pool

    def counted(self) -> dict[tuple[str, str], int]:
        """How many pieces of work there are, by lane and state: waiting, running, done."""
        with self._lock:
            found = Counter((piece.lane, _state(piece.future)) for piece in self._pieces.values())
        return {(lane, state): found[lane, state] for lane in self._processes for state in _STATES}


_STATES = ("waiting", "running", "done")


def _state(future: Future[Outcome]) -> str:
    return "done" if future.done() else "running" if future.running() else "waiting"


def _say(task: str, started: float, future: Future[Outcome]) -> None:
    """A line in the log: which task, how long, and the kind of what stood in its way; nothing of whom it was for."""
    try:
        error = future.result(timeout=0).error
    except Exception as failure:
        error = type(failure).__name__
    facts = {"task": task, "seconds": round(monotonic() - started, 1)} | ({"kind": error} if error else {})
    log.log(logging.WARNING if error else logging.INFO, "worked", extra={"facts": facts})


def _give_way(polite: int) -> None:
    """A printer takes the processor that nobody's typing needs."""
    if hasattr(os, "nice"):
        os.nice(polite)


def outcome_of(error: ConsentError) -> Outcome:
    """``error`` as something that can leave a process."""
    return Outcome(error=type(error).__name__, problems=error.problems)


def _broken(what: str) -> Problem:
    return Problem(
        "the work was broken off",
        what,
        "nothing of it was recorded unless the case says so",
        "look at the case, then try again",
        remark("problem.broken-off"),
    )
