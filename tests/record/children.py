"""Another process: a forked child that may die at any instant, and tells the tests what it did through a pipe."""

from __future__ import annotations

import os
import signal
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass

Work = Callable[[Callable[[str], None]], None]
"""Gets ``tell``, which hands a line to the parent; a line that was told is told for good."""


@dataclass
class Child:
    """A forked child and the end of its pipe."""

    pid: int
    pipe: int
    read: bytes = b""

    def kill(self) -> list[str]:
        """End it as a power cut would (SIGKILL), and return what it had told."""
        os.kill(self.pid, signal.SIGKILL)
        lines, _ = self._end()
        return lines

    def wait(self) -> list[str]:
        """What it told, once it has ended by itself. Raises ``AssertionError`` where it failed."""
        lines, status = self._end()
        assert os.waitstatus_to_exitcode(status) == 0, f"the child failed after: {lines[-3:]}"
        return lines

    def hear(self) -> None:
        """Wait until it has told something."""
        self.read += os.read(self.pipe, 1 << 16)

    def _end(self) -> tuple[list[str], int]:
        while chunk := os.read(self.pipe, 1 << 16):
            self.read += chunk
        os.close(self.pipe)
        _, status = os.waitpid(self.pid, 0)
        *whole, _ = self.read.decode().split("\n")
        return whole, status


def fork(work: Work) -> Child:
    """``work`` begun in a child of this process. The store is opened by the child itself: none is shared."""
    reading, writing = os.pipe()
    pid = os.fork()
    if pid:
        os.close(writing)
        return Child(pid, reading)
    try:
        os.close(reading)
        work(lambda line: _tell(writing, line))
        os._exit(0)
    except BaseException:
        traceback.print_exc(file=sys.__stderr__)
        os._exit(1)


def _tell(pipe: int, line: str) -> None:
    os.write(pipe, f"{line}\n".encode())
