"""Logs as one JSON object a line: when, how grave, from where, what, and facts by name. Never data of a patient.

Of an exception its kind and the lines it went through are told, never its message, which may quote what was entered.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
from pathlib import Path
from traceback import extract_tb
from types import TracebackType

_DEEPEST = 12


class AsJson(logging.Formatter):
    """``log.info("made", extra={"facts": {"seconds": 2}})`` becomes ``{"at": ..., "what": "made", "seconds": 2}``."""

    def format(self, record: logging.LogRecord) -> str:
        at = dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds")
        told = {"at": at, "level": record.levelname.lower(), "from": record.name, "what": record.getMessage()}
        if record.exc_info and record.exc_info[0]:
            told |= {"kind": record.exc_info[0].__name__, "where": where(record.exc_info[2])}
        return json.dumps(told | getattr(record, "facts", {}), ensure_ascii=False, default=str)


def where(trace: TracebackType | None) -> str:
    """Files and lines that an exception went through, innermost first."""
    frames = reversed(extract_tb(trace))
    return " < ".join(f"{Path(frame.filename).name}:{frame.lineno}" for frame in list(frames)[:_DEEPEST])


def begin(level: int = logging.INFO) -> None:
    """Write logs of ``level`` and graver to stderr, those of libraries from warnings on."""
    handler = logging.StreamHandler()
    handler.setFormatter(AsJson())
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("consent").setLevel(level)
