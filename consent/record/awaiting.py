"""pyHanko is asynchronous; the record is not, and may be called where a loop already runs."""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

_Result = TypeVar("_Result")


def awaited(work: Coroutine[object, object, _Result]) -> _Result:
    """What ``work`` returns, run to its end in a thread with a loop of its own; raises what it raises."""
    with ThreadPoolExecutor(1) as thread:
        return thread.submit(asyncio.run, work).result()
