"""Data on stdout, chatter on stderr."""

from __future__ import annotations

import json
import sys
from typing import Any


def data(text: str) -> None:
    """Print a line of data."""
    print(text)  # noqa: T201


def as_json(value: Any) -> None:
    """Print a value as JSON."""
    data(json.dumps(value, ensure_ascii=False, indent=2))


def chatter(text: str) -> None:
    """Tell the person at the terminal; never part of the data."""
    print(text, file=sys.stderr)  # noqa: T201
