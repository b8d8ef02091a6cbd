"""A desk that is really served, and real browsers in which people use it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from consent.clinic import Clinic
from tests.browser.served import Served, serving

FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
CHROMIUM = "/usr/bin/chromium"


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's chromium."""
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory, clinic: Clinic) -> Iterator[Served]:
    """A desk of the invented clinic, served in a process of its own, for the tests of a module."""
    with serving(tmp_path_factory.mktemp("served"), clinic) as desk:
        yield desk
