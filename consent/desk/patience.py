"""Connections that keep others out are ended: those that send nothing or never finish, and too many of one device."""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any, ClassVar

from uvicorn.protocols.http.auto import AutoHTTPProtocol

CONNECTIONS, OF_ONE_DEVICE = 400, 150
"""Most connections at once, and most of one address."""
UNASKED, UNSENT = 20.0, 90.0
"""Seconds until whoever is connected has asked for something, and until all that goes with it has come."""


class Patient(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
    """The server's protocol, with an end to its patience. It ends idle connections itself once it has answered."""

    _of_device: ClassVar[Counter[str]] = Counter()
    _ends: asyncio.TimerHandle | None = None
    _refused = False

    def connection_made(self, transport: Any) -> None:
        """Take the connection, unless its device has too many."""
        super().connection_made(transport)
        self._of_device[self._device()] += 1
        if self._of_device[self._device()] > OF_ONE_DEVICE:
            self._refused = True
            transport.close()
            return
        self._end_in(UNASKED)

    def data_received(self, data: bytes) -> None:
        """Pass on what came in. Part of a request is waited for, and then the rest of it; a whole one is answered."""
        if self._refused:
            return
        before = self.cycle
        super().data_received(data)
        if self.cycle is None or (self.cycle is before and self.cycle.response_complete):
            # A beginning without an end: of the first request, or of one after an answer.
            if self._ends is None:
                self._end_in(UNASKED)
        elif self.cycle.more_body:
            if self.cycle is not before:
                self._end_in(UNSENT)
        else:
            self._stay()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stay()
        self._of_device[self._device()] -= 1
        if not self._of_device[self._device()]:
            del self._of_device[self._device()]
        super().connection_lost(exc)

    def _device(self) -> str:
        return str(self.client[0]) if self.client else "unknown"

    def _end_in(self, seconds: float) -> None:
        self._stay()
        self._ends = self.loop.call_later(seconds, self.transport.close)

    def _stay(self) -> None:
        if self._ends is not None:
            self._ends.cancel()
            self._ends = None
