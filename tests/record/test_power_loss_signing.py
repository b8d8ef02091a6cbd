"""The power fails while papers are printed, sealed and kept: all of the sign-off is there, or nothing of it."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable
from pathlib import Path
from random import Random
from unittest.mock import patch

import pytest

from consent.clinic import Clinic
from consent.record.checking import check_record
from consent.record.inspection import inspect
from consent.record.keeping_certificate import keep_local_certificate, read_own_certificate
from consent.record.moves import State
from consent.record.papers import read_paper
from consent.record.place import Place, make_record, open_record
from consent.record.state import CONSENT
from tests.record.children import fork
from tests.record.clock import TestClock
from tests.record.story import IST, Story, make_staff

KILLS = 8
LATEST = 1.8
"""The latest kill, in times of what a whole sign-off took in a child on this machine: some come after it."""
NOW = dt.datetime(2027, 2, 22, 12, 0, tzinfo=IST)


def two_sheets(_: str) -> tuple[str, ...]:
    """Real papers, but only two, so that many sign-offs can be cut off."""
    return ("separate-choices", "day-of-surgery")


@pytest.mark.slow
def test_a_sign_off_is_whole_or_not_there(tmp_path: Path, clinic: Clinic) -> None:
    place, random = Place(tmp_path / "record"), Random(20270222)
    clock = TestClock(NOW)
    with patch("consent.record.making.sheets_of", two_sheets):
        record = make_record(place, clinic, clock)
        keep_local_certificate(record)
        story = Story(record, make_staff(record))
        story.open()
        story.explain(NOW - dt.timedelta(minutes=30))
        record.close()
        whole = _seconds(story, place, clinic, clock)
        signed = sum(_one_kill(story, place, clinic, clock, random.uniform(0, LATEST * whole)) for _ in range(KILLS))
    assert 0 < signed < KILLS, "kills before and after the sign-off was kept"


def _seconds(story: Story, place: Place, clinic: Clinic, clock: TestClock) -> float:
    """How long a child takes to sign, which is then undone."""
    child = fork(lambda tell: _sign(story, place, clinic, clock, tell))
    child.hear()
    start = time.monotonic()
    child.hear()
    taken = time.monotonic() - start
    child.kill()
    assert _after(story, place, clinic, clock, ["begun", "signed"])
    return taken


def _one_kill(story: Story, place: Place, clinic: Clinic, clock: TestClock, seconds: float) -> bool:
    """Kill a child ``seconds`` after it began to sign; return whether the sign-off is kept."""
    clock.advance(hours=1)
    child = fork(lambda tell: _sign(story, place, clinic, clock, tell))
    child.hear()
    time.sleep(seconds)
    return _after(story, place, clinic, clock, child.kill())


def _after(story: Story, place: Place, clinic: Clinic, clock: TestClock, told: list[str]) -> bool:
    """Whether the sign-off is kept. What was told is there, and whole; then the case is made ready for the next."""
    clock.advance(minutes=30)
    record = open_record(place, clinic, clock)
    story.record = record
    case = story.now
    assert check_record(record).problems == ()
    if "signed" in told:
        assert case.state is State.SIGNED_OFF
    if case.state is State.SIGNED_OFF:
        _whole(story)
        story.enter(story.staff.surgeon, "sent-back", reason="The next one, please.")
        story.explain(clock.now - dt.timedelta(minutes=5))
    else:
        assert case.state is State.EXPLAINED
    record.close()
    return case.state is State.SIGNED_OFF


def _sign(story: Story, place: Place, clinic: Clinic, clock: TestClock, tell: Callable[[str], None]) -> None:
    story.record = open_record(place, clinic, clock)
    tell("begun")
    story.sign_off()
    tell("signed")
    time.sleep(60)


def _whole(story: Story) -> None:
    held = story.now.sealed(CONSENT)
    assert held is not None
    assert [paper.sheet for paper in held.papers] == ["separate-choices", "day-of-surgery"]
    known = (read_own_certificate(story.record).certificate,)
    for paper in held.papers:
        found = inspect(read_paper(story.record, paper.digest), known, story.record.clock())
        assert (found.problems, found.code) == ((), held.code)
