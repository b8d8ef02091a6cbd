"""An empty record in each of the two stores, fresh for each test, with a clock that the test sets."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path

import pytest

from consent.clinic import Clinic
from consent.record.place import Place, Record, make_record
from tests.record.acts import without_printing
from tests.record.clock import TestClock
from tests.record.sealing import Sealed, make_sealed
from tests.record.servers import Server, running_server
from tests.record.story import NOON, Story, make_staff

STORES = ("sqlite", "postgresql")


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """The PostgreSQL server of this test process, started when a test first asks for it."""
    with running_server() as started:
        yield started


@pytest.fixture
def clock() -> TestClock:
    return TestClock()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where the record's folder will be made."""
    return tmp_path / "record"


@pytest.fixture
def server_place(folder: Path, server: Server) -> Iterator[Place]:
    """A place for a record on the PostgreSQL server, where there is none yet."""
    name = server.lend_database()
    yield Place(folder, server.address(name))
    server.take_back(name)


@pytest.fixture(params=STORES)
def place(request: pytest.FixtureRequest, folder: Path) -> Place:
    """A place for a record, in each of the stores, where there is none yet."""
    if request.param == "sqlite":
        return Place(folder)
    found: Place = request.getfixturevalue("server_place")
    return found


@pytest.fixture
def record(place: Place, clinic: Clinic, clock: TestClock) -> Iterator[Record]:
    """An empty record of the invented clinic, in each of the stores."""
    made = make_record(place, clinic, clock)
    yield made
    made.close()


@pytest.fixture
def sqlite_record(folder: Path, clinic: Clinic, clock: TestClock) -> Iterator[Record]:
    """An empty record in an SQLite file."""
    made = make_record(Place(folder), clinic, clock)
    yield made
    made.close()


@pytest.fixture
def server_record(server_place: Place, clinic: Clinic, clock: TestClock) -> Iterator[Record]:
    """An empty record on the PostgreSQL server."""
    made = make_record(server_place, clinic, clock)
    yield made
    made.close()


@pytest.fixture(scope="session")
def sealed(clinic: Clinic) -> Sealed:
    """Sealed papers of the ordinary case."""
    return make_sealed(clinic)


@pytest.fixture
def story(sqlite_record: Record, clock: TestClock) -> Iterator[Story]:
    """A case that was explained on the day of surgery, with papers of a few bytes."""
    clock.now = NOON
    with without_printing():
        story = Story(sqlite_record, make_staff(sqlite_record))
        story.open()
        story.explain(NOON - dt.timedelta(minutes=30))
        yield story
