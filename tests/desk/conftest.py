"""A desk of the invented clinic with its five people, three open cases, and a browser each, without printing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from consent.clinic import Clinic
from consent.record.place import Place, make_record
from tests.desk.house import OPERATIONS, House, open_house
from tests.record.acts import without_printing
from tests.record.clock import TestClock


@pytest.fixture
def house(tmp_path: Path, clinic: Clinic) -> Iterator[House]:
    """A fresh desk for one test."""
    with without_printing(), open_house(make_record(Place(tmp_path / "record"), clinic)) as made:
        yield made


@pytest.fixture(scope="module")
def kept_house(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Iterator[House]:
    """A desk shared by the tests of a module, which only look."""
    folder = tmp_path_factory.mktemp("desk") / "record"
    with without_printing(), open_house(make_record(Place(folder), clinic)) as made:
        yield made


@pytest.fixture
def clock() -> TestClock:
    return TestClock(OPERATIONS)


@pytest.fixture
def day(tmp_path: Path, clinic: Clinic, clock: TestClock) -> Iterator[House]:
    """A desk on the day of surgery."""
    with without_printing(), open_house(make_record(Place(tmp_path / "record"), clinic, clock)) as made:
        yield made
