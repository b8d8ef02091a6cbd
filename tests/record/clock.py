"""A clock that the tests set, so that no check hangs on the time of day."""

from __future__ import annotations

import datetime as dt

START = dt.datetime(2027, 2, 20, 4, 30, tzinfo=dt.UTC)
"""Ten in the morning in India, four days before the ordinary case is operated on."""


class TestClock:
    """Tells ``now``, and steps a millisecond each time it is looked at."""

    __test__ = False

    def __init__(self, now: dt.datetime = START) -> None:
        self.now = now

    def __call__(self) -> dt.datetime:
        told = self.now
        self.now += dt.timedelta(milliseconds=1)
        return told

    def advance(self, by: dt.timedelta | None = None, **units: float) -> None:
        """Later by ``by`` and by ``units`` such as ``minutes=16``; earlier where they are below zero."""
        self.now += (by or dt.timedelta()) + dt.timedelta(**units)
