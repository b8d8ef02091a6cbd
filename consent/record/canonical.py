"""Canonical JSON: the same data is always the same bytes, so that a digest can be made again."""

from __future__ import annotations

import hashlib
from typing import Any


def canonical(value: Any) -> bytes:
    """``value`` as JSON by RFC 8785. Raises ``ValueError`` for what it cannot hold, such as NaN or a whole number
    beyond 2**53."""
    import rfc8785

    return rfc8785.dumps(value)


def digest(content: bytes) -> str:
    """SHA-256 (FIPS 180-4), hexadecimal."""
    return hashlib.sha256(content).hexdigest()
