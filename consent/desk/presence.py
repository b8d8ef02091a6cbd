"""Who has which case open, so that two people in one case are told of each other."""

from __future__ import annotations

import datetime as dt
from threading import Lock

from consent.record.accounts import Account
from consent.record.place import Clock

_GONE_AFTER = dt.timedelta(seconds=45)
"""A page tells every fifteen seconds that it is still open."""


class Presence:
    """Kept in memory only: it says nothing about what was done."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._lock = Lock()
        self._seen: dict[str, dict[str, tuple[str, dt.datetime]]] = {}

    def here(self, subject: str, account: Account) -> tuple[str, ...]:
        """Note that ``account`` looks at the case ``subject``; the names of the others who do."""
        now = self._clock()
        with self._lock:
            there = self._seen.setdefault(subject, {})
            there[account.id] = (account.name, now)
            for gone in [name for name, (_, at) in there.items() if now - at > _GONE_AFTER]:
                del there[gone]
            return tuple(name for owner, (name, _) in there.items() if owner != account.id)

    def left(self, account: Account) -> None:
        """Note that ``account`` logged out."""
        with self._lock:
            for there in self._seen.values():
                there.pop(account.id, None)
