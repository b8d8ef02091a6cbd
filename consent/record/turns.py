"""A queue of threads: who came first goes first, as no lock of the language promises."""

from __future__ import annotations

from collections import deque
from threading import Lock


class Turns:
    """One at a time, in the order in which they asked."""

    def __init__(self) -> None:
        self._guard = Lock()
        self._queue: deque[Lock] = deque()

    def wait(self, seconds: float) -> None:
        """Come back when it is the caller's turn; it ends with ``next``. Raises ``TimeoutError`` after ``seconds``."""
        mine = Lock()
        mine.acquire()
        with self._guard:
            self._queue.append(mine)
            if self._queue[0] is mine:
                return
        if mine.acquire(timeout=seconds):
            return
        with self._guard:
            if self._queue[0] is mine:  # its turn came between the two
                return
            self._queue.remove(mine)
        raise TimeoutError

    def next(self) -> None:
        """Let the next one go."""
        with self._guard:
            self._queue.popleft()
            if self._queue:
                self._queue[0].release()
