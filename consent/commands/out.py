"""Data on stdout, chatter on stderr, files where somebody asked for them."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from consent.errors import MachineError, Problem


def data(text: str) -> None:
    """Print a line of data."""
    print(text)  # noqa: T201


def as_json(value: Any) -> None:
    """Print a value as JSON."""
    data(json.dumps(value, ensure_ascii=False, indent=2))


def chatter(text: str) -> None:
    """Tell the person at the terminal; never part of the data."""
    print(text, file=sys.stderr)  # noqa: T201


def file(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path``, whole or not at all. Raises ``MachineError`` where that cannot be."""
    from consent.pack.files import write_whole

    try:
        write_whole(path, content)
    except OSError as failure:
        what = f"the file cannot be written ({failure.strerror or 'unknown reason'})"
        raise MachineError(Problem(what, str(path), remedy="choose another place with --to")) from failure
