"""Debian's Chromium, as tests and benchmarks start it: without windows, and asking nobody for anything."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import Browser

PROGRAM = shutil.which("chromium")
"""None where it is not installed."""
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@contextmanager
def started() -> Iterator[Browser]:
    """The installed Chromium, driven by Playwright, of which only one can run in a process."""
    from playwright.sync_api import sync_playwright

    assert PROGRAM, "install chromium"
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=PROGRAM, args=list(FLAGS))
        yield browser
        browser.close()
