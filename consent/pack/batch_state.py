"""What a folder of a list says of itself: when it was begun, and of what the list was made that was finished there."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from consent.errors import Problem, UsageError
from consent.pack.batch_job import Job
from consent.pack.files import make_folder, write_whole

WORKING = ".working"
"""Held by every process that writes there, as long as it lives."""
_ABOUT, _LOCK = "list.json", ".in-use"
_NEVER = dt.datetime.min.replace(tzinfo=dt.UTC)


@dataclass(frozen=True)
class About:
    """``made_at``: the moment of the list; ``of``: digest of all that the list is made of that was finished here."""

    made_at: dt.datetime = _NEVER
    of: str | None = None

    @classmethod
    def read(cls, root: Path) -> About:
        """What ``root`` says; nothing where it does not say."""
        try:
            told = json.loads((root / _ABOUT).read_text(encoding="utf-8"))
            return cls(dt.datetime.fromisoformat(told["made_at"]), told["of"])
        except (OSError, ValueError, KeyError, TypeError):
            return cls()

    def begun(self, now: dt.datetime, of: str) -> About:
        """A list that was not finished keeps its moment, so that what is resumed is the same; so does the same list."""
        goes_on = self.made_at != _NEVER and self.of in (None, of)
        return About(self.made_at if goes_on else now, self.of if goes_on else None)

    def finished(self, of: str) -> About:
        """The list is done."""
        return About(self.made_at, of)

    def write(self, root: Path) -> None:
        """Keep it in ``root``."""
        write_whole(root / _ABOUT, json.dumps({"made_at": self.made_at.isoformat(), "of": self.of}).encode())


def made_of(jobs: Sequence[Job]) -> str:
    """SHA-256 over all that the packs of ``jobs`` are made of, in whatever order they stand."""
    text = "\n".join(sorted(f"{job.name} {job.digest}" for job in jobs))
    return hashlib.sha256(text.encode()).hexdigest()


@contextmanager
def alone(root: Path) -> Iterator[None]:
    """Raise ``UsageError`` while another run works in ``root``; a lock goes with its process, however that ends.

    Processes whose parent was killed end by themselves; until the last of them has, this waits.
    """
    import fcntl

    make_folder(root)
    handle = os.open(root / _LOCK, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        working = os.open(root / WORKING, os.O_RDWR | os.O_CREAT, 0o600)
        fcntl.flock(working, fcntl.LOCK_EX)
        os.close(working)
        yield
    except BlockingIOError as failure:
        remedy = "wait for it, or choose another folder"
        raise UsageError(Problem("another run is working in this folder", str(root), remedy=remedy)) from failure
    finally:
        os.close(handle)
