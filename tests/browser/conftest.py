"""A desk that is really served, and real browsers in which people use it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from consent.clinic import Clinic
from tests.browser.served import Served, serving
from tests.chromium import FLAGS, PROGRAM


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium; without it these tests fail, for nothing else shows what they do."""
    assert PROGRAM, "install chromium"
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=PROGRAM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Iterator[Served]:
    """A desk of the invented clinic, served in a process of its own, for the tests of a module."""
    with serving(tmp_path_factory.mktemp("served"), clinic) as desk:
        yield desk
