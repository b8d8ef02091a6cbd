"""A desk that is really served, and real browsers in which people use it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from consent.clinic import Clinic
from tests.browser.served import Served, serving


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Iterator[Served]:
    """A desk of the invented clinic, served in a process of its own, for the tests of a module."""
    with serving(tmp_path_factory.mktemp("served"), clinic) as desk:
        yield desk
