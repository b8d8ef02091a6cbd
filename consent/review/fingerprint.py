"""A short key of facts, so that an answer given to them is known to fit them still, in any language and on any day."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, is_dataclass
from decimal import Decimal
from enum import Enum

from consent.wording import Remark

_LENGTH = 8


def fingerprint(facts: object) -> str:
    """Return the first 8 hexadecimal digits of the SHA-256 of ``facts``: message ids and slot values, no words.

    Raises ``TypeError`` for a value that has no lasting form.
    """
    text = json.dumps(_lasting(facts), ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:_LENGTH]


def _lasting(value: object) -> object:
    """``value`` as JSON that is the same in every process."""
    if isinstance(value, Remark):
        return {"says": value.id, "slots": _lasting(value.slots)}
    if isinstance(value, Enum):
        return _lasting(value.value)
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float | Decimal):
        return str(Decimal(repr(value) if isinstance(value, float) else value).normalize())
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(name): _lasting(item) for name, item in value.items()}
    if isinstance(value, Sequence):
        return [_lasting(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {"kind": type(value).__name__, **{name: _lasting(item) for name, item in asdict(value).items()}}
    raise TypeError(f"a fact holds {type(value).__name__}, which has no lasting form")
