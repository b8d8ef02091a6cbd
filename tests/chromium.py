"""Debian's Chromium, as tests and benchmarks start it: without windows, and asking nobody for anything."""

from __future__ import annotations

import shutil

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
